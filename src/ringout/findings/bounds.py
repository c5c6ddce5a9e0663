"""Guaranteed ranges of voltages and currents in given states, solved in one batch."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.model import HIGH, LOW, TYP, Circuit, IntArray
from ringout.findings.survey import Survey, corner_curves
from ringout.solve import worst_case

FloatArray = NDArray[np.float64]


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
        if not count:
            empty = np.zeros(0)
            return Ranges(empty, empty, np.zeros(0, dtype=np.bool_), 0.0, 0)
        triples = [self.corners(q) for q in questions]
        lower, typ, upper = (np.array([t[i] for t in triples]) for i in range(3))
        target = np.array([(q.a, q.b) for q in questions], dtype=np.int64)
        own = np.array([q.element for q in questions], dtype=np.int64)
        bound = worst_case(
            self.circuit.network,
            np.concatenate([lower, lower]),
            np.concatenate([upper, upper]),
            np.concatenate([typ, typ]),
            np.concatenate([target, target]),
            np.concatenate([-np.ones(count, dtype=np.int64), np.ones(count, dtype=np.int64)]),
            np.concatenate([own, own]),
        )
        value = bound.value_v.copy()
        asked = np.flatnonzero(own >= 0)
        for half in (0, count):
            rows = asked + half
            value[rows] = bound.solution.element_a[rows, own[asked]]
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
