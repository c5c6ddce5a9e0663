"""Guaranteed ranges of voltages and currents in given states, solved in one batch."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.model import HIGH, LOW, TYP, Circuit, IntArray
from ringout.circuit.network import Network
from ringout.findings.split import BACKWARDS_A, KNEE_V, Split, split_circuit, sub_network
from ringout.findings.survey import Survey, corner_curves
from ringout.solve import worst_case

FloatArray = NDArray[np.float64]
SPLIT_FROM = 600  # elements; below that one batch over the whole is quicker
FEW = 8  # questions; fewer are not worth a network of their own


@dataclass(frozen=True, slots=True)
class Question:
    """A voltage or current to be bounded in one state.

    Args:
        a: node of the first probe.
        b: node of the second probe.
        positions: (A,) the state.
        clusters: clusters held in this state; all others may be in any allowed state.
        element: element whose current is asked for, or -1 for the voltage a to b.
    """

    a: int
    b: int
    positions: IntArray
    clusters: frozenset[int]
    element: int = -1


@dataclass(frozen=True)
class Ranges:
    """Answers, one per question: guaranteed low and high; `proven` False where they are not."""

    low: FloatArray
    high: FloatArray
    proven: NDArray[np.bool_]
    residual_a: float
    solves: int

    def part(self, begin: int, end: int) -> Ranges:
        """Return the answers to questions `begin` to `end` (from 0, end not included)."""
        cut = slice(begin, end)
        return Ranges(self.low[cut], self.high[cut], self.proven[cut], self.residual_a, self.solves)


class Bounder:
    """Answers questions about one surveyed circuit.

    Args:
        circuit: compiled cell.
        found: its survey.
    """

    def __init__(self, circuit: Circuit, found: Survey) -> None:
        self.circuit = circuit
        self.found = found
        self.low, self.typ, self.high = corner_curves(circuit, found)
        self._split: Split | None = None
        self._inlets: dict[int, tuple[float, float]] | None = None
        self._splits = False

    def corners(self, question: Question) -> tuple[IntArray, IntArray, IntArray]:
        """Return curves (E,) low, typical, high for one question."""
        c = self.circuit
        held = np.isin(self.found.part.cluster_of_element, list(question.clusters))
        on = c.conducts(question.positions[None, :])[0]
        out = []
        for background, corner in ((self.low, LOW), (self.typ, TYP), (self.high, HIGH)):
            own = np.where(on, c.on_curve[corner], c.off_curve[corner])
            curves = np.where(held, own, background)
            curves[self.found.cut] = c.off_curve[TYP][self.found.cut]
            out.append(curves)
        return out[0], out[1], out[2]

    def ask(self, questions: Sequence[Question]) -> Ranges:
        """Bound every question from below and above.

        Args:
            questions: Q questions.

        Returns:
            (Q,) volts, or amperes where a question names an element.
        """
        count = len(questions)
        low, high = np.zeros(count), np.zeros(count)
        proven = np.zeros(count, dtype=np.bool_)
        worst = 0.0
        for part, rows in self._by_part(questions).items():
            chosen = [questions[r] for r in rows]
            answer = self._ask_whole(chosen) if part < 0 else self._ask_part(part, chosen)
            low[rows], high[rows], proven[rows] = answer.low, answer.high, answer.proven
            worst = max(worst, answer.residual_a)
        return Ranges(low, high, proven, worst, 2 * count)

    def _by_part(self, questions: Sequence[Question]) -> dict[int, list[int]]:
        """Return part number to the questions that concern it alone; -1 for the whole."""
        if len(self.circuit.elements) < SPLIT_FROM or len(questions) < 2 * FEW:
            return {-1: list(range(len(questions)))} if questions else {}
        if self._split is None:
            self._split = split_circuit(self.circuit)
        split = self._split
        if not self._may_split():
            return {-1: list(range(len(questions)))}
        cluster_part = {
            c.number: {int(split.part_of_element[e]) for e in c.elements}
            for c in self.found.part.clusters
        }
        out: dict[int, list[int]] = {}
        for row, question in enumerate(questions):
            parts = {int(split.part_of_node[n]) for n in (question.a, question.b)} - {-1}
            for cluster in question.clusters:
                parts |= cluster_part[cluster] - {-1}
            out.setdefault(parts.pop() if len(parts) == 1 else -1, []).append(row)
        for part in [p for p, rows in out.items() if p >= 0 and len(rows) < FEW]:
            out.setdefault(-1, []).extend(out.pop(part))
        return out

    def _may_split(self) -> bool:
        """Return whether every part may be replaced by its current, bounded on the whole."""
        assert self._split is not None
        if self._inlets is None:
            parts = [p for p in self._split.parts if p.inlets]
            every = sorted({e for p in parts for ends in p.inlets.values() for e, _ in ends})
            ends, base = self.circuit.elements, self.found.base[0]
            across = sorted({(n, p.outlet) for p in parts for n in p.inlets})
            answer = self._ask_whole(
                [Question(ends[e].tail, ends[e].head, base, frozenset(), e) for e in every]
                + [Question(a, b, base, frozenset()) for a, b in across]
            )
            self._inlets = {
                e: (float(answer.low[i]), float(answer.high[i])) for i, e in enumerate(every)
            }
            flow = [
                sum(min(s * self._inlets[e][0], s * self._inlets[e][1]) for e, s in into)
                for p in parts
                for into in p.inlets.values()
            ]
            self._splits = (
                bool(answer.proven.all())
                and min(flow, default=0.0) > -BACKWARDS_A
                and float(np.min(answer.low[len(every) :], initial=np.inf)) > 2 * KNEE_V
            )
        return self._splits

    def _ask_whole(self, questions: Sequence[Question]) -> Ranges:
        triples = [self.corners(q) for q in questions]
        lower, typ, upper = (np.array([t[i] for t in triples]) for i in range(3))
        target = np.array([(q.a, q.b) for q in questions], dtype=np.int64)
        own = np.array([q.element for q in questions], dtype=np.int64)
        return _both_ways(self.circuit.network, (lower, typ, upper), target, own)

    def _ask_part(self, part: int, questions: Sequence[Question]) -> Ranges:
        assert self._split is not None
        assert self._inlets is not None
        triples = [self.corners(q) for q in questions]
        used = np.concatenate([t[i] for t in triples for i in range(3)])
        sub = sub_network(self.circuit, self._split, part, self._inlets, used)
        count = len(questions)
        corners = []
        for i, fixed in ((0, sub.fixed_low), (1, sub.fixed_low), (2, sub.fixed_high)):
            own = sub.curve[np.array([t[i][sub.elements] for t in triples])]
            corners.append(np.hstack([own, np.repeat(fixed[None, :], count, axis=0)]))
        target = sub.node[np.array([(q.a, q.b) for q in questions], dtype=np.int64)]
        place = {int(e): i for i, e in enumerate(sub.elements)}
        own_element = np.array([place.get(q.element, -1) for q in questions], dtype=np.int64)
        return _both_ways(sub.network, (corners[0], corners[1], corners[2]), target, own_element)


def _both_ways(
    network: Network,
    corners: tuple[IntArray, IntArray, IntArray],
    target: IntArray,
    own: IntArray,
) -> Ranges:
    """Bound (Q, 2) targets downwards and upwards in one batch; corners are low, typ, high."""
    lower, typ, upper = corners
    count = len(own)
    down = -np.ones(count, dtype=np.int64)
    bound = worst_case(
        network,
        np.concatenate([lower, lower]),
        np.concatenate([upper, upper]),
        np.concatenate([typ, typ]),
        np.concatenate([target, target]),
        np.concatenate([down, -down]),
        np.concatenate([own, own]),
    )
    value = np.where(np.concatenate([own, own]) >= 0, bound.value_a, bound.value_v)
    return Ranges(
        value[:count],
        value[count:],
        bound.proven[:count] & bound.proven[count:],
        float(np.nanmax(bound.solution.residual_a, initial=0.0)),
        2 * count,
    )


def clusters_of_nodes(circuit: Circuit, found: Survey, nodes: Iterable[int]) -> frozenset[int]:
    """Return the clusters that touch any of these nodes other than rails."""
    wanted = {n for n in nodes if not found.part.rail[n]}
    touched = {
        int(found.part.cluster_of_element[e])
        for e, element in enumerate(circuit.elements)
        if element.tail in wanted or element.head in wanted
    }
    return frozenset(touched - {-1})
