"""Broken files: never an exception, the right place, and all that is not broken still read."""

from __future__ import annotations

import tomllib

import pytest

from ringout.base import Severity
from ringout.base.codes import CODES
from ringout.base.show import render_diagnostic
from ringout.cellfile import read_cell_text
from tests.contract.house import ROOT

FOLDER = ROOT / "tests" / "cells" / "bad" / "cellfile"
EXPECTED = tomllib.loads((FOLDER / "expected.toml").read_text(encoding="utf-8"))


def test_every_file_has_its_expectation():
    assert {path.stem for path in FOLDER.glob("*.yaml")} == set(EXPECTED)
    assert len(EXPECTED) >= 45


@pytest.mark.parametrize("name", EXPECTED)
def test_bad_file(name):
    wanted = EXPECTED[name]
    path = FOLDER / f"{name}.yaml"
    cell, problems = read_cell_text(path)
    errors = [p for p in problems if p.severity is Severity.ERROR]
    assert len(errors) == 1, [f"{p.span} {p.code} {p.message}" for p in errors]
    error = errors[0]
    assert (error.code, error.span.line, error.span.column) == (
        wanted["code"],
        wanted["line"],
        wanted["column"],
    ), error.message
    assert wanted["phrase"] in error.message + (error.fix or "")
    assert error.fix
    assert error.code in CODES
    assert cell is not None
    for section in ("items", "cables", "signals"):
        names = {line.name.text for line in getattr(cell, section)}
        assert names == set(wanted["kept"][section].split()), section
    assert len(cell.joins) == wanted["kept"]["joins"]
    assert len(cell.expects) == wanted["kept"]["expects"]
    shown = render_diagnostic(error, path.read_text(encoding="utf-8").split("\n"))
    assert "^" in shown
    assert f"[{error.code}]" in shown
