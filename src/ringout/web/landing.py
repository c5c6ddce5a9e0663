"""A device on a socket in one go: item, cable, joins and signal worked out from its part."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ringout.cell.catalogue import find_part, part_names
from ringout.cell.edit import free_name
from ringout.cell.joins import mates
from ringout.cell.model import Cell
from ringout.cell.part import ElementSpec, Part, Socket
from ringout.cellfile.write import AddEntry, AddLine, Edit, EditError
from ringout.web.faces import STANDARD, socket_views

GIVERS, TAKERS = ("switch", "sensor"), ("load", "relay")  # families: tell an input, are driven
PLUS, ZERO, FIRST, EARTH = STANDARD["plus"], STANDARD["minus"], STANDARD["out"], "5"
OUTPUTS = (FIRST, STANDARD["second"])  # where a device's own plug has its outputs, the usual first
CABLE, CABLE_EARTHED = "cable-2x0.5", "cable-3x0.5"


@dataclass(frozen=True, slots=True)
class Place:
    """A free socket to plug into: its place, and the channel behind each pin."""

    name: str
    channels: Mapping[str, str]

    @property
    def words(self) -> str:
        """Return what its signal pins reach."""
        told = [f"pin {p} is {c}" for p, c in self.channels.items() if p in OUTPUTS]
        return ", ".join(reversed(told)) or "no channel"


def free_places(cell: Cell) -> list[Place]:
    """Return the sockets of controllers and boxes with nothing plugged in."""
    return [
        Place(v.place, {p.pin: p.channel for p in v.pins if p.channel})
        for v in socket_views(cell, "mating")
        if v.host and v.free and v.svg
    ]


def land(cell: Cell | None, words: Mapping[str, str]) -> tuple[Sequence[Edit], str]:
    """Return the edits that put a device on a socket, and what they do in words.

    Args:
        cell: the cell.
        words: `part`, `place`, `length`, and if wanted `note` and `signal`.

    Raises:
        EditError: this cannot be worked out; the message says what to do instead.
    """
    part = find_part(words.get("part", ""), None, cell.folder if cell is not None else "")
    if part is None or cell is None:
        raise EditError("the device is missing")
    place = next((p for p in free_places(cell) if p.name == words.get("place")), None)
    if place is None:
        raise EditError("the socket is missing, or it is no longer free")
    length = words.get("length", "")
    if not length:
        raise EditError("the length of the cable is missing")
    length = f"{length} m" if length.replace(".", "", 1).isdecimal() else length
    host, _, socket = place.name.partition("-")
    plug = cell.items[host].part.sockets[socket]
    item, cable = free_name(cell, part.letter), free_name(cell, "W")
    driven = part.family in TAKERS
    route = _plugged(cell, part, plug) or (_driven(part, plug) if driven else _contact(part))
    if route is None:
        raise EditError(
            f"how {part.name} is landed cannot be worked out; use the single forms below"
        )
    channel = place.channels.get(route.channel_pin, "")
    kind = cell.items[host].part.channels[channel.partition(".")[2]].kind if channel else ""
    wanted = "output" if driven else "input"
    if kind != wanted:
        there = f"the {kind} {channel}" if channel else "no channel"
        raise EditError(
            f"pin {route.channel_pin} of {place.name} is {there}, not an {wanted}: "
            f"choose another socket"
        )
    note = words.get("note", "")
    name = _signal_name(cell, words.get("signal") or note or f"{item} {route.when}")
    item_value = {"part": part.name, "note": note} if note else part.name
    mover = f"{item}.{route.actor}" if len(part.actors) > 1 else item
    on = " or ".join(f"{mover} {word}" for word in route.when.split())
    meaning = {"drives": item} if driven else {"on": on}
    if route.pairs:
        joins = [f"{item}:{a}  {cable}:{core}  {place.name}:{b}" for a, core, b in route.pairs]
    else:
        joins = [f"{item}  {cable}  {place.name}"]
    edits: list[Edit] = [
        AddEntry("items", item, item_value),
        AddEntry("cables", cable, {"part": route.cable, "length": length}),
        *(AddLine("joins", line) for line in joins),
        AddEntry("signals", name, {"channel": channel, **meaning}),
    ]
    return edits, f"{item} on {place.name} over {cable}, as {name} on {channel}"


@dataclass(frozen=True, slots=True)
class _Route:
    """How a device reaches a socket.

    Args:
        cable: part of the cable or cordset.
        pairs: (terminal, core, pin of the socket); none where a cordset is plugged.
        channel_pin: pin of the socket its signal arrives at.
        when: positions in which it is on, blanks between them; empty for what is driven.
        actor: whose positions these are.
    """

    cable: str
    pairs: tuple[tuple[str, str, str], ...]
    channel_pin: str
    when: str = ""
    actor: str = ""


def _gives(part: Part) -> list[ElementSpec]:
    """Return what switches inside a device: contacts and outputs, not their leakages."""
    return [e for e in part.elements if e.when and e.kind in ("contact", "drop")]


def _plugged(cell: Cell, part: Part, socket: Socket) -> _Route | None:
    """Return the route of a device with a plug of its own."""
    for own in part.sockets.values():
        out, when, actor = _output(part, own)
        for cordset in _cordsets(cell, own, socket):
            far = {c.from_pin: c.to_pin for c in cordset.cores}
            if out in far:
                return _Route(cordset.name, (), far[out], when, actor)
    return None


def _output(part: Part, own: Socket) -> tuple[str, str, str]:
    """Return the pin of a device's own plug with its signal, when that is on, and by whom."""
    if part.family in TAKERS:
        main = part.element_by_name.get(part.main)
        fits = (p for p in own.pins if main is not None and own.pins[p] == main.tail)
        return next(fits, ""), "", ""
    for pin in OUTPUTS:
        for e in _gives(part):
            if own.pins.get(pin, "") in (e.tail, e.head):
                return pin, " ".join(e.when), e.actor
    return "", "", ""


