"""Coils at turn-off: stored energy, how long the current lasts, how high the voltage goes."""

from __future__ import annotations

import math

from ringout.base import Interval
from ringout.tables.reader import find_row


def coil_energy_j(inductance_h: float, current_a: float) -> float:
    """Return the energy stored in a coil (we-42)."""
    return inductance_h * current_a**2 / 2.0


def coil_inductance_h(energy_j: float, current_a: float) -> float:
    """Return the inductance from stored energy and current (we-42)."""
    return 2.0 * energy_j / current_a**2


def time_constant_s(inductance_h: float, coil_ohm: float, added_ohm: float = 0.0) -> float:
    """Return the time constant of the current through a diode and an added resistor (we-42)."""
    return inductance_h / (coil_ohm + added_ohm)


def added_for_time_constant_ohm(inductance_h: float, coil_ohm: float, wanted_s: float) -> float:
    """Return the resistor beside the diode that gives a time constant (we-42)."""
    return inductance_h / wanted_s - coil_ohm


def peak_v(current_a: float, resistor_ohm: float) -> float:
    """Return the turn-off voltage across a resistor that takes the coil current (we-44)."""
    return current_a * resistor_ohm


def decay_s(
    inductance_h: float, loop_ohm: float, start_a: float, until_a: float, clamp_v: float = 0.0
) -> float:
    """Return how long a coil current takes to fall against a clamp and a resistance.

    With i(t) = (I + U/R) exp(-t R/L) - U/R the fall to a release current is exact for a diode
    (U of 0.7 V), a Zener or TVS (U of its clamp voltage) and a resistor (U zero, R the sum).

    Args:
        inductance_h: inductance, taken as constant.
        loop_ohm: coil and added resistance; zero is allowed with a clamp.
        start_a: current at turn-off.
        until_a: current waited for, zero to `start_a`.
        clamp_v: voltage of the clamp, against the current.

    Returns:
        Seconds; infinity when the current only dies away towards `until_a`.

    Raises:
        ValueError: neither clamp nor resistance, or currents out of order.

    Source:
        coil-suppression
    """
    if not 0.0 <= until_a <= start_a or loop_ohm < 0.0 or clamp_v < 0.0:
        raise ValueError("currents must fall, resistance and clamp must not be negative")
    if loop_ohm == 0.0:
        if clamp_v == 0.0:
            raise ValueError("a coil without resistance and clamp keeps its current")
        return inductance_h * (start_a - until_a) / clamp_v
    offset_a = clamp_v / loop_ohm
    if until_a + offset_a == 0.0:
        return math.inf
    # log1p keeps its digits when the clamp dwarfs the resistance
    ratio = (start_a - until_a) / (until_a + offset_a)
    return inductance_h / loop_ohm * math.log1p(ratio)


def clamp_v(kind: str) -> Interval | None:
    """Return the clamp voltage of a suppressor.

    Args:
        kind: `none`, `diode`, `zener`, `tvs`, `resistor` or `rc`.

    Returns:
        Volts, or None when the voltage depends on the circuit.

    Raises:
        KeyError: no such kind.

    Source:
        coil-suppression
    """
    row = find_row("suppression", kind=kind)
    if row.maybe("clamp_typ_v") is None:
        return None
    return Interval(*(row.number(f"clamp_{which}_v") for which in ("min", "typ", "max")))


def release_factor(kind: str) -> Interval:
    """Return by how much a suppressor slows the release of a relay (coil-suppression)."""
    row = find_row("suppression", kind=kind)
    return Interval(*(row.number(f"release_factor_{which}_x") for which in ("min", "typ", "max")))
