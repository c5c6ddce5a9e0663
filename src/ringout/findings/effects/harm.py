"""What a fault may damage: currents and voltages over what parts stand, wrong polarity, spikes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.faults import Faulted
from ringout.circuit.model import TYP, Circuit, Element
from ringout.findings.effects.settled import FaultStates
from ringout.findings.inductive import HARMLESS_V
from ringout.findings.model import Quantity
from ringout.findings.survey import NEAR_LIMIT
from ringout.solve import Solution, solve_cases
from ringout.tables import find_row

FloatArray = NDArray[np.float64]
REVERSED_V = 2.0  # electronics fed this much the wrong way round are reversed, common practice
OPENING = frozenset({"fuse", "breaker", "protection"})


@dataclass(frozen=True, slots=True)
class Over:
    """One element beyond its limit in some states.

    Args:
        kind: `harm` or `trips`.
        what: element or item.
        share: (S,) how far over its limit: above 1 it counts.
        value: (S,) amperes or volts.
        limit: the limit.
        unit: `A` or `V`.
        words: what happens.
    """

    kind: str
    what: str
    share: FloatArray
    value: FloatArray
    limit: float
    unit: str
    words: str

    def numbers(self, row: int) -> tuple[Quantity, ...]:
        """Return the figures of one state."""
        name = "current" if self.unit == "A" else "voltage"
        return (
            Quantity(name, float(self.value[row]), self.unit),
            Quantity("limit", self.limit, self.unit),
        )


def overs(circuit: Circuit, solution: Solution) -> Iterator[Over]:
    """Yield every element that is over a limit in some state, with its share by state.

    Args:
        circuit: circuit with faults.
        solution: S states, before protection has opened.
    """
    for number, e in enumerate(circuit.elements):
        if e.spec is None:
            continue
        amps = solution.element_a[:, number]
        volts = solution.node_v[:, e.tail] - solution.node_v[:, e.head]
        for over in _of_element(e, amps, volts):
            if np.nanmax(over.share, initial=0.0) > 1.0:
                yield over
    yield from _reversed(circuit, solution)


def _of_element(e: Element, amps: FloatArray, volts: FloatArray) -> Iterator[Over]:
    assert e.spec is not None
    v, size = e.spec.values, np.abs(amps)
    if e.kind == "source":
        if "limit" in v:
            limit = v["limit"].typ
            yield Over("trips", e.name, -amps / (limit * NEAR_LIMIT), size, limit, "A",
                       "is in its current limit: its voltage breaks down")  # fmt: skip
        return
    if e.kind in OPENING:
        limit = v["set" if e.kind == "protection" else "rated"].typ
        words = "trips" if e.kind == "protection" else "is overloaded and opens"
        yield Over("trips", e.name, size / limit, size, limit, "A", words)
        return
    if e.kind == "drop" and "limit" in v:
        limit = v["limit"].typ
        yield Over("trips", e.name, amps / (limit * NEAR_LIMIT), size, limit, "A",
                   "is in its own current limit")  # fmt: skip
        size = np.where(amps < 0.0, size, 0.0)  # forwards it protects itself
    if "max" in v:
        words = "carries more than it stands"
        if e.kind == "contact":
            words = "carries more than the contact stands: it burns or welds"
        elif e.kind in ("diode", "clamp"):
            words = "carries more than the diode stands"
        elif e.kind == "drop" and "limit" in v:
            words = "is driven backwards: another supply feeds into the output stage"
        limit = v["max"].typ
        yield Over("harm", e.name, size / limit, size, limit, "A", words)
    if "max_v" in v:
        limit = v["max_v"].typ
        across = np.abs(volts)
        yield Over("harm", e.name, across / limit, across, limit, "V",
                   "sees more voltage than it stands")  # fmt: skip


def _reversed(circuit: Circuit, solution: Solution) -> Iterator[Over]:
    """Yield items whose electronics are fed the wrong way round and do not survive that."""
    for name, item in circuit.cell.items.items():
        part = item.part
        told = part.facts.get("reverse_polarity", "")
        survives = told or find_row("reverse_polarity", family=part.family).text("survives")
        if survives != "no":
            continue
        channels = {f"{name}.{c.element}" for c in part.channels.values()}
        pairs = {
            (e.tail, e.head)
            for e in circuit.elements
            if e.item == name and e.kind == "load" and e.name not in channels
        }
        if part.alive is not None:
            pairs.add(
                (
                    circuit.node_of_net[(name, part.alive.tail)],
                    circuit.node_of_net[(name, part.alive.head)],
                )
            )
        for tail, head in sorted(pairs):
            back = solution.node_v[:, head] - solution.node_v[:, tail]
            if np.nanmax(back, initial=0.0) > REVERSED_V:
                yield Over("harm", name, back / REVERSED_V, -back, 0.0, "V",
                           "is fed the wrong way round")  # fmt: skip


def spikes(
    faulted: Faulted, states: FaultStates, cut: NDArray[np.bool_]
) -> list[tuple[int, int, int, float]]:
    """Return coils that nothing quenches when their semiconductor output turns off.

    In a state in which it rests, a coil that was energised in another state of the same fault
    is replaced by a source of its own current, as an inductor is at that instant.

    Args:
        faulted: circuit with faults.
        states: settled states.
        cut: (E,) conductors held open throughout.

    Returns:
        (coil, output, state in which it turns off, volts across the coil) of each.
    """
    circuit, last = faulted.circuit, states.last
    asked: list[tuple[int, int, int]] = []
    for coil, e in enumerate(circuit.elements):
        spec = e.spec
        if e.kind != "coil" or spec is None or circuit.held_curve[0, 0, coil] < 0:
            continue
        if "inductance" in spec.values and spec.values["inductance"].high <= 0.0:
            continue
        half_a = 12.0 / spec.values["ohm"].typ
        amps = last.element_a[:, coil]
        for fault in np.unique(states.fault_of).tolist():
            rows = np.flatnonzero(states.fault_of == fault)
            on = [r for r in rows if amps[r] > half_a]
            off = [r for r in rows if abs(amps[r]) < half_a / 4]
            if on and off:
                output = _switch(circuit, last, int(on[0]), half_a)
                if output >= 0:
                    asked.append((coil, output, int(off[0])))
    if not asked:
        return []
    rows = np.array([row for _, _, row in asked])
    curves = faulted.curves(states.positions[rows], states.fault_of[rows], TYP)
    curves[:, np.flatnonzero(cut)] = circuit.off_curve[TYP][np.flatnonzero(cut)]
    for at, (coil, _, _) in enumerate(asked):
        curves[at, coil] = circuit.held_curve[0, 0, coil]
    solution = solve_cases(circuit.network, curves)
    found = []
    for at, (coil, output, row) in enumerate(asked):
        e = circuit.elements[coil]
        volts = abs(float(solution.node_v[at, e.tail] - solution.node_v[at, e.head]))
        if volts >= HARMLESS_V:
            found.append((coil, output, row, volts))
    return found


def _switch(circuit: Circuit, solution: Solution, row: int, least_a: float) -> int:
    """Return the semiconductor output that carries a coil's current, or -1."""
    outputs = [
        k
        for k, e in enumerate(circuit.elements)
        if e.kind == "drop" and abs(solution.element_a[row, k]) > least_a
    ]
    return min(outputs, key=lambda k: abs(solution.element_a[row, k]), default=-1)
