"""Wrong parts: what plugs into the same place and differs in one electrical way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from ringout.cell.catalogue import USER_FOLDER, find_part, part_file, part_names
from ringout.cell.model import Item, Terminal
from ringout.cell.part import ElementSpec, Part
from ringout.circuit.behaviour import OPEN, behave
from ringout.circuit.compile import actor_name
from ringout.circuit.faults.model import Change, Extra, Fault, Place, Sensing
from ringout.circuit.faults.wiring import Wiring


@dataclass(frozen=True, slots=True)
class Manner:
    """How a switching part works, as data: what a wrong one may differ in.

    Args:
        wires: `3-wire` with electronics of its own, else `2-wire`.
        polarity: `pnp` gives current, `npn` takes it, `both`, or `contact`.
        sense: `no` conducts when worked, `nc` at rest, `both`.
    """

    wires: str
    polarity: str
    sense: str

    def differs(self, other: Manner) -> str:
        """Return in what one single way another part differs: its word, or nothing."""
        ways = [
            (self.wires, other.wires),
            (self.polarity, other.polarity),
            (self.sense, other.sense),
        ]
        words = [theirs for own, theirs in ways if own != theirs]
        if self.wires != other.wires and self.sense == other.sense:
            return other.wires
        return words[0] if len(words) == 1 and words[0] != "both" else ""


def manner_of(part: Part) -> Manner | None:
    """Return how a sensor works, or None for what is no simple switching part."""
    outputs = [e for e in part.elements if e.kind == "drop" and e.when]
    if not outputs:
        return None
    rest = {positions[0] for positions in part.actors.values()}
    senses = {"nc" if set(e.when) & rest else "no" for e in outputs}
    if part.alive is None:
        return Manner("2-wire", "contact", senses.pop() if len(senses) == 1 else "both")
    ways = {"pnp" if e.tail == part.alive.tail else "npn" for e in outputs}
    return Manner(
        "3-wire",
        ways.pop() if len(ways) == 1 else "both",
        senses.pop() if len(senses) == 1 else "both",
    )


def _fits(part: Part, other: Part) -> bool:
    """Return whether another part plugs into the place of one and is worked alike."""
    ends = {(s.connector, s.gender) for s in part.sockets.values()}
    others = {(s.connector, s.gender) for s in other.sockets.values()}
    return (
        other.family == part.family
        and bool(ends)
        and ends == others
        and len(other.sockets) == len(part.sockets)
        and other.actors == part.actors
    )


@lru_cache(maxsize=16)
def family_parts(family: str, folder: str) -> tuple[Part, ...]:
    """Return all parts of a family, shipped and the user's own."""
    names = []
    for name in part_names(folder):
        path = part_file(name, folder)
        # shipped parts lie in a folder of their family; user parts must be looked at
        if path is not None and path.parent.name in (family, USER_FOLDER):
            names.append(name)
    parts = (find_part(name, None, folder) for name in names)
    return tuple(p for p in parts if p is not None and p.family == family)


def wrong_parts(w: Wiring) -> Iterator[Fault]:
    """Yield sensors of another polarity, sense or number of wires in the place of each one."""
    for item in w.cell.items.values():
        if item.part.family != "sensor" or not item.part.sockets:
            continue
        manner = manner_of(item.part)
        if manner is None:
            continue
        taken: set[str] = set()
        for other in family_parts(item.part.family, w.cell.folder):
            theirs = manner_of(other)
            if theirs is None or not _fits(item.part, other):
                continue
            word = manner.differs(theirs)
            if word and word not in taken:
                taken.add(word)
                yield _wrong_part(w, item, other, word)


def _wrong_part(w: Wiring, item: Item, other: Part, word: str) -> Fault:
    nodes = _nodes(w, item, other, word)
    # the actor the healthy part is worked by works the wrong one too
    sensing: tuple[Sensing, ...] = ()
    powered: tuple[tuple[str, int], ...] = ()
    if other.alive is not None:
        actor = f"{item.name}.electronics as {word}"
        tail, head = nodes[other.alive.tail], nodes[other.alive.head]
        sensing = (Sensing(actor, item.name, tail, head, other.alive.above_v, item.span),)
        powered = ((actor, 1),)
    changes = [Change.always(e.name, OPEN) for e in w.circuit.elements if e.item == item.name]
    extras = []
    for spec in other.elements:
        extra = Extra(
            f"{item.name}.{spec.name} as {word}",
            spec.kind,
            nodes[spec.tail],
            nodes[spec.head],
            item.name,
            spec,
            None,
            item.span,
            (*_condition(w, item, spec), *(powered if spec.powered else ())),
        )
        extras.append(extra)
        on, off = behave(spec.kind, tuple(spec.values.items()))
        changes.append(Change(extra.name, on, off))
    fault = w.wrong_type(item, word, other.title.lower(), changes, extras)
    return Fault(**{**{n: getattr(fault, n) for n in Fault.__slots__}, "sensing": sensing})


def _nodes(w: Wiring, item: Item, other: Part, word: str) -> dict[str, Place]:
    """Return where the nets of the other part come to lie: same socket, same pin."""
    nodes: dict[str, Place] = {}
    own = list(item.part.sockets.values())
    for socket in other.sockets.values():
        fit = next(s for s in own if (s.connector, s.gender) == (socket.connector, socket.gender))
        for pin, net in socket.pins.items():
            if pin in fit.pins:
                nodes.setdefault(net, w.node(Terminal(item.name, fit.name, pin)))
            else:  # the cord's core for this pin leads nowhere: no right part uses it
                nodes.setdefault(net, f"{item.name}-{fit.name}:{pin} as {word}")
    for spec in other.elements:
        for net in (spec.tail, spec.head):
            nodes.setdefault(net, f"{item.name}.{net} as {word}")
    return nodes


def _condition(w: Wiring, item: Item, spec: ElementSpec) -> tuple[tuple[str, int], ...]:
    if not spec.when:
        return ()
    name = actor_name(item.name, spec.actor, item)
    positions = w.circuit.actors[w.circuit.actor_index[name]].positions
    return ((name, sum(1 << positions.index(p) for p in spec.when)),)
