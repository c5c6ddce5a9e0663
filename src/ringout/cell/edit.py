"""Changed copies of a cell: another part, a moved core, a new component; the file stays."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from ringout.base import Interval
from ringout.cell.catalogue import find_part
from ringout.cell.model import Cable, Cell, Item, Join, Signal, Terminal
from ringout.cell.part import Part


def index_joins(joins: Iterable[Join]) -> dict[Terminal, tuple[Join, ...]]:
    """Return terminal to the joins that land on it."""
    at: dict[Terminal, list[Join]] = {}
    for join in joins:
        for end in (join.a, join.b):
            at.setdefault(end, []).append(join)
    return {k: tuple(v) for k, v in at.items()}


def with_joins(cell: Cell, joins: Iterable[Join]) -> Cell:
    """Return the cell with other joins."""
    new = tuple(joins)
    return replace(cell, joins=new, join_at=index_joins(new))


def with_part(cell: Cell, item: str, part: Part) -> Cell:
    """Return the cell with another part for one item."""
    changed = replace(cell.items[item], part=part)
    return replace(cell, items={**cell.items, item: changed})


def with_setting(cell: Cell, item: str, setting: str, text: str) -> Cell | None:
    """Return the cell with one setting of an item changed, or None if that cannot be read."""
    old = cell.items[item]
    settings = {**old.settings, setting: text}
    part = find_part(old.part.name, settings, cell.folder)
    if part is None:
        return None
    changed = replace(old, part=part, settings=settings)
    return replace(cell, items={**cell.items, item: changed})


def with_landing(cell: Cell, join: Join, old: Terminal, new: Terminal) -> Cell:
    """Return the cell with one end of a join landed elsewhere."""
    moved = replace(join, a=new) if join.a == old else replace(join, b=new)
    return with_joins(cell, (moved if j is join else j for j in cell.joins))


def with_swapped(cell: Cell, first: Terminal, second: Terminal) -> Cell:
    """Return the cell with everything on two terminals exchanged."""
    other = {first: second, second: first}
    return with_joins(
        cell,
        (replace(j, a=other.get(j.a, j.a), b=other.get(j.b, j.b)) for j in cell.joins),
    )


def with_signal(cell: Cell, name: str, **changes: object) -> Cell:
    """Return the cell with fields of one signal changed."""
    signal: Signal = replace(cell.signals[name], **changes)  # type: ignore[arg-type]
    return replace(cell, signals={**cell.signals, name: signal})


def with_cable(
    cell: Cell, name: str, *, length_m: float | None = None, part: Part | None = None
) -> Cell:
    """Return the cell with another length or type of one cable."""
    cable: Cable = cell.cables[name]
    if length_m is not None:
        cable = replace(cable, length_m=Interval.exact(length_m))
    if part is not None:
        cable = replace(cable, part=part)
    return replace(cell, cables={**cell.cables, name: cable})


def with_cable_part(cell: Cell, name: str, part: Part, colours: Mapping[str, str]) -> Cell:
    """Return the cell with another type of one cable, its joined cores renamed old to new."""
    joins = (
        replace(j, core=colours.get(j.core, j.core)) if j.cable == name else j for j in cell.joins
    )
    return with_joins(with_cable(cell, name, part=part), joins)


def with_item(
    cell: Cell, name: str, part: Part, links: Mapping[str, Terminal], settings: Mapping[str, str]
) -> Cell:
    """Return the cell with one more item, each of its terminals linked to a place."""
    span = cell.span
    item = Item(name, part, "", settings, {}, span, span)
    joins = list(cell.joins)
    for pin, place in links.items():
        here = Terminal(name, "", pin)
        joins.append(Join(here, place, "", "", span, span, span, span))
    return with_joins(replace(cell, items={**cell.items, name: item}), joins)


def with_link(cell: Cell, a: Terminal, b: Terminal) -> Cell:
    """Return the cell with one more conductor between two terminals."""
    span = cell.span
    return with_joins(cell, (*cell.joins, Join(a, b, "", "", span, span, span, span)))


def free_name(cell: Cell, letter: str) -> str:
    """Return the first designation with this letter that is not taken."""
    number = 1
    while f"{letter}{number}" in cell.items or f"{letter}{number}" in cell.cables:
        number += 1
    return f"{letter}{number}"
