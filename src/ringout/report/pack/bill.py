"""The bill of materials: items, cables, connectors, ferrules and labels, with where they go."""

from __future__ import annotations

from ringout.cell.model import Cell
from ringout.report.faces_model import fitted_name
from ringout.report.pack.model import BillRow
from ringout.report.sheet_layout import area_words, length_words
from ringout.report.sheet_model import CutList, Sheet

DEVICES, CABLES, SMALL = "Devices", "Cables and cordsets", "Small parts"


def bill_of_materials(cell: Cell, sheet: Sheet) -> tuple[BillRow, ...]:
    """Return what to have at hand before the work begins.

    Args:
        cell: the cell.
        sheet: its connection sheet, whose cut list counts what ends need.
    """
    return (*_devices(cell), *_cables(sheet.cut), *_small(sheet.cut))


def _devices(cell: Cell) -> list[BillRow]:
    kinds: dict[tuple[str, str], list[str]] = {}
    for item in cell.items.values():
        settings = ", ".join(f"{k} {v}" for k, v in item.settings.items())
        kinds.setdefault((item.part.name, settings), []).append(item.name)
    return [
        BillRow(
            DEVICES,
            part,
            cell.items[names[0]].part.title,
            str(len(names)),
            tuple(names),
            settings,
        )
        for (part, settings), names in kinds.items()
    ]


def _cables(cut: CutList) -> list[BillRow]:
    rows = []
    for metre in cut.metres:
        used = tuple(c.cable for c in cut.cables if c.part == metre.part)
        if metre.made_up:
            lengths: dict[float, int] = {}
            for c in cut.cables:
                if c.part == metre.part:
                    lengths[c.length_m] = lengths.get(c.length_m, 0) + 1
            each = ", ".join(f"{n} of {length_words(m)}" for m, n in sorted(lengths.items()))
            rows.append(BillRow(CABLES, metre.part, metre.title, str(metre.pieces), used, each))
        else:
            total = length_words(metre.length_m)
            pieces = "one piece" if metre.pieces == 1 else f"{metre.pieces} pieces"
            note = f"{pieces} off the drum"
            rows.append(BillRow(CABLES, metre.part, metre.title, total, used, note))
    return rows


def _small(cut: CutList) -> list[BillRow]:
    rows = [
        BillRow(
            SMALL,
            fitted_name(plug.connector, plug.gender),
            "field-wireable connector",
            str(plug.count),
            plug.places,
            "",
        )
        for plug in cut.plugs
    ]
    rows += [
        BillRow(
            SMALL,
            f"ferrule {area_words(f.area_mm2)} mm²",
            f"{f.colour} collar, barrel {f.barrel_mm:g} mm",
            str(f.count),
            (),
            f"collar colours of {f.series}",
        )
        for f in cut.ferrules
    ]
    for count, what in ((cut.core_labels, "core labels"), (cut.cable_labels, "cable labels")):
        if count:
            rows.append(BillRow(SMALL, what, "see Labels", str(count), (), ""))
    if cut.links:
        note = "of the size of the core beside them"
        rows.append(BillRow(SMALL, "links between clamps", "short wire", str(cut.links), (), note))
    return rows
