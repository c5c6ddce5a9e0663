"""Wrong connectors: a splitter or box of the same shape that joins other pins."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from ringout.cell.model import Item, Terminal
from ringout.cell.part import Part, Socket
from ringout.circuit.behaviour import OPEN
from ringout.circuit.faults.alternatives import family_parts
from ringout.circuit.faults.model import Change, Extra, Fault, Place
from ringout.circuit.faults.wiring import End, Wiring

# Plugs with a fifth pin in the middle go into the same sockets and the other way round.
SAME_SHAPE = {"m12-a-5": "m12-a-4"}


def wrong_connectors(w: Wiring) -> Iterator[Fault]:
    """Yield connectors with another pin map in the place of each one that only joins pins."""
    for item in w.cell.items.values():
        if item.part.family != "connector" or not _only_joins_pins(item.part):
            continue
        ends = [e for e in w.ends if e.at.item == item.name]
        # a conductor with both ends on it would have to be moved twice
        if not ends or any(e.far.item == item.name for e in ends):
            continue
        for other in family_parts("connector", w.cell.folder):
            places = _sockets(item.part, other) if _only_joins_pins(other) else None
            if places is not None and other.name != item.part.name:
                yield from _remapped(w, item, other, places, ends)


def _only_joins_pins(part: Part) -> bool:
    return bool(part.sockets) and not part.elements and not part.terminals


def _shape(socket: Socket) -> tuple[str, str]:
    return SAME_SHAPE.get(socket.connector, socket.connector), socket.gender


def _sockets(part: Part, other: Part) -> dict[str, str] | None:
    """Return which socket of another part takes the place of each of a part, None if none does."""
    free = {name: _shape(s) for name, s in other.sockets.items()}
    if Counter(free.values()) != Counter(_shape(s) for s in part.sockets.values()):
        return None
    found: dict[str, str] = {}
    named = [n for n, s in part.sockets.items() if free.get(n) == _shape(s)]
    for name in [*named, *(n for n in part.sockets if n not in named)]:
        shape = _shape(part.sockets[name])
        if name not in free or free[name] != shape:
            fit = next(n for n, s in free.items() if s == shape)
        else:
            fit = name
        found[name] = fit
        free.pop(fit)
    return found


def _remapped(
    w: Wiring, item: Item, other: Part, places: dict[str, str], ends: list[End]
) -> Iterator[Fault]:
    node_of = _nodes(w, item, other, places)
    changes: list[Change] = []
    extras: list[Extra] = []
    for end in ends:
        pins = other.sockets[places[end.at.socket]].pins
        dead_end = f"{end.at} as {other.name}"
        to = node_of[pins[end.at.pin]] if end.at.pin in pins else dead_end
        if to == w.node(end.at):
            continue
        changes.append(Change.always(end.join.conductor, OPEN))
        extra, change = _moved(w, end, to)
        extras.append(extra)
        changes.append(change)
    if changes:
        title = f"{other.title[:1].lower()}{other.title[1:]}"
        yield w.wrong_type(item, other.name, title, changes, extras)


def _nodes(w: Wiring, item: Item, other: Part, places: dict[str, str]) -> dict[str, Place]:
    """Return the node of each net of the other part: the one most of its pins have now."""
    common: Counter[tuple[str, int]] = Counter()
    used = {e.at for e in w.ends if e.at.item == item.name}
    for name, socket in item.part.sockets.items():
        for pin in socket.pins:
            net = other.sockets[places[name]].pins.get(pin)
            at = Terminal(item.name, name, pin)
            if net is not None:
                # a pin with a conductor on it weighs more than all idle ones
                common[net, w.node(at)] += 100 if at in used else 1
    nodes: dict[str, Place] = {}
    taken: set[int] = set()
    for (net, node), _ in sorted(common.items(), key=lambda c: (-c[1], c[0])):
        if net not in nodes and node not in taken:
            nodes[net] = node
            taken.add(node)
    for socket in other.sockets.values():
        for net in socket.pins.values():
            nodes.setdefault(net, f"{item.name}.{net} as {other.name}")
    return nodes


def _moved(w: Wiring, end: End, to: Place) -> tuple[Extra, Change]:
    """Return the conductor of an end on another net, which may be one that only the fault brings.

    An end that is taken off stays off, whatever it was plugged into.
    """
    lifted = w.circuit.lifted_node
    to = lifted.get(f"{end.join.conductor}@{end.at.item}", to)
    if isinstance(to, int):
        return w.moved(end, to)
    far = lifted.get(f"{end.join.conductor}@{end.far.item}", w.node(end.far))
    behaviour = w.behaviour(end.number)[0]
    extra = Extra(
        f"moved {end.join.conductor} to {to}", "moved", far, to, "", None, end.join, end.join.span
    )
    return extra, Change.always(extra.name, behaviour)
