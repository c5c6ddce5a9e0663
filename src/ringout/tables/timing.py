"""Bounce, filters, scans, test pulses and the pulses an input surely sees."""

from __future__ import annotations

from enum import StrEnum

from ringout.base import Interval
from ringout.tables.reader import find_row, read_table


class Seen(StrEnum):
    """Whether an input sees a pulse."""

    MISSED = "missed"
    PERHAPS = "may be missed"
    SURE = "seen"


def longest_bounce_s(kind: str) -> float:
    """Return the longest ordinary bounce of a kind of switch.

    Args:
        kind: `push-button`, `limit-switch`, `micro-switch`, `selector`, `reed` or `relay`.

    Returns:
        Seconds; a worn switch may be far worse.

    Raises:
        KeyError: no such kind.

    Source:
        switch-bounce-survey, relay-bounce, memory
    """
    return find_row("bounce", kind=kind).number("worst_ms") / 1000.0


def shortest_certain_pulse_s(filter_s: float, scan_s: float) -> float:
    """Return the length from which a pulse is surely seen: filter plus one scan.

    Source:
        pulse-filter-plus-scan, we-51
    """
    return filter_s + scan_s


def pulse_seen(pulse_s: float, filter_s: float, scan_s: float) -> Seen:
    """Return whether a pulse is seen behind a filter by a program that scans.

    Args:
        pulse_s: length of the pulse.
        filter_s: input filter.
        scan_s: program cycle.

    Returns:
        The verdict.

    Source:
        pulse-filter-plus-scan, we-51
    """
    if pulse_s < filter_s:
        return Seen.MISSED
    sure_s = shortest_certain_pulse_s(filter_s, scan_s)
    return Seen.SURE if pulse_s >= sure_s else Seen.PERHAPS


def response_s(
    input_delay_s: float,
    scan_s: float,
    output_delay_s: float,
    *,
    refresh_s: float = 0.0,
    overhead_s: float = 0.0,
) -> Interval:
    """Return the time from an input's change to the output that follows it.

    Args:
        input_delay_s: input filter and hardware.
        scan_s: program cycle.
        output_delay_s: output hardware.
        refresh_s: reading the inputs; counts in the shortest case only, the longest has it
            inside its second scan.
        overhead_s: fixed overhead of a cycle.

    Returns:
        Seconds: shortest when the change just makes it into a scan, longest when it just
        misses one.

    Source:
        we-48, pulse-filter-plus-scan
    """
    low = input_delay_s + scan_s + refresh_s + overhead_s + output_delay_s
    high = input_delay_s + 2.0 * scan_s + overhead_s + output_delay_s
    return Interval.span(min(low, high), high)


def filter_hides_pulse(filter_s: float, pulse_s: float) -> bool:
    """Return whether an ordinary input's filter hides a test pulse (light-curtain-data)."""
    return filter_s > pulse_s


def ossd_pulse_s() -> Interval:
    """Return the length of a safety output's test pulse (light-curtain-data)."""
    row = find_row("ossd_pulses", kind="ossd")
    return Interval(0.0, row.number("typical_us") / 1e6, row.number("longest_us") / 1e6)


def offered_filters_s(series: str) -> tuple[float, ...]:
    """Return the filters a family of modules offers, shortest first (io-module-data)."""
    return tuple(
        row.number("delay_ms") / 1000.0
        for row in read_table("filters")
        if row.text("series") == series
    )


def cb24i_fits(source_class: str, sink_class: str) -> bool:
    """Return whether a tested output fits a safe input by their classes.

    Args:
        source_class: C1, C2 or C3 of the output; a higher number has shorter pulses.
        sink_class: C1, C2 or C3 of the input.

    Returns:
        True when the input tolerates the output's test pulses.

    Raises:
        KeyError: no such class.

    Source:
        cb24i, we-53
    """
    return _cb24i_pulse_s(source_class) <= _cb24i_pulse_s(sink_class)


def cb24i_margin_s(pulse_s: float, sink_class: str) -> float:
    """Return by how much an input's class exceeds a test pulse (cb24i, we-53)."""
    return _cb24i_pulse_s(sink_class) - pulse_s


def two_hand_accepts(kind: str, gap_s: float) -> bool:
    """Return whether a two-hand control accepts buttons pressed `gap_s` apart.

    Args:
        kind: I, II or III.
        gap_s: time between the two presses, both then held.

    Returns:
        True when it starts.

    Raises:
        KeyError: no such type.

    Source:
        iso-13851, we-55
    """
    window_s = find_row("two_hand", type=kind).maybe("window_s")
    return window_s is None or gap_s <= window_s


def highest_speed_rpm(pulses_per_s: float, pulses_per_turn: int = 1) -> float:
    """Return the speed at which an input that follows `pulses_per_s` is at its limit (we-49)."""
    return 60.0 * pulses_per_s / pulses_per_turn


def _cb24i_pulse_s(name: str) -> float:
    return find_row("cb24i", **{"class": name}).number("pulse_max_us") / 1e6
