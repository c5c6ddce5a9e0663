"""Drawings measured: no text on text, on a sign or on a line; nothing off the sheet, none small."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from ringout.cell.model import Cell
from ringout.cell.resolve import resolve_cell
from ringout.cellfile import read_cell_text
from ringout.circuit.compile import compile_circuit
from ringout.report.drawing import Sheet, draw_overview, draw_signal, draw_supply, on_state
from ringout.report.drawing.circuit import HEIGHT_MM, WIDTH_MM
from ringout.report.drawing.metrics import text_width_mm
from ringout.report.drawing.paper import Box, Stroke
from tests.bench.cells import generated_cell
from tests.contract.house import ROOT

EXAMPLES = sorted((ROOT / "examples" / "caddy-lidder").glob("*.yaml"))
FIELD = sorted((ROOT / "tests" / "cells" / "field").glob("*/cell.yaml"))
POINT_MM = 25.4 / 72  # a DTP point
LEAST_PT = 7.0  # the issue: no text under 7 pt
PAGE_MM = (210.0, 297.0)  # A4, iso-216
LETTER_MM = (215.9, 279.4)
SVG = "{http://www.w3.org/2000/svg}"


def cell_of(path: Path) -> Cell:
    text, problems = read_cell_text(str(path))
    assert text is not None, problems
    cell, _ = resolve_cell(text, folder=str(path.parent))
    assert cell is not None
    return cell


def cell_from(words: str, folder: Path) -> Cell:
    path = folder / "cell.yaml"
    path.write_text(words, encoding="utf-8")
    return cell_of(path)


def crosses(box: Box, line: Stroke, slack_mm: float = 0.1) -> bool:
    """Return whether a straight line along an axis goes through a box of text."""
    left, right = sorted((line.x1_mm, line.x2_mm))
    top, low = sorted((line.y1_mm, line.y2_mm))
    return (
        left < box.x_mm + box.width_mm - slack_mm
        and right > box.x_mm + slack_mm
        and top < box.y_mm + box.height_mm - slack_mm
        and low > box.y_mm + slack_mm
    )


def trouble(sheet: Sheet) -> list[str]:
    """Return everything on a sheet that lies on something else, hangs over its edge or is small."""
    out = []
    for k, text in enumerate(sheet.texts):
        box = text.box
        if text.size_mm < LEAST_PT * POINT_MM:
            out.append(f"`{text.text}` has {text.size_mm / POINT_MM:.2f} pt")
        if (
            box.x_mm < 0.0
            or box.y_mm < 0.0
            or box.x_mm + box.width_mm > sheet.width_mm
            or box.y_mm + box.height_mm > sheet.height_mm
        ):
            out.append(f"`{text.text}` hangs over the edge")
        out += [
            f"`{text.text}` on `{other.text}`"
            for other in sheet.texts[k + 1 :]
            if box.meets(other.box)
        ]
        out += [f"`{text.text}` on a sign" for sign in sheet.signs if box.meets(sign)]
        out += [f"a line through `{text.text}`" for s in sheet.strokes if crosses(box, s)]
    for k, sign in enumerate(sheet.signs):
        out += ["sign on sign" for other in sheet.signs[k + 1 :] if sign.meets(other)]
    if sheet.width_mm > min(PAGE_MM[0], LETTER_MM[0]) or sheet.height_mm > LETTER_MM[1]:
        out.append(f"{sheet.width_mm:.0f} x {sheet.height_mm:.0f} mm fits neither A4 nor Letter")
    return out


def assert_clean(sheets: tuple[Sheet, ...], about: str) -> None:
    for sheet in sheets:
        assert not (found := trouble(sheet)), f"{about}, {sheet.name}: {found[:4]}"
        ET.fromstring(sheet.svg)


def states_of(cell: Cell, circuit, signal) -> list[dict[str, str]]:
    """Return on, rest, and every actor the signal knows moved as far as it goes."""
    own = {p.actor for p in signal.on.leaves()} if signal.on is not None else set()
    far = {a: cell.actors[a].positions[-1] for a in own}
    wanted = [on_state(circuit, signal), {}, far]
    return [s for k, s in enumerate(wanted) if s not in wanted[:k]]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_demo_cells_in_every_signal_and_state(path):
    cell = cell_of(path)
    circuit = compile_circuit(cell)
    drawn = 0
    for signal in cell.signals.values():
        for state in states_of(cell, circuit, signal):
            sheets = draw_signal(cell, signal, state, circuit=circuit)
            assert_clean(sheets, f"{signal.name} {state}")
            assert all(s.height_mm <= HEIGHT_MM and s.width_mm == WIDTH_MM for s in sheets)
            drawn += 1
    assert drawn >= 2 * len(cell.signals) - 4
    assert_clean(draw_overview(cell), "overview")
    assert_clean(draw_supply(cell, circuit=circuit), "supply")


@pytest.mark.parametrize("letters", ["_designation_of_forty_characters_in_all", "M" * 40])
def test_names_of_forty_characters(letters, tmp_path):
    words = (ROOT / "examples" / "caddy-lidder" / "corrected.yaml").read_text(encoding="utf-8")
    short = re.findall(r"^  ([A-Z]\d+): ", words, re.MULTILINE)
    assert len(short) > 30
    long = {name: (name + letters)[:40] for name in short}
    cell = cell_from(
        re.sub(r"(?<![\w-])([A-Z]\d+)(?=[:\-. ,}\n])", lambda m: long.get(m[1], m[1]), words),
        tmp_path,
    )
    assert {len(n) for n in cell.items} == {40} and cell.joins
    circuit = compile_circuit(cell)
    assert_clean(draw_overview(cell), "overview")
    assert_clean(draw_supply(cell, circuit=circuit), "supply")
    for signal in cell.signals.values():
        sheets = draw_signal(cell, signal, circuit=circuit)
        assert_clean(sheets, signal.name)
        # what is too long for its box stands in full below the drawing
        written = "".join(t.text for s in sheets for t in s.texts)
        assert signal.item in written


def test_the_field_cases_have_places_to_look_at():
    assert len(FIELD) > 20


@pytest.mark.parametrize("path", FIELD, ids=lambda p: p.parent.name[:3])
def test_field_cases(path):
    cell = cell_of(path)
    circuit = compile_circuit(cell)
    for signal in cell.signals.values():
        assert_clean(draw_signal(cell, signal, circuit=circuit), signal.name)
    assert_clean(draw_overview(cell), "overview")
    assert_clean(draw_supply(cell, circuit=circuit), "supply")


ONE_BUTTON = """
cell: One button
revision: A
ambient: 10..40 °C
items: {T1: supply-24v-2a5, K1: input-card-8-type-3, S1: {part: pushbutton-1no-gold, note: start}}
cables: {W1: {part: cable-2x0.5, length: 5 m}}
joins:
  - T1:+ S1:13
  - S1:14 W1:BN K1:1
  - T1:- W1:BU K1:M
