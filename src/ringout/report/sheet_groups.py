"""Joins gathered into the pieces of work they are: cables, links and direct plugs, end by end."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.cell.joins import mates
from ringout.cell.model import Cable, Cell, Join, Terminal
from ringout.report.sheet_model import CLAMP, FIELD_PLUG, LEAD, LINK, PLUGGED

Place = tuple[str, str]  # item and socket
LOOSE = frozenset({LINK, LEAD})


@dataclass(frozen=True, slots=True)
class Way:
    """A join turned so that `here[0]` is at end 1 of its cable and `here[1]` at end 2."""

    join: Join
    here: tuple[Terminal, Terminal]


@dataclass(frozen=True, slots=True)
class Group:
    """One cable, link or direct plug with its joins.

    Args:
        kind: `cable`, `link`, `lead` (a component's own wire) or `plug`.
        cable: the cable; None for all others.
        ways: its joins, turned alike.
    """

    kind: str
    cable: Cable | None
    ways: tuple[Way, ...]

    @property
    def name(self) -> str:
        """Return the cable's name, or its kind where there is no cable."""
        return self.cable.name if self.cable is not None else self.kind

    def places(self, end: int) -> tuple[Place, ...]:
        """Return where this end (0 or 1) is landed, in file order."""
        return tuple(dict.fromkeys(place_of(w.here[end]) for w in self.ways))


def place_of(terminal: Terminal) -> Place:
    """Return item and socket of a terminal."""
    return terminal.item, terminal.socket


def place_words(place: Place) -> str:
    """Return a place as the file writes it: `S1`, `K1-X1`."""
    return f"{place[0]}-{place[1]}" if place[1] else place[0]


def groups_of(cell: Cell) -> tuple[Group, ...]:
    """Return the pieces of work of a cell in the order one would do them.

    Cables landed by hand come in the order of the file, each followed by the links that share
    a clamp with it; what is only plugged comes last, so that the dead cell can be rung out
    with its plugs still off.
    """
    joins: dict[tuple[str, ...], list[Join]] = {}
    for number, join in enumerate(cell.joins):
        joins.setdefault(_key(join, number), []).append(join)
    groups = [
        Group(
            _kind(cell, key, found),
            cell.cables.get(key[1]) if key[0] == "cable" else None,
            _turn_alike(found),
        )
        for key, found in joins.items()
    ]
    plugged = [g for g in groups if all(w.join.plugged for w in g.ways)]
    links = [g for g in groups if g.kind in LOOSE]
    ordered: list[Group] = []
    for group in groups:
        if group in plugged or group.kind in LOOSE:
            continue
        ordered.append(group)
        held = {t for w in group.ways for t in w.here}
        beside = [g for g in links if held.intersection(g.ways[0].here)]
        ordered += beside
        links = [g for g in links if g not in beside]
    return (*ordered, *links, *plugged)


def _key(join: Join, number: int) -> tuple[str, ...]:
    if join.cable:
        return ("cable", join.cable)
    if join.plugged:
        return ("plug", *place_of(join.a), *place_of(join.b))
    return ("link", str(number))


def _kind(cell: Cell, key: tuple[str, ...], joins: list[Join]) -> str:
    if key[0] != LINK:
        return key[0]
    items = (joins[0].a.item, joins[0].b.item)
    return LEAD if any(cell.items[i].part.family == "component" for i in items) else LINK


def _turn_alike(joins: list[Join]) -> tuple[Way, ...]:
    first = joins[0]
    ends = ({place_of(first.a)}, {place_of(first.b)})
    ways = []
    for join in joins:
        a, b = place_of(join.a), place_of(join.b)
        straight, turned = _fit(a, ends[0]) + _fit(b, ends[1]), _fit(b, ends[0]) + _fit(a, ends[1])
        here = (join.b, join.a) if turned > straight else (join.a, join.b)
        for places, terminal in zip(ends, here, strict=True):
            places.add(place_of(terminal))
        ways.append(Way(join, here))
    return tuple(ways)


def _fit(place: Place, known: set[Place]) -> int:
    """Return 2 for a place of this end, 1 for another socket of the same item, else 0."""
    return 2 if place in known else int(place[0] in {item for item, _ in known})


def work_at(cell: Cell, group: Group, way: Way, end: int) -> str:
    """Return what is done with a join at end 0 or 1."""
    terminal = way.here[end]
    item = cell.items[terminal.item]
    socket = item.part.sockets.get(terminal.socket)
    if way.join.plugged or _made_up(group, way, terminal, cell):
        return PLUGGED
    if socket is not None and not socket.clamps:
        return FIELD_PLUG
    if socket is None and item.part.family == "connector" and len(item.part.sockets) == 1:
        return FIELD_PLUG
    return CLAMP if group.cable is not None else group.kind


def _made_up(group: Group, way: Way, terminal: Terminal, cell: Cell) -> bool:
    """Return whether a cordset named core by core has its moulded connector at this end."""
    cable = group.cable
    socket = cell.items[terminal.item].part.sockets.get(terminal.socket)
    if cable is None or cable.part.ends is None or socket is None:
        return False
    core = cable.core(way.join.core)
    pins = (core.from_pin, core.to_pin) if core is not None else ("", "")
    return any(
        mates(end, socket) and pin == terminal.pin
        for end, pin in zip(cable.part.ends, pins, strict=True)
    )
