"""How supplies behave on overload, and the protection their circuits may have."""

from __future__ import annotations

from enum import StrEnum

from ringout.base import Interval
from ringout.tables.reader import find_row, read_table


class Sag(StrEnum):
    """What a retrying supply does at a demanded current."""

    HOLDS = "holds its voltage"
    MAY_SAG = "may sag"
    SAGS = "sags, and may switch off"
    RETRIES = "switches off and retries"


def hiccup_a(rated_a: float) -> tuple[Interval, float]:
    """Return where a retrying supply starts to sag, and from where it switches off.

    Args:
        rated_a: rated output current.

    Returns:
        `(sag_a, off_above_a)`.

    Source:
        supply-hiccup, we-33
    """
    row = find_row("supply_overload", mode="hiccup")
    sag = Interval.span(row.number("starts_min_x"), row.number("starts_max_x"))
    return sag.scaled(rated_a), row.number("off_above_x") * rated_a


def hiccup_state(rated_a: float, demand_a: float) -> Sag:
    """Return what a retrying supply does at a demanded current (supply-hiccup)."""
    sag_a, off_a = hiccup_a(rated_a)
    if demand_a > off_a:
        return Sag.RETRIES
    if demand_a >= sag_a.high:
        return Sag.SAGS
    return Sag.MAY_SAG if demand_a > sag_a.low else Sag.HOLDS


def overload_range_x(mode: str) -> Interval:
    """Return from which multiple of its rated current a supply reacts.

    Args:
        mode: `constant-current`, `constant-power`, `fold-back`, `hiccup` or `latch`.

    Returns:
        Multiples of the rated current.

    Raises:
        KeyError: no such mode.

    Source:
        supply-data, supply-hiccup
    """
    row = find_row("supply_overload", mode=mode)
    return Interval.span(row.number("starts_min_x"), row.number("starts_max_x"))


def short_current_x(mode: str) -> Interval | None:
    """Return the steady current into a short as a multiple of the rated current.

    None for a supply that retries: its mean current depends on its pauses.

    Source:
        supply-data
    """
    row = find_row("supply_overload", mode=mode)
    low, high = row.maybe("short_min_x"), row.maybe("short_max_x")
    return None if low is None or high is None else Interval.span(low, high)


def class2_fuse_a(voltage_v: float) -> float:
    """Return the largest protection that keeps a DC circuit class 2 at 20 to 30 V (nec-725)."""
    row = find_row("class2_limits", kind="dc-20-to-30")
    return row.number("fuse_numerator_va") / voltage_v


def breaker_for_section_a(area_mm2: float, ambient_c: float) -> float | None:
    """Return the largest breaker one device maker allows, None outside the table (drive-manual)."""
    if ambient_c > 55.0:
        return None
    column = "breaker_40c_a" if ambient_c <= 40.0 else "breaker_55c_a"
    fitting = [r for r in read_table("breaker_by_section") if r.number("area_mm2") <= area_mm2]
    return fitting[-1].number(column) if fitting else None
