"""Resistances between places with all supplies off, guaranteed over every tolerance.

With no source but the meter, no element sees more than the meter's own voltage, and what is
read can only fall when any element conducts better (Rayleigh's monotonicity law; Doyle and
Snell, Random Walks and Electric Networks, 1984: memory). So two linear circuits, every element
at its worst and at its best chord, enclose the reading.

A low reading leaves little voltage across everything, so those chords are taken closer.

Between two rails the meter's polarity is known: no place is higher than the red probe and none
lower than the black one, so what hangs on either sees one sign of voltage only, and a diode
across the rails is blocked or not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringout.circuit import curves as cv
from ringout.circuit.curves import Curve
from ringout.circuit.faults import Faulted
from ringout.circuit.model import HIGH, LOW, BoolArray, Circuit, IntArray
from ringout.circuit.network import FloatArray, Network
from ringout.findings.meter import OHMS_INNER_OHM, OHMS_OPEN_V, OPEN_ABOVE_OHM
from ringout.solve import LEAK_S

AT_ONCE = 32  # dense circuits inverted side by side
COPPER_S = 0.05  # joined by less than 20 ohm: 20 mV at the milliampere of a meter
SMALL_V = 0.3
SLACK_V = 0.05  # what copper may drop at that current
SOURCE_A = 1e-6
NOTHING_V = 1e-12


@dataclass(frozen=True, eq=False)
class DeadReadings:
    """Readings with all supplies off of C cases at P pairs of places.

    Args:
        low: (C, P) ohms, no reading is lower.
        high: (C, P) ohms, no reading is higher; `inf` for open.
    """

    low: FloatArray
    high: FloatArray


def chords(curve: Curve, low_v: float, high_v: float) -> tuple[float, float]:
    """Return the least and largest current per volt of a curve between two voltages.

    A source is off when all is dead: it has no chord, and 0 stands for both.

    Args:
        curve: the curve.
        low_v: lowest voltage, at most 0.
        high_v: highest voltage, at least 0.
    """
    if abs(cv.value(curve, 0.0)) > SOURCE_A:
        return 0.0, 0.0
    inside = (low_v, high_v, *curve.break_v)
    values = [cv.value(curve, v) / v for v in inside if low_v <= v <= high_v and abs(v) > NOTHING_V]
    values += [cv.slope_at(curve, v) for v in (-NOTHING_V, NOTHING_V)]
    return max(min(values), 0.0), max(values)


def dead_positions(circuit: Circuit, positions: IntArray) -> IntArray:
    """Return (S, A) positions with supplies off, electronics dead and relays released."""
    off = positions.copy()
    for column, actor in enumerate(circuit.actors):
        if actor.moved_by == "supply":
            off[:, column] = len(actor.positions) - 1
    for d in circuit.driven:
        if not d.one_way:
            off[:, d.actor] = d.off_position
    return off


class DeadCells:
    """Cells with one fault each, without power, ready to be measured.

    Args:
        faulted: circuit with faults.
        positions: (C, A) where persons put things; commands and supplies do not matter.
        fault_of: (C,) fault of each case, `HEALTHY` for none.
    """

    def __init__(self, faulted: Faulted, positions: IntArray, fault_of: IntArray) -> None:
        self.network = faulted.circuit.network
        off = dead_positions(faulted.circuit, faulted.positions(positions))
        curves = self.network.curves.curves
        most = OHMS_OPEN_V
        # by voltage: either sign, from tail to head only, from head to tail only, small
        table = np.array(
            [
                [chords(c, *span) for c in curves]
                for span in ((-most, most), (-SLACK_V, most), (-most, SLACK_V), (-SMALL_V, SMALL_V))
            ]
        )
        self.least_s = table[:, :, 0][:, faulted.curves(off, fault_of, LOW)]
        self.most_s = table[:, :, 1][:, faulted.curves(off, fault_of, HIGH)]

    def readings(self, pairs: IntArray) -> DeadReadings:
        """Return what can be read at (P, 2) nodes of the healthy circuit, either way round."""
        low = _resistances(self.network, self.most_s[0], pairs)
        high = _resistances(self.network, self.least_s[0], pairs)
        # a reading below `small` leaves so little voltage that no diode begins to conduct, and
        # then it is no lower than `close`; so none is lower than the lesser of the two
        small = SMALL_V * OHMS_INNER_OHM / (OHMS_OPEN_V - SMALL_V)
        close = _resistances(self.network, self.most_s[3], pairs)
        low = np.maximum(low, np.minimum(close, small))
        return DeadReadings(low, np.where(high > OPEN_ABOVE_OHM, np.inf, high))

    def rail_readings(self, pairs: IntArray) -> DeadReadings:
        """Return what can be read at (P, 2) nodes, red on the first: polarity counts."""
        shape = len(self.least_s[0]), len(pairs)
        low, high = np.empty(shape), np.empty(shape)
        # pairs of one case that hang on the same copper are measured together
        signs: list[IntArray] = []
        owner: list[tuple[int, list[int]]] = []
        for case in range(shape[0]):
            group = _copper(self.network, self.least_s[0, case])
            alike: dict[tuple[int, int], list[int]] = {}
            for k, (red, black) in enumerate(pairs):
                alike.setdefault((int(group[red]), int(group[black])), []).append(k)
            for (red, black), members in alike.items():
                signs.append(_signs(self.network, group == red, group == black))
                owner.append((case, members))
        cases = np.array([case for case, _ in owner], dtype=np.int64)
        which = np.array(signs)
        columns = np.arange(len(self.network.tail))[None, :]
        for out, siemens in ((low, self.most_s), (high, self.least_s)):
            found = _resistances(self.network, siemens[which, cases[:, None], columns], pairs)
            for row, (case, members) in enumerate(owner):
                out[case, members] = found[row, members]
        return DeadReadings(low, np.where(high > OPEN_ABOVE_OHM, np.inf, high))


def _copper(network: Network, siemens: FloatArray) -> IntArray:
    """Return (N,) a number for each node, the same for those that copper joins."""
    parent = list(range(network.node_count))

    def find(node: int) -> int:
        while parent[node] != node:
            parent[node] = parent[parent[node]]
            node = parent[node]
        return node

    for e in np.flatnonzero(siemens >= COPPER_S).tolist():
        parent[find(int(network.tail[e]))] = find(int(network.head[e]))
    return np.array([find(n) for n in range(network.node_count)], dtype=np.int64)


def _signs(network: Network, red: BoolArray, black: BoolArray) -> IntArray:
    """Return (E,) 0 either sign, 1 tail to head, 2 head to tail, of the voltage of elements."""
    forward = red[network.tail] | black[network.head]
    backward = red[network.head] | black[network.tail]
    sign: IntArray = np.where(forward & ~backward, 1, np.where(backward & ~forward, 2, 0))
    return sign


def _resistances(network: Network, siemens: FloatArray, pairs: IntArray) -> FloatArray:
    """Return (C, P) resistances of linear circuits of (C, E) conductances."""
    first = siemens[0]
    shared = (siemens == first[None, :]).all(axis=0)
    base = np.diag(np.full(network.node_count, LEAK_S))
    _stamp(base, network.tail[shared], network.head[shared], first[shared])
    varied = np.flatnonzero(~shared)
    out = np.empty((len(siemens), len(pairs)))
    a, b = pairs[:, 0], pairs[:, 1]
    for begin in range(0, len(siemens), AT_ONCE):
        cases = range(begin, min(begin + AT_ONCE, len(siemens)))
        stack = np.repeat(base[None], len(cases), axis=0)
        for k, case in enumerate(cases):
            own = varied[siemens[case, varied] > 0.0]
            _stamp(stack[k], network.tail[own], network.head[own], siemens[case, own])
        inverse = np.zeros_like(stack)
        inverse[:, 1:, 1:] = np.linalg.inv(stack[:, 1:, 1:])  # node 0 is earth
        out[cases] = inverse[:, a, a] + inverse[:, b, b] - inverse[:, a, b] - inverse[:, b, a]
    return np.maximum(out, 0.0)


def _stamp(matrix: FloatArray, tail: IntArray, head: IntArray, siemens: FloatArray) -> None:
    np.add.at(matrix, (tail, tail), siemens)
    np.add.at(matrix, (head, head), siemens)
    np.add.at(matrix, (tail, head), -siemens)
    np.add.at(matrix, (head, tail), -siemens)
