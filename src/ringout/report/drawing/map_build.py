"""Who is on which terminal or port pin of an item: both sides, what is free, what is bridged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest

from ringout.cell.model import Cell, Item, Join, Terminal
from ringout.report.faces_model import connector_name
from ringout.report.sheet_nets import PASS_ON, Nets, other_end

FREE = "free"


@dataclass(frozen=True, slots=True)
class Landed:
    """One conductor on a pin.

    Args:
        conductor: `W1:BN`, `plug`, `jumper` or `link`.
        colour: colour code of the core; empty without one.
        far: terminal at its other end.
        note: what stands there, in the user's words.
    """

    conductor: str
    colour: str
    far: str
    note: str


@dataclass(frozen=True, slots=True)
class MapPin:
    """A terminal or port pin with what is landed on it; nothing means that it is free."""

    terminal: Terminal
    gender: str
    landed: tuple[Landed, ...]

    @property
    def label(self) -> str:
        """Return socket and pin, or the terminal alone."""
        socket = self.terminal.socket
        return f"{socket}:{self.terminal.pin}" if socket else self.terminal.pin


@dataclass(frozen=True, slots=True)
class MapRow:
    """One line of a map.

    Args:
        net: net inside the item; rows of one net are joined.
        carries: signal, `+24 V`, `0 V` or `PE` on it, all of them when several.
        left: pin at the left.
        right: pin at the right.
        through: kind of the element between both pins where they are not one net.
    """

    net: str
    carries: str
    left: MapPin | None
    right: MapPin | None
    through: str = ""


@dataclass(frozen=True, slots=True)
class ItemMap:
    """The map of one item.

    Args:
        item: reference designation.
        title: what the part is.
        note: what it is, in the user's words.
        rows: its pins, net by net.
        ports: (name, what it is and what is on it) of each socket.
        inside: what stands between its nets, in words.
        jumpers: pairs of its own terminals joined by a short wire.
    """

    item: str
    title: str
    note: str
    rows: tuple[MapRow, ...]
    ports: tuple[tuple[str, str], ...]
    inside: tuple[str, ...]
    jumpers: tuple[tuple[Terminal, Terminal], ...]


def mapped_items(cell: Cell) -> tuple[str, ...]:
    """Return the terminals, splitters and connectors of a cell, which only hand conductors on."""
    return tuple(n for n, i in cell.items.items() if i.part.family in PASS_ON)


def build_map(cell: Cell, name: str, nets: Nets | None = None) -> ItemMap:
    """Return the map of an item.

    Args:
        cell: the cell.
        name: one of its items.
        nets: nets of the cell, if at hand.
    """
    nets = nets or Nets(cell)
    item = cell.items[name]
    return ItemMap(
        name,
        item.part.title,
        item.note,
        tuple(_rows(cell, nets, item)),
        tuple(_port(nets, item, socket) for socket in item.part.sockets),
        tuple(_inside(item)),
        tuple((j.a, j.b) for j in cell.joins if j.a.item == j.b.item == name),
    )


def _rows(cell: Cell, nets: Nets, item: Item) -> list[MapRow]:
    by_net: dict[str, list[Terminal]] = {}
    for terminal in item.terminals():
        by_net.setdefault(item.net(terminal) or "", []).append(terminal)
    rows: list[MapRow] = []
    done: set[str] = set()
    for net, found in by_net.items():
        if net in done:
            continue
        done.add(net)
        other, kind = _across(item, net, by_net)
        if other and other not in done:
            done.add(other)
            left, right = found, by_net[other]
            carries = [nets.carries(t[0]) for t in (left, right)]
        else:
            kind = ""
            left, right = _sides(item, found)
            carries = [nets.carries(found[0])]
        words = " | ".join(dict.fromkeys(c for c in carries if c))
        rows += [
            MapRow(
                net,
                words if k == 0 else "",
                _pin(cell, nets, a) if a is not None else None,
                _pin(cell, nets, b) if b is not None else None,
                kind if k == 0 else "",
            )
            for k, (a, b) in enumerate(zip_longest(left, right))
        ]
    return rows


def _across(item: Item, net: str, by_net: dict[str, list[Terminal]]) -> tuple[str, str]:
    """Return the net that stands behind an element of a single terminal, and its kind."""
    if item.part.sockets or len(by_net[net]) > 1:
        return "", ""
    for spec in item.part.elements:
        ends = (spec.tail, spec.head)
        if net in ends:
            other = ends[1] if ends[0] == net else ends[0]
            if len(by_net.get(other, ())) == 1:
                return other, spec.kind
    return "", ""


def _sides(item: Item, found: Sequence[Terminal]) -> tuple[list[Terminal], list[Terminal]]:
    """Return which terminals of a net stand left and which right."""
    sockets = item.part.sockets
    if not sockets:
        half = (len(found) + 1) // 2
        return list(found[:half]), list(found[half:])
    if item.part.terminals:
        trunk = {""}
    else:
        genders = [s.gender for s in sockets.values()]
        few = min(("male", "female"), key=lambda g: (g not in genders, genders.count(g)))
        trunk = {n for n, s in sockets.items() if s.gender == few}
    return [t for t in found if t.socket in trunk], [t for t in found if t.socket not in trunk]


def _pin(cell: Cell, nets: Nets, terminal: Terminal) -> MapPin:
    socket = cell.items[terminal.item].part.sockets.get(terminal.socket)
    clamp = socket is None or socket.connector.startswith("terminal")
    gender = "" if clamp or socket is None else socket.gender
    joins = nets.joins_at.get(terminal, [])
    return MapPin(terminal, gender, tuple(_landed(cell, j, terminal) for j in joins))


def _landed(cell: Cell, join: Join, here: Terminal) -> Landed:
    far = other_end(join, here)
    name = join.conductor
    if not join.cable:
        name = "jumper" if far.item == here.item else "plug" if join.plugged else "link"
    note = cell.items[far.item].note if far.item != here.item else ""
    return Landed(name, join.core, str(far), note)


def _port(nets: Nets, item: Item, socket: str) -> tuple[str, str]:
    """Return a socket and what is on it, in words."""
    found = item.part.sockets[socket]
    on: dict[str, None] = {}
    for pin in found.pins:
        here = Terminal(item.name, socket, pin)
        for join in nets.joins_at.get(here, ()):
            far = other_end(join, here)
            place = f"{far.item}-{far.socket}" if far.socket else far.item
            note = nets.cell.items[far.item].note
            words = f"{join.cable} to {place}" if join.cable else place
            on[f"{words} ({note})" if note else words] = None
    what = f"{connector_name(found.connector)} {found.gender}"
    return socket, f"{what}: {', '.join(on) if on else FREE}"


def _inside(item: Item) -> list[str]:
    names: dict[str, str] = {}
    for terminal in item.terminals():
        net = item.net(terminal) or ""
        names.setdefault(net, terminal.pin)
    return [
        f"{spec.name} ({spec.kind}) between {names.get(spec.tail, spec.tail)} and "
        f"{names.get(spec.head, spec.head)}"
        for spec in item.part.elements
    ]