signals: {start: {channel: K1.I1, on: S1 pressed}}
"""


def test_a_cell_with_one_button(tmp_path):
    cell = cell_from(ONE_BUTTON, tmp_path)
    for sheets in (
        draw_signal(cell, cell.signals["start"]),
        draw_overview(cell),
        draw_supply(cell),
    ):
        assert_clean(sheets, "one button")
        assert len(sheets) == 1


@pytest.mark.slow
def test_a_cell_of_96_channels(tmp_path):
    cell = cell_from(generated_cell(96), tmp_path)
    circuit = compile_circuit(cell)
    for signal in list(cell.signals.values())[::12]:
        assert_clean(draw_signal(cell, signal, circuit=circuit), signal.name)
    assert_clean(draw_overview(cell), "overview")
    assert_clean(draw_supply(cell, circuit=circuit), "supply")


# -- the ruler itself ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "bold", "units"),
    # advance widths in the hmtx table of DejaVu Sans Condensed 2.37, 2048 units to the em
    [("0", False, 1172), ("i", False, 512), ("W", False, 1822), ("0", True, 1282)],
)
def test_widths_are_those_of_the_font_file(text, bold, units):
    assert text_width_mm(text, 2048.0, bold=bold) == pytest.approx(units, abs=1.0)


def test_the_check_finds_what_it_is_for(tmp_path):
    from ringout.report.drawing.paper import Paper

    paper = Paper(100.0)
    paper.text(10, 10, "first")
    paper.text(12, 10.5, "second")
    paper.text(95, 30, "over the edge")
    paper.text(10, 40, "small", size_mm=2.0)
    paper.text(10, 50, "struck")
    paper.line(5, 49.5, 60, 49.5)
    found = " | ".join(trouble(paper.finish("x", "x", 60.0)))
    for word in ("`first` on `second`", "over the edge` hangs", "`small` has", "through `struck`"):
        assert word in found
