"""Preferred resistor values and watt sizes."""

from __future__ import annotations

import math
from functools import cache

from ringout.tables.reader import read_table

RELATIVE_SLACK = 1e-9  # 4.7 kohm asked for is 4.7 kohm given, whatever the last bit says


def preferred_at_most(r_ohm: float, series: str = "E12") -> float:
    """Return the largest preferred value of at most `r_ohm`.

    Args:
        r_ohm: resistance, positive.
        series: E12 or E24.

    Returns:
        Ohms.

    Raises:
        KeyError: no such series.
        ValueError: the resistance is not positive and finite.

    Source:
        iec-60063
    """
    return max(v for v in _around(r_ohm, series) if v <= r_ohm * (1.0 + RELATIVE_SLACK))


def preferred_at_least(r_ohm: float, series: str = "E12") -> float:
    """Return the smallest preferred value of at least `r_ohm`.

    Args:
        r_ohm: resistance, positive.
        series: E12 or E24.

    Returns:
        Ohms.

    Raises:
        KeyError: no such series.
        ValueError: the resistance is not positive and finite.

    Source:
        iec-60063
    """
    return min(v for v in _around(r_ohm, series) if v >= r_ohm * (1.0 - RELATIVE_SLACK))


def watt_size(power_w: float, factor: float = 2.0) -> float | None:
    """Return the smallest usual rating of at least `factor` times the dissipation.

    Args:
        power_w: dissipation.
        factor: reserve, 2 by common practice.

    Returns:
        Watts, or None when no usual resistor is large enough.

    Source:
        common practice
    """
    sizes = (row.number("power_w") for row in read_table("resistor_watts"))
    return next((size for size in sizes if size >= power_w * factor), None)


@cache
def mantissas(series: str) -> tuple[float, ...]:
    """Return the values of a series from 1 to below 10 (iec-60063)."""
    found = tuple(
        row.number("mantissa_ratio")
        for row in read_table("e_series")
        if row.text("series") == series
    )
    if not found:
        raise KeyError(f"no resistor series {series}; known are E12 and E24")
    return found


def _around(r_ohm: float, series: str) -> list[float]:
    if not (r_ohm > 0.0 and math.isfinite(r_ohm)):
        raise ValueError(f"{r_ohm:g} ohm is not a positive resistance")
    decade = math.floor(math.log10(r_ohm))
    return [_times_ten(m, power) for power in range(decade - 1, decade + 2)
            for m in mantissas(series)]  # fmt: skip


def _times_ten(mantissa: float, power: int) -> float:
    # through the decimal text, so that 4.7 thousand is 4700 and not 4700.000000000001
    return float(f"{mantissa}e{power}")
