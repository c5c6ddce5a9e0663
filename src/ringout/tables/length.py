"""Voltage drop along cables and the longest cable that keeps it."""

from __future__ import annotations

from collections.abc import Sequence

from ringout.tables.copper import KAPPA_PRACTICAL

FOOT_M = 0.3048


def drop_v(length_m: float, ohm_per_km: float, current_a: float, *, conductors: int = 2) -> float:
    """Return the voltage lost along a cable.

    Args:
        length_m: one way.
        ohm_per_km: resistance of one conductor.
        current_a: current.
        conductors: 2 for out and return, 1 when the return is reckoned apart.

    Returns:
        Volts.

    Source:
        we-16, we-17
    """
    return conductors * length_m / 1000.0 * ohm_per_km * current_a


def longest_m(
    allowed_drop_v: float, ohm_per_km: float, current_a: float, *, conductors: int = 2
) -> float:
    """Return the one-way length at which the drop is just allowed.

    Args:
        allowed_drop_v: drop that may be lost.
        ohm_per_km: resistance of one conductor.
        current_a: current.
        conductors: 2 for out and return; 1 as some makers count, which is right only when the
            return is reckoned apart.

    Returns:
        Metres.

    Source:
        we-24
    """
    return allowed_drop_v / current_a / (ohm_per_km / 1000.0) / conductors


def longest_shared_return_m(
    allowed_drop_v: float,
    area_mm2: float,
    own_a: float,
    other_a: float,
    kappa: float = KAPPA_PRACTICAL,
) -> float:
    """Return the length at which a feed that shares its return with another is just reached.

    The feed carries `other_a`; the common 0 V carries both.

    Args:
        allowed_drop_v: drop that may be lost.
        area_mm2: section of every conductor.
        own_a: current of the feed reckoned apart, such as electronics and sensors.
        other_a: current of the feed looked at, such as valves and outputs.
        kappa: conductance in m/(ohm mm2).

    Returns:
        Metres.

    Source:
        we-19, we-21, system-manual-drop
    """
    return allowed_drop_v * area_mm2 * kappa / (2.0 * other_a + own_a)


def loop_ohm(length_m: float, loop_ohm_per_km: float, parallel: int = 1) -> float:
    """Return the loop resistance with several cores in parallel per pole (we-23)."""
    return length_m / 1000.0 * loop_ohm_per_km / parallel


def chain_drops_v(
    lengths_m: Sequence[float],
    loads_a: Sequence[float],
    ohm_per_m: float,
    factor: float = 1.0,
) -> tuple[float, ...]:
    """Return the drop in each section of a chain of loads.

    Args:
        lengths_m: section lengths from the supply on.
        loads_a: current of the load at the end of each section.
        ohm_per_m: resistance per metre of a section as the source counts it.
        factor: reserve.

    Returns:
        Volts per section; a section carries all loads behind it.

    Raises:
        ValueError: there are not as many sections as loads.

    Source:
        we-26
    """
    behind_a = [sum(loads_a[at:]) for at in range(len(loads_a))]
    return tuple(
        length * ohm_per_m * amps * factor for length, amps in zip(lengths_m, behind_a, strict=True)
    )
