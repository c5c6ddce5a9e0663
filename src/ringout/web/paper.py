"""What goes on paper: lists of the sheet for the screen, drawings, and files to download."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

from ringout.cell.model import Cell
from ringout.report.sheet import Sheet, write_csv, write_xlsx
from ringout.report.sheet_tables import (
    CUT_LIST,
    IO_LIST,
    LAST_PRINTED,
    Value,
    all_tables,
)
from ringout.web.snapshot import Snapshot

LISTS = (
    ("connections", "Connections"),
    (CUT_LIST, "Cut list"),
    (IO_LIST, "I/O list"),
    ("faces", "Faces"),
    ("drawings", "Drawings"),
    ("pack", "Wiring pack"),
)
PAPERS = (("a4", "A4"), ("letter", "Letter"))
PARTS = (
    ("", "everything"),
    ("sheets", "connection sheets"),
    ("labels", "labels"),
    ("checkout", "checkout"),
)
MEDIA = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "svg": "image/svg+xml",
    "pdf": "application/pdf",
}
ROW_HEADS = ("Core", "Colour", "Land on", "Where", "Carries", "Size", "Sleeve", "Strip", "Torque",
             "Label", "Far end")  # fmt: skip
CELL_DRAWING, SUPPLY_DRAWING = "overview", "supply"


@dataclass(frozen=True, slots=True)
class Block:
    """One end of a cable: what it is, what to do, and its cores.

    Args:
        title: cable, end and place.
        about: part, connector and what to do.
        cautions: what to mind.
        rows: words by column, spare cores last.
    """

    title: str
    about: str
    cautions: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def blocks_of(sheet: Sheet) -> list[Block]:
    """Return the connection sheet, one block for each end of a cable."""
    out = []
    for end in sheet.ends:
        rows = []
        for r in end.rows:
            sleeve = f"{r.ferrule.colour} {r.ferrule.area_mm2:g} mm²" if r.ferrule else ""
            rows.append(
                (
                    r.core or "–",
                    r.colour,
                    r.terminal or ("spare" if r.spare else ""),
                    r.seen,
                    r.carries,
                    _with(r.area_mm2, "mm²"),
                    sleeve,
                    _with(r.strip_mm, "mm"),
                    _with(r.torque_nm, "N m"),
                    r.label,
                    r.far,
                )
            )
        note = f" ({end.note})" if end.note else ""
        cautions = dict.fromkeys((*end.cautions, *(c for r in end.rows for c in r.cautions)))
        title = f"{end.cable}, end {end.end}: {end.place}{note}"
        about = ": ".join(w.rstrip(".") for w in (end.part, end.fit) if w)
        out.append(Block(title, about, tuple(cautions), tuple(rows)))
    return out


def _with(value: float | None, unit: str) -> str:
    return f"{value:g} {unit}" if value is not None else ""


def table_of(sheet: Sheet, name: str) -> tuple[list[str], list[list[str]]]:
    """Return heads and rows of a list as words; columns in which nothing stands are left out."""
    keys, records = all_tables(sheet)[name]
    last = LAST_PRINTED.get(name)
    shown = keys[: keys.index(last) + 1] if last in keys else keys
    shown = tuple(k for k in shown if any(_words(r.get(k)) for r in records))
    heads = [k.replace("_", " ") for k in shown]
    return heads, [[_words(r.get(k)) for k in shown] for r in records]


def _words(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else f"{value:g}"


def sheet_file(sheet: Sheet, kind: str) -> bytes:
    """Return the sheet as a file, made by the writer that the command uses.

    Args:
        sheet: the sheet.
        kind: `csv` or `xlsx`.
    """
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / f"sheet.{kind}"
        (write_csv if kind == "csv" else write_xlsx)(sheet, target)
        return target.read_bytes()


def faces_of(sheet: Sheet) -> list[tuple[str, str, str]]:
    """Return (place, note, SVG) of every face, as it is seen when wiring it."""
    from ringout.report.drawing.faces import draw_side

    return [(f.place, f.note, draw_side(f, "wiring").svg) for f in sheet.faces if f.drawn]


def drawing_names(cell: Cell) -> list[str]:
    """Return the names of all drawings of a cell."""
    return [CELL_DRAWING, SUPPLY_DRAWING, *cell.signals]


def drawing_of(now: Snapshot, name: str) -> list[str]:
    """Return a drawing as SVG, sheet by sheet.

    Args:
        now: the cell.
        name: one of `drawing_names`.
    """
    from ringout.report.drawing import draw_overview, draw_signal, draw_supply

    cell = now.cell
    assert cell is not None
    if name in cell.signals:
        variant, _ = now.variant()
        assert variant is not None
        return [s.svg for s in draw_signal(cell, cell.signals[name], circuit=variant.circuit)]
    made = draw_overview(cell) if name == CELL_DRAWING else draw_supply(cell)
    return [s.svg for s in made]
