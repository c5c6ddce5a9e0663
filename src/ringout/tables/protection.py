"""When breakers, fuses and electronic protection act on an overload or a short."""

from __future__ import annotations

from enum import StrEnum

from ringout.tables.reader import Row, find_row, read_table

ELECTRONIC = "selectivity-module"  # the row with stated times


class Trip(StrEnum):
    """What a circuit breaker does at a steady current."""

    HOLDS = "holds"
    MAY_TRIP_SLOWLY = "may trip within the hour"
    TRIPS_SLOWLY = "trips within the hour"
    MAY_TRIP_AT_ONCE = "trips within the hour, perhaps at once"
    TRIPS_AT_ONCE = "trips at once"


def mcb_magnetic_a(curve: str, rated_a: float, *, dc: bool = True) -> tuple[float, float]:
    """Return the currents a breaker must not, and must, trip at magnetically.

    The must-not limit is left at its AC value on DC, which is the cautious side.

    Args:
        curve: B, C, D, K or Z.
        rated_a: rated current.
        dc: True for direct current, where the upper limit rises by about 1.5.

    Returns:
        `(must_not_a, must_a)`; between the two it may.

    Raises:
        KeyError: no such curve.

    Source:
        iec-60898-1, breaker-data
    """
    row = find_row("mcb_trip", curve=curve)
    factor = row.number("dc_factor_x") if dc else 1.0
    return (
        row.number("magnetic_min_x") * rated_a,
        row.number("magnetic_max_x") * rated_a * factor,
    )


def mcb_thermal_a(curve: str, rated_a: float) -> tuple[float, float]:
    """Return the currents a breaker holds for an hour, and trips at within it (iec-60898-1)."""
    row = find_row("mcb_trip", curve=curve)
    return row.number("thermal_hold_x") * rated_a, row.number("thermal_trip_x") * rated_a


def mcb_trip(curve: str, rated_a: float, current_a: float, *, dc: bool = True) -> Trip:
    """Return what a breaker surely, or perhaps, does at a current.

    Args:
        curve: B, C, D, K or Z.
        rated_a: rated current.
        current_a: steady current.
        dc: as `mcb_magnetic_a`.

    Returns:
        The verdict.

    Source:
        iec-60898-1, breaker-data
    """
    must_not_a, must_a = mcb_magnetic_a(curve, rated_a, dc=dc)
    holds_a, trips_a = mcb_thermal_a(curve, rated_a)
    if current_a >= must_a:
        return Trip.TRIPS_AT_ONCE
    if current_a > must_not_a:
        return Trip.MAY_TRIP_AT_ONCE
    if current_a >= trips_a:
        return Trip.TRIPS_SLOWLY
    return Trip.HOLDS if current_a <= holds_a else Trip.MAY_TRIP_SLOWLY


def fuse_opening_s(
    kind: str, multiple: float, rated_a: float = 1.0
) -> tuple[float | None, float | None]:
    """Return how long a cartridge fuse holds at least, and takes at most, at a current.

    Fuses open faster at higher current, so a multiple between two gates holds at least as long
    as the gate above it and opens at most as late as the gate below it.

    Args:
        kind: F (quick), T (time-lag) or TH (time-lag, high breaking).
        multiple: current over rated current.
        rated_a: rated current; the gates of small ratings differ.

    Returns:
        `(min_s, max_s)`; None where the standard promises nothing, or does not cover the rating.

    Raises:
        KeyError: no such kind.

    Source:
        iec-60127-2
    """
    find_row("fuse_gates", kind=kind)
    gates = _fuse_gates(kind, rated_a)
    holds = [
        gate.number("min_s")
        for gate in gates
        if gate.number("multiple_x") >= multiple and gate.maybe("min_s") is not None
    ]
    opens = [
        gate.number("max_s")
        for gate in gates
        if gate.number("multiple_x") <= multiple and gate.maybe("max_s") is not None
    ]
    return max(holds, default=None), min(opens, default=None)


def electronic_trip_s(set_a: float, current_a: float, supply_v: float = 24.0) -> float | None:
    """Return after what time electronic protection switches a branch off.

    Args:
        set_a: set current of the channel.
        current_a: current the branch would draw without the protection.
        supply_v: voltage at the input of the protection.

    Returns:
        Seconds, or None when it stays on.

    Source:
        electronic-protection, we-31
    """
    row = find_row("electronic_protection", kind=ELECTRONIC)
    if current_a <= set_a * row.number("slow_from_x"):
        return None
    if supply_v < row.number("low_supply_v"):
        return row.number("low_supply_s")
    if current_a < set_a * row.number("limit_x"):
        return row.number("slow_s")
    return row.number("limited_s")


def electronic_limit_a(set_a: float) -> float:
    """Return the current electronic protection limits a short to (electronic-protection)."""
    return set_a * find_row("electronic_protection", kind=ELECTRONIC).number("limit_x")


def _fuse_gates(kind: str, rated_a: float) -> list[Row]:
    return [
        row
        for row in read_table("fuse_gates")
        if row.text("kind") == kind
        and row.number("rated_from_a") <= rated_a <= row.number("rated_to_a")
    ]
