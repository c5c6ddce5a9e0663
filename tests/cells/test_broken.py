"""Names and wiring that cannot be: the right place, plain words, a way out; the rest is judged."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from ringout import run
from ringout.base import Severity
from ringout.base.codes import CODES
from ringout.base.show import render_diagnostic

FOLDER = Path(__file__).parent / "broken"
EXPECTED = tomllib.loads((FOLDER / "expected.toml").read_text(encoding="utf-8"))
# Codes of typed questions, not of lines of a file: see test_ask and the tests of find.
ASKED = {"N314", "N315", "N316", "N317", "N318"}


def test_every_file_has_its_expectation():
    assert {path.stem for path in FOLDER.glob("*.yaml")} == set(EXPECTED)
    used = {wanted["part"] for wanted in EXPECTED.values() if "part" in wanted}
    assert {path.stem for path in (FOLDER / "parts").glob("*.yaml")} == used


def test_every_code_for_names_and_wiring_has_a_file():
    wanted = {c for c in CODES if c[:2] in {"N2", "N3", "W1"}} - ASKED
    assert wanted - {w["code"] for w in EXPECTED.values()} == set()


@pytest.mark.parametrize("name", EXPECTED)
def test_broken_file(name):
    wanted = EXPECTED[name]
    path = FOLDER / f"{name}.yaml"
    loaded, judgement = run.prove(str(path), remedies=False)
    errors = [p for p in loaded.problems if p.severity is Severity.ERROR]
    told = [f"{p.span} {p.code} {p.message} | {p.fix}" for p in errors]
    assert len(errors) == 1, told
    error = errors[0]
    place = FOLDER / "parts" / f"{wanted['part']}.yaml" if "part" in wanted else path
    assert error.span is not None
    assert Path(error.span.file) == place
    assert error.code == wanted["code"], told
    assert (error.span.line, error.span.column) == (wanted["line"], wanted["column"]), told
    assert wanted["phrase"] in error.message, told
    assert wanted["fix"] in (error.fix or ""), told
    assert error.fix, "every problem says what to do"
    if "first_line" in wanted:
        assert error.related[0].span.line == wanted["first_line"]
    shown = render_diagnostic(error, place.read_text(encoding="utf-8").split("\n"))
    assert "^" in shown
    # the other statements are still judged
    assert judgement is not None
    good = next(s for s in judgement.signals if s.name == "good")
    assert good.verdict == "works"
    # and only what hangs on the lost line is not
    assert all("could not be used" in n.why for n in judgement.not_run), judgement.not_run