def _cordsets(cell: Cell, own: Socket, socket: Socket) -> list[Part]:
    """Return the straight cordsets between two connectors that bring all pins, thinnest first."""
    found = []
    for name in part_names(cell.folder):
        part = find_part(name, None, cell.folder)
        if part is None or part.ends is None or part.family != "cordset":
            continue
        straight = all(c.from_pin == c.to_pin for c in part.cores)
        brings = set(own.pins) <= {c.from_pin for c in part.cores}
        reaches = {c.to_pin for c in part.cores if c.from_pin in own.pins} <= set(socket.pins)
        if not (brings and reaches and mates(part.ends[0], own) and mates(part.ends[1], socket)):
            continue
        if straight or not own.connector.startswith(("m12", "m8")):
            found.append(part)
    return sorted(found, key=lambda p: len(p.cores))


def _by_net(part: Part) -> dict[str, str]:
    """Return the first terminal of each net of a part."""
    back: dict[str, str] = {}
    for terminal, net in part.terminals.items():
        back.setdefault(net, terminal)
    return back


def _contact(part: Part) -> _Route | None:
    """Return the route of a contact with two terminals: from +24 V to the input."""
    back = _by_net(part)
    for e in _gives(part):
        if e.kind == "contact" and e.tail in back and e.head in back:
            pairs = ((back[e.tail], "BN", PLUS), (back[e.head], "BU", FIRST))
            return _Route(CABLE, pairs, FIRST, " ".join(e.when), e.actor)
    return None


def _driven(part: Part, socket: Socket) -> _Route | None:
    """Return the route of a load with two terminals: from the output to 0 V, with its earth."""
    main = part.element_by_name.get(part.main)
    back = _by_net(part)
    if main is None or main.tail not in back or main.head not in back:
        return None
    pairs = [(back[main.tail], "BN", FIRST), (back[main.head], "BU", ZERO)]
    earthed = "PE" in part.terminals and EARTH in socket.pins
    if earthed:
        pairs.append(("PE", "GNYE", EARTH))
    return _Route(CABLE_EARTHED if earthed else CABLE, tuple(pairs), FIRST)


def _signal_name(cell: Cell, text: str) -> str:
    """Return a name for a signal made of words, one that is not taken."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    name = re.sub(r"\W+", "_", plain).strip("_") or "signal"
    if not name[0].isalpha():
        name = f"s_{name}"
    free, number = name, 2
    while free in cell.signals:
        free, number = f"{name}_{number}", number + 1
    return free
