"""Ferrules, their colours and barrels, and how far to strip."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.base import Interval
from ringout.tables.reader import find_row, read_table

THINNEST_MM2 = 0.1  # below this even the smallest ferrule does not grip
SLACK = 0.94  # a 20 AWG core (0.518 mm2) belongs into a 0.5 mm2 ferrule, common practice


@dataclass(frozen=True, slots=True)
class Ferrule:
    """One ferrule with plastic collar.

    Args:
        series: colour series; the same colour means another size elsewhere.
        area_mm2: nominal size.
        colour: colour of the collar.
        barrel_mm: usual barrel.
        strip_mm: bare length the core needs.
    """

    series: str
    area_mm2: float
    colour: str
    barrel_mm: float
    strip_mm: float


def ferrule_for(area_mm2: float, series: str = "din-46228-4") -> Ferrule | None:
    """Return the ferrule for a core.

    Args:
        area_mm2: section of the core; gauge sizes take the next larger ferrule.
        series: `din-46228-4`, `french` or `old-german`.

    Returns:
        The ferrule, or None when the core is too thin or too thick for the series.

    Raises:
        KeyError: no such series.

    Source:
        din-46228-4, ferrule-charts
    """
    find_row("ferrules", series=series)
    if area_mm2 < THINNEST_MM2:
        return None
    for row in read_table("ferrules"):
        size = row.number("area_mm2")
        if row.text("series") == series and size >= area_mm2 * SLACK:
            barrel = find_row("ferrule_barrels", area_mm2=size, usual="yes").number("barrel_mm")
            extra = strip_length_mm("ferrule-allowance").typ
            return Ferrule(series, size, row.text("colour"), barrel, barrel + extra)
    return None


def barrels_mm(area_mm2: float) -> tuple[float, ...]:
    """Return the barrel lengths made for a listed size (din-46228-4)."""
    return tuple(
        row.number("barrel_mm")
        for row in read_table("ferrule_barrels")
        if row.number("area_mm2") == area_mm2
    )


def strip_length_mm(place: str) -> Interval:
    """Return the bare length of a core for a kind of clamp.

    Args:
        place: `screw-terminal`, `spring-terminal`, `m12-field`, `m8-field` or `din-valve`.

    Returns:
        Millimetres.

    Raises:
        KeyError: no such place.

    Source:
        terminal-data, common practice
    """
    row = find_row("strip_lengths", place=place)
    return Interval(*(row.number(f"strip_{which}_mm") for which in ("min", "typ", "max")))


def sheath_length_mm(place: str) -> Interval | None:
    """Return how much sheath comes off for a connector, None where it is not stated."""
    row = find_row("strip_lengths", place=place)
    low, high = row.maybe("sheath_min_mm"), row.maybe("sheath_max_mm")
    return None if low is None or high is None else Interval.span(low, high)
