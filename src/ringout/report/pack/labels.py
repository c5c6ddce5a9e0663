"""Labels of both ends of every core and cordset, each with a square code."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from ringout.report.drawing.metrics import POINT_MM, text_width_mm, wrap
from ringout.report.pack.model import Label, Pack
from ringout.report.sheet_model import End, Row, Sheet
from ringout.tables.labels import LabelSize

TEXT_MM = 7.5 * POINT_MM
LINE_MM = 2.9
EDGE_MM = 1.0
HASH_FIGURES = 6
LEAST_MODULE_MM = 0.25  # what phones still read from common label printers, common practice


@dataclass(frozen=True, slots=True)
class LaidLabel:
    """A label laid out for one stock: lines of text beside the code.

    Args:
        label: the label.
        lines: what is written, top line first; the first one is bold.
        code: SVG of the square code; empty where there is no room for one.
        code_mm: side of it.
        whole: everything of the label is on it.
    """

    label: Label
    lines: tuple[str, ...]
    code: str
    code_mm: float
    whole: bool


def labels_of(sheet: Sheet) -> tuple[Label, ...]:
    """Return the label of every end, in the order of work.

    Args:
        sheet: the connection sheet.
    """
    found: list[Label] = []
    for end in sheet.ends:
        seen: set[str] = set()
        for row in end.rows:
            if row.label and row.label not in seen:
                seen.add(row.label)
                found.append(_label(sheet, end, row))
    return tuple(found)


def _label(sheet: Sheet, end: End, row: Row) -> Label:
    head, _, there = row.label.partition(" > ")
    name, _, here = head.partition(" ")
    code = "/".join(w for w in (name, here, sheet.file_hash[:HASH_FIGURES].upper()) if w)
    return Label(row.label, name, here, there, code, end.cable, end.place)


@lru_cache(maxsize=4096)
def code_svg(text: str) -> tuple[str, int]:
    """Return a square code as SVG without size, and how many modules it has, quiet zone included.

    Args:
        text: what it says.
    """
    import segno

    code = segno.make_qr(text, error="l", boost_error=True)
    border = 2
    rows = [list(row) for row in code.matrix_iter(border=border)]
    side = len(rows)
    path = []
    for y, row in enumerate(rows):
        x = 0
        while x < side:
            if row[x]:
                start = x
                while x < side and row[x]:
                    x += 1
                path.append(f"M{start} {y}h{x - start}v1h-{x - start}z")
            else:
                x += 1
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{side}mm" height="{side}mm" '
        f'viewBox="0 0 {side} {side}" shape-rendering="crispEdges">'
        f'<path d="{"".join(path)}"/></svg>'
    )
    return svg, side


def lay_out_label(label: Label, size: LabelSize) -> LaidLabel:
    """Return a label laid out for one stock; the code gives way where text needs the room.

    Args:
        label: the label.
        size: the stock.
    """
    code, modules = code_svg(label.code) if size.qr_mm else ("", 1)
    if code and size.qr_mm / modules < LEAST_MODULE_MM:
        code = ""
    best = _lines(label, size, size.qr_mm if code else 0.0)
    if code and not best[1]:
        without = _lines(label, size, 0.0)
        if without[1]:
            return LaidLabel(label, without[0], "", 0.0, whole=True)
    return LaidLabel(label, best[0], code, size.qr_mm if code else 0.0, whole=best[1])


def _lines(label: Label, size: LabelSize, code_mm: float) -> tuple[tuple[str, ...], bool]:
    """Return the lines that fit and whether they are all."""
    room_mm = size.width_mm - 2 * EDGE_MM - (code_mm + EDGE_MM if code_mm else 0.0)
    most = max(int((size.height_mm - EDGE_MM) / LINE_MM), 1)
    if most == 1:
        return (label.text,), text_width_mm(label.text, TEXT_MM, bold=True) <= room_mm
    there = f"> {label.there}" if label.there else ""
    shapes = (
        [label.name, label.here, there],
        [f"{label.name} {label.here}".strip(), there],
    )
    lines: list[str] = []
    for shape in shapes if most > len(shapes) else shapes[1:]:
        lines = [
            line
            for k, text in enumerate(shape)
            if text
            for line in wrap(text, TEXT_MM, room_mm, bold=k == 0)
        ]
        if len(lines) <= most:
            return tuple(lines), True
    return tuple(lines[:most]), False


def laid_labels(pack: Pack, size: LabelSize) -> tuple[LaidLabel, ...]:
    """Return all labels of a pack laid out for one stock."""
    return tuple(lay_out_label(label, size) for label in pack.labels)
