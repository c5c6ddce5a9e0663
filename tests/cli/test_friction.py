"""Small things a person stumbles over at the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ringout.base.suggest import hint
from ringout.cli.main import cli
from ringout.find.next import instruction
from ringout.findings.looks import Look

CELL = str(Path(__file__).resolve().parents[2] / "examples" / "caddy-lidder" / "corrected.yaml")


def ask(*words: str) -> Result:
    return CliRunner().invoke(cli, list(words))


def test_the_meter_takes_poles_channels_and_signals():
    plain = ask("meter", CELL, "--probe", "K1-X1:4", "T1:-", "--while", "S1 pressed", "--json")
    other = ask("meter", CELL, "--probe", "K1.I1", "0V", "--while", "start_lidding on", "--json")
    assert plain.exit_code == other.exit_code == 0, other.output
    assert json.loads(plain.stdout)["value"] == pytest.approx(json.loads(other.stdout)["value"])


def test_wrong_words_of_the_command_line_are_shown_as_they_are():
    done = ask("meter", CELL, "--probe", "K1-X1:4", "K1-X1:3", "--while", "S1 presed")
    assert done.exit_code == 2
    assert "question" not in done.output
    lines = done.stderr.splitlines()
    at = next(n for n, line in enumerate(lines) if line.strip() == "S1 presed")
    assert lines[at + 1].index("^") == lines[at].index("presed")


def test_what_there_is_is_cut_with_a_count():
    names = [f"signal{n}" for n in range(12)]
    assert hint("zebra", names).endswith("signal7 ... and 4 more")
    assert hint("zebra", names[:3]) == "there are signal0, signal1, signal2"
    assert hint("sigmal3", names) == "did you mean `signal3`?"


def test_a_fault_at_one_end_is_offered_for_a_core():
    done = ask("draw", CELL, "start_lidding", "--fault", "open W1:BK")
    assert done.exit_code == 2
    assert "`open W1:BK@S1`" in done.stderr and "`open W1:BK@K1`" in done.stderr


def test_parts_are_found_by_a_word():
    done = ask("parts", "pnp")
    assert done.exit_code == 0
    listed = [line.split()[0] for line in done.stdout.splitlines() if line.startswith("  ")]
    assert "inductive-pnp-no" in listed
    assert listed
    assert json.loads(ask("parts", "pnp", "--json").stdout)["parts"]
    assert ask("parts", "teapot").exit_code == 2


@pytest.mark.parametrize(
    "words",
    [
        ("draw", CELL, "start_lidding", "-o", "no/such/a.svg"),
        ("draw", CELL, "--what", "supply", "-o", "no/such"),
        ("sheet", CELL, "--csv", "no/such/a.csv"),
        ("sheet", CELL, "--xlsx", "no/such/a.xlsx"),
        ("sheet", CELL, "--faces", "no/such"),
        ("pack", CELL, "--only", "labels", "-o", "no/such/a.pdf"),
    ],
)
def test_no_folder_is_made_for_a_mistyped_one(words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = ask(*words)
    assert done.exit_code == 2, done.output
    assert "there is no folder no" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_one_folder_is_made_for_drawings(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert ask("draw", CELL, "--what", "supply", "-o", "drawings").exit_code == 0
    assert list((tmp_path / "drawings").glob("*.svg"))


def test_a_pack_is_named_as_the_pdf_it_is(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = ask("pack", CELL, "--only", "labels", "-o", "x.txt")
    assert done.exit_code == 2
    assert "x.pdf" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_the_next_look_says_how_the_cell_stands():
    assert instruction(Look("level", what="cup_empty")) == ("Read input cup_empty with all at rest")
    held = Look("level", what="cup_empty", state=(("B2", "target"),))
    assert instruction(held) == "Read input cup_empty while B2 target"


def test_unlikely_culprits_are_named_without_a_story():
    done = ask("find", CELL, "--seen", "start_lidding off while S1 pressed", "--json")
    few = [c for c in json.loads(done.stdout)["culprits"] if c["probability"] < 0.03]
    said = ask("find", CELL, "--seen", "start_lidding off while S1 pressed").stdout
    told = said.split("CULPRITS")[1].split("NEXT")[0]
    assert few
    assert "less likely:" in told
    assert " 1%  " not in told and " 0%  " not in told
