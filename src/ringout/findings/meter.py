"""What a meter shows between two places: volts, loaded volts or ohms, with range and reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ringout.base import Interval
from ringout.cell.model import Cell, Terminal
from ringout.circuit import curves as cv
from ringout.circuit.behaviour import Behaviour, ohmic
from ringout.circuit.compile import Added, compile_circuit
from ringout.circuit.model import HIGH, LOW, TYP, Circuit, IntArray
from ringout.circuit.network import FloatArray
from ringout.findings.reasons import explain
from ringout.findings.settle import settle_states
from ringout.solve import driving_point_ohm, solve_cases, worst_case

VOLTMETER_OHM = Interval(9.9e6, 10e6, 10.1e6)  # common practice: 10 MOhm
LOADED_OHM = Interval(2e3, 3e3, 4e3)  # low-impedance testers: a few kOhm, common practice
OHMS_OPEN_V = 3.0  # test source of an ohmmeter: 3 V behind 3 kOhm, common practice
OHMS_INNER_OHM = 3000.0
OPEN_ABOVE_OHM = 2e6
MODES = ("volts", "lowz", "ohms")
FLOATING_OHM = 1e5  # a point held by more than this floats
WEAK_V = 2.0  # a reading that a load changes by more than this is no firm one


@dataclass(frozen=True, slots=True)
class Reading:
    """A predicted reading: typical, guaranteed low and high, unit and why.

    `value` is None when an ohmmeter shows an open circuit. `reverse` is the reading with the
    probes exchanged, for ohms.
    """

    value: float | None
    low: float | None
    high: float | None
    unit: str
    why: str
    proven: bool = True
    reverse: Reading | None = None


def read_meter(
    cell: Cell,
    a: Terminal | str,
    b: Terminal | str,
    *,
    state: Mapping[str, str] | None = None,
    lifted: Sequence[str] = (),
    mode: str = "volts",
) -> Reading:
    """Predict what a meter shows with its red probe on `a` and the black one on `b`.

    Args:
        cell: the cell as wired.
        a: terminal, or lifted core end as `W1:BN@S1`.
        b: likewise.
        state: actor to position; all else at rest. For ohms every supply is off.
        lifted: core ends taken off.
        mode: volts (10 MOhm), lowz (a few kOhm) or ohms.

    Returns:
        The reading in V or ohm.

    Raises:
        ValueError: unknown mode.
    """
    if mode not in MODES:
        raise ValueError(f"meter mode {mode}")
    if mode == "ohms":
        first = _ohms(cell, a, b, state or {}, lifted)
        second = _ohms(cell, b, a, state or {}, lifted)
        return Reading(
            first.value, first.low, first.high, first.unit, first.why, first.proven, second
        )
    behaviour = ohmic(VOLTMETER_OHM if mode == "volts" else LOADED_OHM)
    circuit = compile_circuit(cell, added=[Added("meter", a, b, behaviour)], lifted=lifted)
    positions, solution_v = _settle(circuit, state or {})
    red, black = circuit.elements[-1].tail, circuit.elements[-1].head
    low, high, proven = _bounds(circuit, positions, red, black)
    value = float(solution_v[red] - solution_v[black])
    low, high = min(low, value), max(high, value)
    if mode == "volts":
        loaded = _loaded_v(cell, a, b, state or {}, lifted)
        if abs(value - loaded) > WEAK_V or _held_ohm(circuit, positions) > FLOATING_OHM:
            why = (
                f"nothing firm holds this point: with a load it shows {loaded:.1f} V, and what "
                f"a 10 MOhm meter shows means little; use the low-impedance mode"
            )
            return Reading(value, low, high, "V", why, proven)
    probes = ((red, str(a)), (black, str(b)))
    why = explain(circuit, positions[0], solution_v, probes)
    return Reading(value, low, high, "V", why, proven)


def _held_ohm(circuit: Circuit, positions: IntArray) -> float:
    """Return what holds the voltage between the probes while the meter is off."""
    curves = circuit.curves(positions, TYP)
    curves[0, -1] = circuit.off_curve[TYP, -1]
    free = solve_cases(circuit.network, curves)
    meter = circuit.elements[-1]
    pair = np.array([[meter.tail, meter.head]], dtype=np.int64)
    return float(driving_point_ohm(circuit.network, free, curves, pair)[0])


def _loaded_v(
    cell: Cell,
    a: Terminal | str,
    b: Terminal | str,
    state: Mapping[str, str],
    lifted: Sequence[str],
) -> float:
    """Return what a loaded tester would show at the same places."""
    circuit = compile_circuit(cell, added=[Added("meter", a, b, ohmic(LOADED_OHM))], lifted=lifted)
    _, node_v = _settle(circuit, state)
    return float(node_v[circuit.elements[-1].tail] - node_v[circuit.elements[-1].head])


def _settle(circuit: Circuit, state: Mapping[str, str]) -> tuple[IntArray, np.ndarray]:
    positions = circuit.positions([dict(state)])
    settled = settle_states(circuit, positions, circuit.curves(positions))
    return settled.positions, settled.solution.node_v[0]


def _bounds(
    circuit: Circuit, positions: IntArray, a: int, b: int, own: int = -1
) -> tuple[float, float, bool]:
    """Return guaranteed low and high of V(a) - V(b) in one state over all tolerances."""
    corners = [np.repeat(circuit.curves(positions, c), 2, axis=0) for c in (LOW, HIGH, TYP)]
    bound = worst_case(
        circuit.network,
        corners[0],
        corners[1],
        corners[2],
        np.array([[a, b], [a, b]], dtype=np.int64),
        np.array([-1, 1], dtype=np.int64),
        np.array([own, own], dtype=np.int64),
    )
    low, high = (float(v) for v in bound.value_v)
    return low, high, bool(bound.proven.all())


def to_ohm(volts: FloatArray) -> FloatArray:
    """Return the ohms a meter shows at these voltages across its probes; `inf` for open."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ohm = volts * OHMS_INNER_OHM / (OHMS_OPEN_V - volts)
    ohm = np.where((volts >= OHMS_OPEN_V) | (ohm > OPEN_ABOVE_OHM), np.inf, np.maximum(ohm, 0.0))
    return np.where(np.isnan(volts), np.nan, ohm)


