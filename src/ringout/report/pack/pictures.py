"""Drawings for paper: the sheets of the drawing room, and small faces that stand beside a table."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from ringout.cell.model import Cell
from ringout.findings.model import BranchLoad
from ringout.report.drawing import Sheet as Drawing
from ringout.report.drawing import draw_overview, draw_supply
from ringout.report.drawing.metrics import FAMILIES
from ringout.report.faces_model import SIDES, WIRING, Face, placed_pins, view_title
from ringout.report.faces_shape import Shape, shape_of
from ringout.report.faces_symbols import contact_svg, outline_svg
from ringout.report.pack.model import Picture

FONT = "Ringout Sans"  # a subset of the font whose widths the drawings are measured with
WIDE_MM = 182.0  # what fits both A4 and Letter between the margins
HIGH_MM = 238.0
FEW = 5  # up to so many contacts a face is drawn small
BODY_MM = 30.0
MANY_BODY_MM = 44.0
WIDER_PINS = 1.3  # so that their numbers can be read
LEAST_FIGURE_MM = 2.5  # 7.1 pt
HEAD_MM = 5.0
EDGE_MM = 1.0


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


def face_icons(face: Face) -> tuple[Picture, ...]:
    """Return a face seen from its mating side and from its wiring side; none if not known."""
    return tuple(_icon(face, side) for side in SIDES) if face.drawn else ()


def _icon(face: Face, side: str) -> Picture:
    shape = _smaller(shape_of(face.connector), len(face.pins))
    body_mm = shape.body_mm * shape.magnify
    wide, high = body_mm + 2 * EDGE_MM + 2, body_mm + HEAD_MM + 2 * EDGE_MM
    centre = (wide / 2, HEAD_MM + EDGE_MM + body_mm / 2)
    parts = outline_svg(shape, face.gender, side, centre)
    for pin in placed_pins(face, side):
        parts += contact_svg(pin, shape, face.gender, side, centre)
    body = re.sub(r'font-size="([\d.]+)"', _legible, "".join(parts))
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.2f}mm" height="{high:.2f}mm" '
        f'viewBox="0 0 {wide:.2f} {high:.2f}" font-family="{FONT}">{body}</svg>'
    )
    title = view_title(face, side)
    name = f"{face.place} {'wiring' if side == WIRING else 'mating'} side"
    return Picture(name, title, round(wide, 2), round(high, 2), svg)


def _smaller(shape: Shape, pins: int) -> Shape:
    """Return a shape small enough for a table to stand beside, its contacts wide enough to read."""
    body_mm = BODY_MM if pins <= FEW else MANY_BODY_MM
    return replace(
        shape,
        magnify=min(shape.magnify, body_mm / shape.body_mm),
        pin_mm=shape.pin_mm if shape.square else shape.pin_mm * WIDER_PINS,
    )


def _legible(found: re.Match[str]) -> str:
    return f'font-size="{max(float(found[1]), LEAST_FIGURE_MM):.2f}"'


def overview_pictures(cell: Cell) -> tuple[Picture, ...]:
    """Return drawings of the whole cell: items, cables and sockets."""
    return tuple(picture(s) for s in draw_overview(cell, width_mm=WIDE_MM, height_mm=HIGH_MM))


def supply_pictures(
    cell: Cell, branches: Sequence[BranchLoad] | None = None
) -> tuple[Picture, ...]:
    """Return the supply tree: who feeds what, protection, budgets, drops and far shorts."""
    sheets = draw_supply(cell, branches, width_mm=WIDE_MM, height_mm=HIGH_MM)
    return tuple(picture(s) for s in sheets)
