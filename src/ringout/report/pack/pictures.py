"""Drawings for paper: the sheets of the drawing room in the font of the pack."""

from __future__ import annotations

import re
from collections.abc import Sequence

from ringout.cell.model import Cell
from ringout.findings.model import BranchLoad
from ringout.report.drawing import Sheet as Drawing
from ringout.report.drawing import (
    cable_names,
    draw_cable,
    draw_face,
    draw_map,
    draw_overview,
    draw_supply,
    mapped_items,
)
from ringout.report.drawing.metrics import FAMILIES
from ringout.report.pack.model import Picture
from ringout.report.sheet_model import Sheet as Connections
from ringout.report.sheet_nets import Nets

FONT = "Ringout Sans"  # a subset of the font whose widths the drawings are measured with
WIDE_MM = 182.0  # what fits both A4 and Letter between the margins
HIGH_MM = 238.0


def picture(drawing: Drawing) -> Picture:
    """Return a drawing in the font of the pack."""
    return Picture(
        drawing.name,
        drawing.title,
        drawing.width_mm,
        drawing.height_mm,
        drawing.svg.replace(FAMILIES, FONT),
        frozenset(w.strip(",;()") for t in drawing.texts for w in re.split(r"[\s:.]", t.text)),
    )


def cable_pictures(sheet: Connections) -> tuple[tuple[str, Picture], ...]:
    """Return every cable with both its ends."""
    return tuple((name, picture(draw_cable(sheet, name))) for name in cable_names(sheet))


def face_pictures(sheet: Connections) -> tuple[tuple[str, Picture], ...]:
    """Return every used socket from its mating side and its wiring side, as far as known."""
    return tuple((f.place, picture(draw_face(f))) for f in sheet.faces if f.drawn)


def map_pictures(cell: Cell) -> tuple[tuple[str, tuple[Picture, ...]], ...]:
    """Return who is on which pin of every terminal, splitter and box."""
    nets = Nets(cell)
    return tuple(
        (n, tuple(picture(s) for s in draw_map(cell, n, nets=nets, height_mm=HIGH_MM)))
        for n in mapped_items(cell)
    )


def overview_pictures(cell: Cell) -> tuple[Picture, ...]:
    """Return drawings of the whole cell: items, cables and sockets."""
    return tuple(picture(s) for s in draw_overview(cell, width_mm=WIDE_MM, height_mm=HIGH_MM))


def supply_pictures(
    cell: Cell, branches: Sequence[BranchLoad] | None = None
) -> tuple[Picture, ...]:
    """Return the supply tree: who feeds what, protection, budgets, drops and far shorts."""
    sheets = draw_supply(cell, branches, width_mm=WIDE_MM, height_mm=HIGH_MM)
    return tuple(picture(s) for s in sheets)
