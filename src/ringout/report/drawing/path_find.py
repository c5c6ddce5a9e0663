"""Which elements of a circuit take part in one signal: its own, and the way to the supply."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ringout.cell.model import Cell, Signal
from ringout.circuit.model import Circuit
from ringout.findings.clusters import RAIL_KINDS, partition
from ringout.findings.levels import level_element
from ringout.report.drawing.blocks import on_simple_paths

FIELD = frozenset({"switch", "sensor", "load", "relay", "component"})
SENSING = frozenset({"sensor"})
MOST_ELEMENTS = 90  # a flood larger than this is cut to what carries current


@dataclass(frozen=True, slots=True)
class Part:
    """What takes part.

    Args:
        elements: element numbers, ascending.
        channel: the element the signal's level stands across; -1 for none.
        rank: node to steps from the + of a supply.
        returns: nodes joined to the 0 V of a supply by conductors.
        left_out: how many elements without current were left out of a large circuit.
    """

    elements: tuple[int, ...]
    channel: int
    rank: Mapping[int, float]
    returns: frozenset[int]
    left_out: int = 0


def find_part(circuit: Circuit, signal: Signal, amps: list[float], live_a: float) -> Part:
    """Return the elements that take part in a signal.

    Args:
        circuit: compiled cell, with a fault's added elements where there is one.
        signal: the signal.
        amps: (E,) solved currents.
        live_a: current from which an added element or a way through earth counts.
    """
    return _Finder(circuit, signal, amps, live_a).run()


class _Finder:
    def __init__(self, circuit: Circuit, signal: Signal, amps: list[float], live_a: float) -> None:
        self.circuit, self.signal = circuit, signal
        self.amps, self.live_a = amps, live_a
        self.rail = partition(circuit).rail.tolist()
        self.near: dict[int, list[tuple[int, int]]] = {}
        for e, element in enumerate(circuit.elements):
            self.near.setdefault(element.tail, []).append((e, element.head))
            self.near.setdefault(element.head, []).append((e, element.tail))
        self.chosen: set[int] = set()
        self.touched: dict[int, None] = {}
        self.inside: set[int] = set()

    def run(self) -> Part:
        channel = level_element(self.circuit, self.signal)
        seeds = self._seeds(channel)
        for e in seeds:
            self._take(e)
        self._flood([n for e in seeds for n in self._ends(e)])
        self._whole_items()
        before = len(self.chosen)
        if before > MOST_ELEMENTS:
            keep = set(seeds)
            self.chosen = {e for e in self.chosen if e in keep or abs(self.amps[e]) >= self.live_a}
            self.touched = {n: None for e in sorted(self.chosen) for n in self._ends(e)
                            if self.rail[n]}  # fmt: skip
        left_out = before - len(self.chosen)
        self.chosen |= self._feeds()
        self._sources()
        numbers = tuple(sorted(self.chosen))
        rank, returns = self._ranks(numbers)
        return Part(numbers, channel, rank, returns, left_out)

    def _ends(self, e: int) -> tuple[int, int]:
        element = self.circuit.elements[e]
        return element.tail, element.head

    def _take(self, e: int) -> None:
        self.chosen.add(e)
        for n in self._ends(e):
            if self.rail[n]:
                self.touched.setdefault(n)

    def _seeds(self, channel: int) -> list[int]:
        """Return the channel's own element, the driven load's, and those the meaning names."""
        index, signal = self.circuit.index_of, self.signal
        seeds = [index[f"{signal.item}.{signal.channel.element}"]]
        if channel >= 0 and channel not in seeds:
            seeds.append(channel)
        actors = {p.actor for p in signal.on.leaves()} if signal.on is not None else set()
        for e, element in enumerate(self.circuit.elements):
            column = int(self.circuit.cond_actor[e, 0])
            if element.spec is None or column < 0 or not element.spec.when:
                continue
            if self.circuit.actors[column].name in actors and self._landed(e):
                seeds.append(e)
        if signal.on is not None:
            # of a part with several outputs only those that reach this channel, or a dead short
            near = self._reach(list(self._ends(seeds[0])))
            rest = [e for e in seeds[1:] if near & set(self._ends(e)) or self._shorted(e)]
            return [seeds[0], *(rest or seeds[1:])]
        return seeds

    def _shorted(self, e: int) -> bool:
        tail, head = self._ends(e)
        return bool(self.rail[tail] and self.rail[head])

    def _landed(self, e: int) -> bool:
        """Return whether both ends of a part's element reach a terminal with a conductor."""
        kinds = ("core", "plug", "link", "moved")
        return all(
            any(self.circuit.elements[k].kind in kinds for k, _ in self.near.get(n, ()))
            for n in self._ends(e)
        )

    def _reach(self, start: Iterable[int]) -> set[int]:
        todo = [n for n in start if not self.rail[n]]
        seen = set(todo)
        while todo:
            for _, other in self.near.get(todo.pop(), ()):
                if other not in seen and not self.rail[other]:
                    seen.add(other)
                    todo.append(other)
        return seen

    def _flood(self, start: Iterable[int]) -> None:
        self.inside = self._reach(start)
        for n in self.inside:
            for e, _ in self.near.get(n, ()):
                self._take(e)
        for e, element in enumerate(self.circuit.elements):
            if element.kind == "short" and abs(self.amps[e]) >= self.live_a:
                self._take(e)

    def _whole_items(self) -> None:
        """Take what else stands between landed terminals of the field items, and their feed."""
        families = {n: i.part.family for n, i in self.circuit.cell.items.items()}
        items = {self.circuit.elements[e].item for e in self.chosen} - {""}
        bias = {
            self.circuit.elements[e].item
            for n in self.touched
            for e, _ in self.near.get(n, ())
            if self.circuit.elements[e].kind == "source"
            and families.get(self.circuit.elements[e].item) != "supply"
        } & items
        for e, element in enumerate(self.circuit.elements):
            if element.item not in items or e in self.chosen:
                continue
            family = families[element.item]
            known = all(self.rail[n] or n in self.inside for n in self._ends(e))
            own = element.spec is not None and element.spec.name == "own"
            if (family in FIELD and known and self._landed(e)) or (element.item in bias and own):
                self._take(e)

    # -- feeds -----------------------------------------------------------------------------

    def _feeds(self) -> set[int]:
        """Return rail elements on any way from a touched rail to the poles of its supply."""
        rails = [
            (e, element.tail, element.head)
            for e, element in enumerate(self.circuit.elements)
            if element.kind in RAIL_KINDS
            and (0 not in (element.tail, element.head) or abs(self.amps[e]) >= self.live_a)
        ]
        label = _labels(len(self.rail), ((t, h) for _, t, h in rails))
        sources = [
            (element.tail, element.head)
            for element in self.circuit.elements
            if element.kind == "source"
        ]
        mine = {label[n] for n in self.touched}
        used = [s for s in sources if label[s[0]] in mine and label[s[1]] in mine] or [
            s for s in sources if label[s[0]] in mine or label[s[1]] in mine
        ]
        pairs = [
            (n, pole)
            for n in self.touched
            for pole in dict.fromkeys(p for s in used for p in s)
            if label[pole] == label[n] and pole != n
        ]
        for pole in (p for s in used for p in s):
            self.touched.setdefault(pole)
        return on_simple_paths(rails, pairs)

    def _sources(self) -> None:
        nodes = {n for e in self.chosen for n in self._ends(e)} | set(self.touched)
        for e, element in enumerate(self.circuit.elements):
            if element.kind == "source" and element.tail in nodes and element.head in nodes:
                self.chosen.add(e)

    def _ranks(self, numbers: Iterable[int]) -> tuple[dict[int, float], frozenset[int]]:
        """Return steps from + for every node, and the nodes on the 0 V side."""
        near: dict[int, list[tuple[int, float]]] = {}
        poles: list[int] = []
        zero: list[int] = []
        for e in numbers:
            element = self.circuit.elements[e]
            if element.kind == "source":
                poles.append(element.tail)
                zero.append(element.head)
                continue
            step = 0.0 if element.item == "" else 1.0
            near.setdefault(element.tail, []).append((element.head, step))
            near.setdefault(element.head, []).append((element.tail, step))
        returns = _nearest(near, zero, through_parts=False)
        back = frozenset(n for n in returns if n not in poles)
        rank = _nearest(near, [n for n in poles if n not in back], through_parts=True, but=back)
        return rank, back


def _nearest(
    near: Mapping[int, list[tuple[int, float]]],
    start: Iterable[int],
    *,
    through_parts: bool,
    but: frozenset[int] = frozenset(),
) -> dict[int, float]:
    found = dict.fromkeys(start, 0.0)
    todo = deque(found)
    while todo:
        n = todo.popleft()
        for other, step in near.get(n, ()):
            if other in but or (step and not through_parts):
                continue
            if found[n] + step < found.get(other, float("inf")):
                found[other] = found[n] + step
                (todo.append if step else todo.appendleft)(other)
    return found


def _labels(count: int, edges: Iterable[tuple[int, int]]) -> list[int]:
    label = list(range(count))

    def root(n: int) -> int:
        while label[n] != n:
            label[n] = label[label[n]]
            n = label[n]
        return n

    for a, b in edges:
        label[root(a)] = root(b)
    return [root(n) for n in range(count)]


def used_cables(cell: Cell, circuit: Circuit, elements: Iterable[int]) -> list[str]:
    """Return the cables whose cores take part, in the order of the file."""
    used = {j.cable for e in elements if (j := circuit.elements[e].join) is not None and j.cable}
    return [name for name in cell.cables if name in used]
