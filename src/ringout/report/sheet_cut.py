"""The cut list: what to cut, buy and print before the first end is made off."""

from __future__ import annotations

from collections import Counter

from ringout.cell.model import Cable, Cell
from ringout.report.sheet_layout import area_words
from ringout.report.sheet_model import (
    FIELD_PLUG,
    LEAD,
    LINK,
    PLUGGED,
    CutList,
    CutRow,
    End,
    FerruleRow,
    MetreRow,
    PlugRow,
)


def build_cut_list(cell: Cell, ends: tuple[End, ...]) -> CutList:
    """Return the cut list that belongs to the ends of a cell."""
    order = list(dict.fromkeys(e.cable for e in ends if e.cable in cell.cables))
    order += [name for name in cell.cables if name not in order]
    cables = tuple(_cut_row(cell.cables[name], ends) for name in order)
    rows = [r for e in ends if e.work != PLUGGED and e.cable != LEAD for r in e.rows]
    return CutList(
        cables=cables,
        metres=_metres(cell, order),
        ferrules=_ferrules(ends),
        plugs=_plugs(cell, ends),
        core_labels=sum(bool(r.label) for r in rows),
        cable_labels=2 * len(cell.cables),
        links=sum(e.cable == LINK and e.end == 1 for e in ends),
    )


def cores_words(cable: Cable) -> str:
    """Return a cable's make-up as on its sheath: `4 x 0.34 mm2`."""
    counts = Counter(core.area_mm2 for core in cable.part.cores)
    return " + ".join(f"{n} x {area_words(area)} mm2" for area, n in counts.items())


def _cut_row(cable: Cable, ends: tuple[End, ...]) -> CutRow:
    mine = [e for e in ends if e.cable == cable.name]
    used = {r.core for e in mine for r in e.rows if not r.spare}
    sides = [[e for e in mine if e.end == n] for n in (1, 2)]
    return CutRow(
        cable=cable.name,
        part=cable.part.name,
        title=cable.part.title,
        cores=cores_words(cable),
        length_m=cable.length_m.typ,
        from_place=", ".join(e.place for e in sides[0]),
        to_place=", ".join(e.place for e in sides[1]),
        ends_by_hand=sum(any(e.work != PLUGGED for e in side) for side in sides),
        used_cores=len(used),
        spare_cores=len(cable.part.cores) - len(used),
    )


def _metres(cell: Cell, order: list[str]) -> tuple[MetreRow, ...]:
    found: dict[str, list[Cable]] = {}
    for name in order:
        cable = cell.cables[name]
        found.setdefault(cable.part.name, []).append(cable)
    return tuple(
        MetreRow(
            part=part,
            title=same[0].part.title,
            length_m=round(sum(c.length_m.typ for c in same), 3),
            pieces=len(same),
            made_up=same[0].part.ends is not None,
        )
        for part, same in found.items()
    )


def _ferrules(ends: tuple[End, ...]) -> tuple[FerruleRow, ...]:
    counts = Counter(r.ferrule for e in ends for r in e.rows if r.ferrule is not None)
    return tuple(
        FerruleRow(f.area_mm2, f.colour, f.series, f.barrel_mm, count)
        for f, count in sorted(counts.items(), key=lambda p: (p[0].area_mm2, p[0].barrel_mm))
    )


def _plugs(cell: Cell, ends: tuple[End, ...]) -> tuple[PlugRow, ...]:
    """Return connectors to buy: one for each place, however many cables share it."""
    found: dict[tuple[str, str], list[str]] = {}
    for end in ends:
        if end.work != FIELD_PLUG or end.place in cell.items:
            continue  # a connector that is an item of its own is on the list of items already
        places = found.setdefault((end.connector, end.gender), [])
        if end.place not in places:
            places.append(end.place)
    return tuple(PlugRow(c, g, len(p), tuple(p)) for (c, g), p in found.items())