def _shown_ohm(volts: float) -> float | None:
    ohm = float(to_ohm(np.array(volts)))
    return None if np.isinf(ohm) else ohm


def without_power(circuit: Circuit, state: Mapping[str, str]) -> dict[str, str]:
    """Return a state with every supply switched off."""
    supplies = (a for a in circuit.actors if a.moved_by == "supply")
    return {**state, **{a.name: a.positions[-1] for a in supplies}}


def _ohms(
    cell: Cell,
    a: Terminal | str,
    b: Terminal | str,
    state: Mapping[str, str],
    lifted: Sequence[str],
) -> Reading:
    source = cv.source(OHMS_OPEN_V, OHMS_INNER_OHM, can_sink=True)
    added = [Added("meter", a, b, Behaviour.fixed(source))]
    circuit = compile_circuit(cell, added=added, lifted=lifted)
    positions, node_v = _settle(circuit, without_power(circuit, state))
    red, black = circuit.elements[-1].tail, circuit.elements[-1].head
    volts = float(node_v[red] - node_v[black])
    low_v, high_v, proven = _bounds(circuit, positions, red, black)
    low_v, high_v = min(low_v, volts), max(high_v, volts)
    value, low, high = (_shown_ohm(v) for v in (volts, low_v, high_v))
    if value is None:
        why = "open: no conductor and no part joins the two points with the supplies off"
    elif value < 5.0:
        why = "joined by conductors: what is shown is copper, contacts and clamps"
    else:
        why = (
            f"through parts, at {volts:.2f} V of the meter's own {OHMS_OPEN_V:g} V; "
            f"a part with a diode shows more one way round than the other"
        )
    return Reading(value, low, high, "ohm", why, proven)
