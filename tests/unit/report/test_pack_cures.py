"""Cures a cell has: what stands on the page of a signal about them, and what is still advised."""

from __future__ import annotations

import pytest

from ringout import run
from ringout.report.pack import build_pack
from ringout.report.pack.cures import is_fitted, without_cures
from tests.contract.house import ROOT

DEMO = ROOT / "examples" / "caddy-lidder"


@pytest.fixture(scope="module")
def pages():
    loaded, judgement = run.prove(str(DEMO / "corrected.yaml"))
    return {s.name: s for s in build_pack(loaded.cell, judgement).signals}


def test_the_fitted_parts_of_the_demo_cell_are_its_bleeder_and_its_diode():
    cell = run.load(str(DEMO / "corrected.yaml")).cell
    assert {n for n, i in cell.items.items() if is_fitted(i)} == {"R1", "R2"}


def test_a_page_tells_what_its_bleeder_and_its_diode_cure(pages):
    # demo cell, mistakes 3 and 5: without the resistor B6 still shows 7.4 V at worst when off;
    # without the diode Q2 is a bare coil on a semiconductor output
    magazine, vacuum = pages["magazine_low"], pages["vacuum"]
    assert [n for n, _ in magazine.parts] == ["R1"]
    assert any(t.startswith("error F103") and "7.4 V" in t for t in magazine.without)
    assert [n for n, _ in vacuum.parts] == ["R2"]
    assert any(t.startswith("error F304") for t in vacuum.without)


def test_a_page_without_such_parts_tells_nothing_of_them(pages):
    assert all(bool(p.parts) or not p.without for p in pages.values())
    assert sum(bool(p.without) for p in pages.values()) == 2


def test_a_cell_without_fitted_parts_is_not_solved_again():
    cell = run.load(str(DEMO / "first-drawing.yaml")).cell
    assert without_cures(cell, ()) == ()
