"""Limits of the standard types of digital input and of digital outputs and supplies."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from ringout.base import Interval
from ringout.tables.reader import find_row, read_table


@dataclass(frozen=True, slots=True)
class InputLimits:
    """What a standard type of 24 V input guarantees; currents count into a sinking input.

    A 0 is guaranteed up to `off_v`, and also up to `off_with_current_v` as long as the current
    stays below `off_a`. A 1 is guaranteed from `on_v` up to `on_max_v`.

    Args:
        kind: key of the type.
        on_v: lowest voltage of a sure 1.
        on_max_v: highest voltage of a 1.
        on_a: current the input draws at least at a 1.
        on_max_a: current it draws at most.
        off_v: highest voltage of a sure 0 whatever the current.
        off_min_v: lowest voltage of a 0.
        off_a: current below which a 0 is sure up to `off_with_current_v`.
        off_with_current_v: see `off_a`.
    """

    kind: str
    on_v: float
    on_max_v: float
    on_a: float
    on_max_a: float
    off_v: float
    off_min_v: float
    off_a: float
    off_with_current_v: float


@cache
def input_limits(kind: str) -> InputLimits:
    """Return the limits of a type of input.

    Args:
        kind: `iec-61131-2-type-1`, `-2` or `-3`.

    Returns:
        The limits, in volts and amperes.

    Raises:
        KeyError: no such type; the message names the nearest one.

    Source:
        iec-61131-2
    """
    row = find_row("input_limits", kind=kind)
    return InputLimits(
        kind,
        on_v=row.number("uh_min_v"),
        on_max_v=row.number("uh_max_v"),
        on_a=row.number("ih_min_ma") / 1000.0,
        on_max_a=row.number("ih_max_ma") / 1000.0,
        off_v=row.number("ul_max_unlimited_v"),
        off_min_v=row.number("ul_min_v"),
        off_a=row.number("it_min_ma") / 1000.0,
        off_with_current_v=row.number("ul_max_v"),
    )


def input_kinds() -> tuple[str, ...]:
    """Return the keys of all standard types of input."""
    return tuple(row.text("kind") for row in read_table("input_limits"))


def supply_range_v(kind: str = "rated") -> Interval:
    """Return the supply range: `rated`, or `absolute` with ripple (iec-61131-2)."""
    row = find_row("supply_range", kind=kind)
    return Interval(row.number("min_v"), row.number("nominal_v"), row.number("max_v"))


def output_leak_a(rated_a: float) -> float:
    """Return the off-state leakage allowed to a DC output of a rated current (iec-61131-2)."""
    return find_row("output_ratings", rated_a=rated_a).number("off_leak_max_ma") / 1000.0
