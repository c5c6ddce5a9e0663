"""The wiring as a fitter sees it: ends of conductors, neighbours, rails."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise

from ringout.base import Span
from ringout.cell.model import Item, Join, Signal, Terminal
from ringout.circuit.behaviour import Behaviour
from ringout.circuit.faults.model import Change, Extra, Fault
from ringout.circuit.model import Circuit, Element
from ringout.tables import find_row
from ringout.tables.faces import connectors, pin_positions

CONDUCTORS = frozenset({"core", "plug", "link"})
FEEDS = CONDUCTORS | {"fuse", "breaker", "protection"}
EARTH = 0


@dataclass(frozen=True, slots=True)
class End:
    """One end of a conductor: the terminal it lands on and the one at its other end."""

    number: int
    join: Join
    at: Terminal
    far: Terminal

    @property
    def span(self) -> Span:
        """Return where the file names this end."""
        return self.join.a_span if self.at == self.join.a else self.join.b_span

    @property
    def by_hand(self) -> bool:
        """Return whether a person landed it, wire by wire."""
        return not self.join.plugged


class Wiring:
    """Looks at one circuit as wiring and makes faults of it; one is used for all kinds.

    Args:
        circuit: the healthy circuit.
    """

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.cell = circuit.cell
        self.ends: list[End] = []
        self.landed: dict[Terminal, list[End]] = {}
        for number, element in enumerate(circuit.elements):
            join = element.join
            if join is None:
                continue
            for at, far in ((join.a, join.b), (join.b, join.a)):
                end = End(number, join, at, far)
                self.ends.append(end)
                self.landed.setdefault(at, []).append(end)
        self._extras: dict[tuple[object, ...], Extra] = {}
        self._names: set[str] = set(circuit.index_of)

    # -- places ----------------------------------------------------------------------------

    def node(self, terminal: Terminal) -> int:
        """Return the node of a terminal."""
        return self.circuit.node(terminal)

    @cached_property
    def sockets(self) -> list[tuple[str, str]]:
        """Return (item, socket) of all sockets that hold something, in file order."""
        found = dict.fromkeys((e.at.item, e.at.socket) for e in self.ends if e.at.socket)
        order = {name: k for k, name in enumerate(self.cell.items)}
        return sorted(found, key=lambda s: order[s[0]])

    def at_socket(self, item: str, socket: str) -> list[End]:
        """Return every end at a socket, by pin."""
        pins = self.cell.items[item].part.sockets[socket].pins
        return [e for pin in pins for e in self.landed.get(Terminal(item, socket, pin), ())]

    def is_clamp(self, item: str, socket: str) -> bool:
        """Return whether a socket is a row of clamps rather than a round plug."""
        return not socket or self.cell.items[item].part.sockets[socket].clamps

    def neighbours(self, item: str, socket: str) -> list[tuple[Terminal, Terminal]]:
        """Return pairs of terminals with nothing between them: clamps in a row, pins by face."""
        part = self.cell.items[item].part
        if not socket:
            row = [Terminal(item, "", t) for t in part.terminals]
            return list(pairwise(row))
        found = part.sockets[socket]
        pins = tuple(found.pins)
        return [
            (Terminal(item, socket, a), Terminal(item, socket, b))
            for a, b in facing_pins(found.connector, pins)
        ]

    def beside(self, terminal: Terminal) -> list[Terminal]:
        """Return the terminals beside one."""
        pairs = self.neighbours(terminal.item, terminal.socket)
        return [b if a == terminal else a for a, b in pairs if terminal in (a, b)]

    @cached_property
    def tied(self) -> frozenset[int]:
        """Return nodes that some element ties to a supply or PE; others are nothing at all."""
        sources = [e for e in self.circuit.elements if e.kind == "source"]
        start = [EARTH, *(n for e in sources for n in (e.tail, e.head))]
        return frozenset(self._depths(start, self.circuit.elements))

    # -- rails -----------------------------------------------------------------------------

    @cached_property
    def plus(self) -> dict[int, int]:
        """Return nodes joined to + of a supply by conductors and protection, with distance."""
        tails = [e.tail for e in self.circuit.elements if e.kind == "source"]
        return self._depths(tails, self._feeds)

    @cached_property
    def minus(self) -> dict[int, int]:
        """Return nodes joined to - of a supply, with distance."""
        heads = [e.head for e in self.circuit.elements if e.kind == "source"]
        return self._depths(heads, self._feeds)

    @cached_property
    def _feeds(self) -> list[Element]:
        return [e for e in self.circuit.elements if e.kind in FEEDS]

    @staticmethod
    def _depths(start: Iterable[int], elements: Iterable[Element]) -> dict[int, int]:
        """Return nodes reached from `start` and their distance; PE is reached, not crossed."""
        return dict(_outwards(start, _beside(elements)))

    @cached_property
    def _all_beside(self) -> dict[int, list[int]]:
        return _beside(self.circuit.elements)

    def nearest(self, nodes: Iterable[int], wanted: dict[int, int]) -> int | None:
        """Return the wanted node that lies nearest to some nodes in the circuit, or None."""
        best: tuple[int, int] | None = None
        for n, depth in _outwards(nodes, self._all_beside):
            if best is not None and depth > best[0]:
                break
            if n != EARTH and n in wanted:
                best = (depth, n) if best is None else min(best, (depth, n))
        return best[1] if best is not None else None

    # -- signals ---------------------------------------------------------------------------

    @cached_property
    def _island(self) -> list[int]:
        """Return (N) a label for each node: nodes that hang together without the rails."""
        label = list(range(self.circuit.network.node_count))
        rails = {EARTH, *self.plus, *self.minus}

        def root(n: int) -> int:
            while label[n] != n:
                label[n] = label[label[n]]
                n = label[n]
            return n

        for e in self.circuit.elements:
            if e.tail not in rails and e.head not in rails:
                label[root(e.tail)] = root(e.head)
        return [-1 if n in rails else root(n) for n in range(len(label))]

    @cached_property
    def _signal_islands(self) -> list[tuple[str, set[int]]]:
        found = []
        for signal in self.cell.signals.values():
            names = self._elements_of(signal)
            nodes = [n for e in names for n in (e.tail, e.head)]
            found.append((signal.name, {self._island[n] for n in nodes} - {-1}))
        return found

    def _elements_of(self, signal: Signal) -> Iterator[Element]:
        own = self.circuit.index_of.get(f"{signal.item}.{signal.channel.element}")
        if own is not None:
            yield self.circuit.elements[own]
        drives = signal.drives.split(".")[0]
        for e in self.circuit.elements:
            if e.item and e.item == drives and e.kind == "coil":
                yield e

    def signals_at(self, nodes: Iterable[int]) -> tuple[str, ...]:
        """Return signals whose own part of the circuit holds one of these nodes."""
        islands = {self._island[n] for n in nodes} - {-1}
        return tuple(name for name, own in self._signal_islands if own & islands)

    # -- making faults ---------------------------------------------------------------------

    def behaviour(self, number: int) -> tuple[Behaviour, Behaviour]:
        """Return what an element does in the healthy circuit, conducting and idle."""
        c, curves = self.circuit, self.circuit.network.curves.curves
        on = Behaviour(*(curves[int(k)] for k in c.on_curve[:, number]))
        off = Behaviour(*(curves[int(k)] for k in c.off_curve[:, number]))
        return on, off

    def added(self, kind: str, a: int, b: int, behaviour: Behaviour, **more: object) -> Extra:
        """Return the added element between two nodes; equal ones are one and the same."""
        low, high = min(a, b), max(a, b)
        key = (kind, low, high, behaviour)
        if key not in self._extras:
            names = self.circuit.network.node_names
            name = plain = f"{kind} {names[low]} to {names[high]}"
            count = 1
            while name in self._names:
                count += 1
                name = f"{plain} ({count})"
            self._names.add(name)
            join, span = more.get("join"), more.get("span", self.cell.span)
            assert join is None or isinstance(join, Join)
            assert isinstance(span, Span)
            self._extras[key] = Extra(name, kind, low, high, "", None, join, span)
        return self._extras[key]

    def core_node(self, end: End) -> int:
        """Return the node of the core itself: where it lands, or its end when that is taken off."""
        return self.circuit.lifted_node.get(
            f"{end.join.conductor}@{end.at.item}", self.node(end.at)
        )

    def moved(self, end: End, to: int) -> tuple[Extra, Change]:
        """Return the conductor of `end` landed on another node, as added element.

        An end that is taken off stays off, wherever it was landed.
        """
        behaviour = self.behaviour(end.number)[0]
        lifted = self.circuit.lifted_node
        far = lifted.get(f"{end.join.conductor}@{end.far.item}", self.node(end.far))
        to = lifted.get(f"{end.join.conductor}@{end.at.item}", to)
        extra = self.added("moved", far, to, behaviour, join=end.join, span=end.join.span)
        return extra, Change.always(extra.name, behaviour)

    def wrong_type(
        self,
        item: Item,
        word: str,
        title: str,
        changes: Iterable[Change],
        extras: Iterable[Extra],
    ) -> Fault:
        """Return the fault of another part in the place of an item.

        Args:
            item: the item.
            word: what the other part is called in the fault's name.
            title: what it is, in words.
            changes: what becomes of the item's own elements and conductors.
            extras: what the other part brings.
        """
        text = f"{item.name} is the wrong type: {title}."
        return self.inside(item, f"{word} for {item.name}", "wrong-part", text, changes, extras)

    def inside(
        self,
        item: Item,
        name: str,
        kind: str,
        text: str,
        changes: Iterable[Change],
        extras: Iterable[Extra] = (),
    ) -> Fault:
        """Return a fault within an item, of no conductor.

        Args:
            item: the item.
            name: of the fault.
            kind: of the fault.
            text: what is wrong, as a sentence.
            changes: what becomes of the circuit.
            extras: what comes into it.
        """
        return self.fault(
            name,
            kind,
            text,
            (),
            changes,
            extras,
            group=item.name,
            place=item.name,
            items=(item.name,),
            where=(item.part_span, item.span),
        )

    def fault(  # noqa: PLR0913  # every argument is a field of the fault, most by name
        self,
        name: str,
        kind: str,
        text: str,
        ends: Iterable[End],
        changes: Iterable[Change],
        extras: Iterable[Extra] = (),
        *,
        group: str,
        place: str,
        items: Iterable[str] = (),
        where: Iterable[Span] = (),
        also: tuple[str, ...] = (),
    ) -> Fault:
        """Return a fault with its tags: items, cables and signals concerned."""
        ends, changes, extras = tuple(ends), tuple(changes), tuple(extras)
        nodes: list[int] = []
        for change in changes:
            number = self.circuit.index_of.get(change.element)
            if number is not None:
                nodes += (self.circuit.elements[number].tail, self.circuit.elements[number].head)
        nodes += [n for e in extras for n in (e.tail, e.head) if isinstance(n, int)]
        spans = [*where, *(e.span for e in ends), *(e.join.span for e in ends)]
        owners = [*items, *(t.item for e in ends for t in (e.at, e.far))]
        return Fault(
            id=name,
            kind=kind,
            text=text,
            where=tuple(
                {(s.file, s.line, s.column): s for s in spans or [self.cell.span]}.values()
            ),
            place=place,
            likelihood=likelihood(kind),
            changes=tuple(sorted(changes, key=lambda c: c.element)),
            extras=extras,
            items=tuple(dict.fromkeys(owners)),
            cables=tuple(dict.fromkeys(e.join.cable for e in ends if e.join.cable)),
            signals=self.signals_at(nodes),
            group=group,
            also=also,
        )

    def end_name(self, end: End) -> str:
        """Return how an end is called: `W1:BK@S1`, with the terminal if the item is not enough."""
        if not end.join.cable:
            return end.join.conductor
        same = end.far.item == end.at.item
        return f"{end.join.conductor}@{end.at if same else end.at.item}"


def likelihood(kind: str) -> float:
    """Return the relative likelihood of a kind of fault."""
    return find_row("fault_likelihoods", kind=kind).number("likelihood_x")


def ohms(kind: str) -> float:
    """Return the resistance a kind of fault is reckoned with."""
    return find_row("fault_values", kind=kind).number("r_ohm")


@lru_cache(maxsize=256)
def facing_pins(connector: str, pins: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """Return the pairs of pins with no other pin inside the circle over their distance.

    Pins of a connector whose face is not known stand in a row.
    """
    if connector not in connectors():
        return tuple(pairwise(pins))
    face = pin_positions(connector, "male", "mating")
    known = [p for p in pins if p in face]
    found = []
    for i, a in enumerate(known):
        for b in known[i + 1 :]:
            x, y = (face[a].x + face[b].x) / 2, (face[a].y + face[b].y) / 2
            reach = (face[a].x - face[b].x) ** 2 / 4 + (face[a].y - face[b].y) ** 2 / 4
            between = (
                (face[p].x - x) ** 2 + (face[p].y - y) ** 2 < reach * 0.99
                for p in face
                if p not in (a, b)
            )
            if not any(between):
                found.append((a, b))
    return tuple(found)


def _beside(elements: Iterable[Element]) -> dict[int, list[int]]:
    """Return the nodes beside each node."""
    beside: dict[int, list[int]] = {}
    for e in elements:
        beside.setdefault(e.tail, []).append(e.head)
        beside.setdefault(e.head, []).append(e.tail)
    return beside


def _outwards(start: Iterable[int], beside: dict[int, list[int]]) -> Iterator[tuple[int, int]]:
    """Yield nodes and their distance, the nearest first; PE is reached, not crossed."""
    depth = dict.fromkeys(start, 0)
    todo = deque(depth)
    while todo:
        node = todo.popleft()
        yield node, depth[node]
        if node == EARTH and depth[node]:
            continue
        for other in beside.get(node, ()):
            if other not in depth:
                depth[other] = depth[node] + 1
                todo.append(other)
