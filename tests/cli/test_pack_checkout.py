"""The checkout of a pack: with a time limit, left out for large cells, and what is said then."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from ringout.cli import cli
from ringout.cli.within import checkout_within
from tests.unit.report.test_pack_pdf import ONE_BUTTON, pages_of, squeezed


@pytest.fixture
def one(tmp_path):
    path = tmp_path / "one.yaml"
    path.write_text(ONE_BUTTON, encoding="utf-8")
    return path


def packed(path, *words):
    out = path.with_suffix(".pdf")
    done = CliRunner().invoke(cli, ["pack", str(path), "-o", str(out), "--json", *words])
    assert "Traceback" not in done.output
    return done, "".join(p.text for p in pages_of(out.read_bytes()))


def test_the_other_process_gives_the_same_procedure(one):
    from ringout import run

    here = run.checkout(run.load(str(one)).cell)
    seen = []
    there, cases = checkout_within(str(one), 300.0, lambda done, of: seen.append((done, of)))
    assert [(s.phase, s.do, s.expect) for s in there.steps] == [
        (s.phase, s.do, s.expect) for s in here.steps
    ]
    assert seen and seen[-1] == cases and 0 < cases[0] <= cases[1]


def test_time_that_is_up_is_told_with_its_limit(one):
    done, text = packed(one, "--only", "checkout", "--checkout-within", "0.001")
    assert done.exit_code == 3
    (row,) = [r for r in json.loads(done.stdout)["not_run"] if r["check"] == "checkout"]
    assert row["why"].startswith("it was stopped after 0.001 minutes, as was asked")
    assert "Not run." in text and squeezed(row["why"]) in squeezed(text)
    assert squeezed("tick every core under Connections") in squeezed(text)


def test_a_large_cell_says_how_many_faults_and_what_to_do(one, monkeypatch):
    monkeypatch.setattr("ringout.report.pack.MOST_FAULTS", 10)
    done, text = packed(one, "--only", "checkout")
    assert done.exit_code == 3
    for words in ("plausible single faults. Above 10", "--checkout-within 30"):
        assert squeezed(words) in squeezed(text)


def test_a_limit_that_is_no_time_is_refused(one):
    done = CliRunner().invoke(cli, ["pack", str(one), "-o", "x.pdf", "--checkout-within", "0"])
    assert done.exit_code == 2
