"""Current a conductor may carry, by section, laying, ambient and company.

Between listed sections and between listed ambient temperatures the figure is interpolated
linearly: both curves bend downwards, so the straight line lies on the safe side. Between listed
numbers of circuits or loaded cores the curve bends the other way, so the next larger listed
number counts. Outside the tables there is no answer, rather than a guess.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from ringout.tables.reader import Row, find_row, read_table

METHODS: tuple[str, ...] = ("b1", "b2", "c", "e")


def current_capacity_a(
    area_mm2: float,
    *,
    method: str = "b2",
    ambient_c: float = 40.0,
    circuits: int = 1,
    loaded_cores: int = 1,
    use: str = "power",
) -> float | None:
    """Return the continuous current of a PVC-insulated copper conductor.

    Args:
        area_mm2: section.
        method: laying, `b1` (cores in conduit or duct), `b2` (cable in conduit or duct),
            `c` (on a wall) or `e` (on a tray).
        ambient_c: temperature around the cable, from 30 to 60 °C; cooler counts as 30.
        circuits: circuits or cables that run together.
        loaded_cores: cores (`power`) or pairs (`signal`) that carry current in one cable.
        use: `power`, or `signal` for pairs of electronics.

    Returns:
        Amperes, or None outside the tables.

    Raises:
        KeyError: no such method or use.

    Source:
        iec-60204-1, drive-manual
    """
    if method not in METHODS:
        raise KeyError(f"no laying method {method}; known are {', '.join(METHODS)}")
    find_row("ampacity", use=use)
    points = [
        (row.number("area_mm2"), row.number(f"{method}_a"))
        for row in read_table("ampacity")
        if row.text("use") == use and row.maybe(f"{method}_a") is not None
    ]
    base_a = _between(points, area_mm2)
    factors = (
        ambient_factor(ambient_c),
        grouping_factor(circuits, "signal" if use == "signal" else method),
        multicore_factor(loaded_cores, area_mm2),
    )
    if base_a is None:
        return None
    for factor in factors:
        if factor is None:
            return None
        base_a *= factor
    return base_a


def ambient_factor(ambient_c: float) -> float | None:
    """Return the factor for the ambient temperature, None above 60 °C (iec-60204-1)."""
    points = [
        (row.number("ambient_c"), row.number("factor_x")) for row in read_table("ampacity_ambient")
    ]
    return _between(points, max(ambient_c, points[0][0]))


def grouping_factor(circuits: int, method: str) -> float | None:
    """Return the factor for circuits laid together, None above 9 (iec-60204-1)."""
    row = _next_count("ampacity_grouping", "circuits_count", circuits)
    return None if row is None else row.number(f"{method}_x")


def multicore_factor(loaded_cores: int, area_mm2: float) -> float | None:
    """Return the factor for loaded cores (pairs below 1 mm2), None above 24 (iec-60204-1)."""
    row = _next_count("ampacity_multicore", "loaded_count", loaded_cores)
    column = "from_1mm2_x" if area_mm2 >= 1.0 else "below_1mm2_x"
    return None if row is None else row.number(column)


def nfpa79_ampacity_a(awg: int) -> float | None:
    """Return the current of a gauge size, None outside the table (nfpa-79)."""
    rows = (r for r in read_table("nfpa79_ampacity") if r.number("awg_count") == awg)
    return next((row.number("current_a") for row in rows), None)


def min_section_mm2(place: str, use: str, build: str, market: str = "iec") -> float:
    """Return the smallest section allowed.

    Args:
        place: `inside` or `outside` an enclosure, or `outside` with use `moving`.
        use: `control`, `power`, `data` or `moving`.
        build: `single`, `single-solid`, `two-core`, `two-core-screened` or `multicore`.
        market: `iec` or `us`.

    Returns:
        Square millimetres.

    Raises:
        KeyError: the tables have no such case.

    Source:
        iec-60204-1, nfpa-79
    """
    row = find_row("min_sections", build=build, place=place, use=use, market=market)
    return row.number("area_mm2")


def _between(points: Sequence[tuple[float, float]], at: float) -> float | None:
    for (x0, y0), (x1, y1) in pairwise(points):
        if x0 <= at <= x1:
            return y0 + (y1 - y0) * (at - x0) / (x1 - x0)
    return None


def _next_count(table: str, column: str, count: int) -> Row | None:
    return next((row for row in read_table(table) if row.number(column) >= count), None)
