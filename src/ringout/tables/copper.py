"""Resistance of copper conductors by section, class, plating and temperature."""

from __future__ import annotations

import math
from functools import cache

from ringout.base import Interval
from ringout.tables.reader import Row, find_row, read_table

REFERENCE_C = 20.0
KFT_IN_KM = 0.3048
KAPPA_PRACTICAL = 56.0  # m/(ohm mm2), the figure makers use; source system-manual-drop


def temperature_factor(temp_c: float, alpha_per_k: float | None = None) -> float:
    """Return resistance at `temp_c` over resistance at 20 °C.

    Args:
        temp_c: conductor temperature in °C.
        alpha_per_k: coefficient at 20 °C per kelvin; 0.00393 unless given.

    Returns:
        The ratio, 1 at 20 °C.

    Source:
        iec-60028, we-27
    """
    if alpha_per_k is None:
        alpha_per_k = _constant("temperature-coefficient", "value_per_k")
    return 1.0 + alpha_per_k * (temp_c - REFERENCE_C)


def resistance_ohm_per_km(area_mm2: float, klass: int = 5, plating: str = "plain") -> float:
    """Return the highest resistance a conductor may have at 20 °C.

    Listed sizes give the listed figure, and where data sheets of thin strands differ, the
    highest met. A size between two listed ones takes the worse of their resistivities, so the
    result is never too low.

    Args:
        area_mm2: nominal section.
        klass: 1 or 2 (solid, stranded) or 5 (flexible).
        plating: `plain` or `tinned`.

    Returns:
        Ohms per kilometre of one conductor.

    Raises:
        KeyError: no such class or plating.
        ValueError: the section is not positive.

    Source:
        iec-60228, din-vde-0295, cable-data
    """
    if area_mm2 <= 0.0:
        raise ValueError(f"section {area_mm2:g} mm2 is not positive")
    rows = _rows(klass)
    listed = [(row.number("area_mm2"), _worst(row, plating)) for row in rows]
    for area, ohm in listed:
        if abs(area - area_mm2) < 1e-9:
            return ohm
    below = [pair for pair in listed if pair[0] < area_mm2][-1:]
    above = [pair for pair in listed if pair[0] > area_mm2][:1]
    return max(area * ohm for area, ohm in below + above) / area_mm2


def copper_ohm(
    length_m: float, area_mm2: float, temp_c: float, *, klass: int = 5, plating: str = "plain"
) -> Interval:
    """Return the resistance of one conductor.

    Args:
        length_m: length of the one conductor; a loop has two.
        area_mm2: nominal section.
        temp_c: conductor temperature in °C.
        klass: 1 or 2 (solid, stranded) or 5 (flexible).
        plating: `plain` or `tinned`.

    Returns:
        Ohms: low is pure annealed copper of the full section, typ the figure makers reckon
        with, high the most the conductor standard allows.

    Source:
        iec-60028, iec-60228, system-manual-drop
    """
    factor = temperature_factor(temp_c) * length_m / 1000.0
    low = _constant("resistivity", "value_ohm_mm2_per_km") / area_mm2
    typ = _constant("resistivity-practical", "value_ohm_mm2_per_km") / area_mm2
    high = resistance_ohm_per_km(area_mm2, klass, plating)
    return Interval(low, min(typ, high), high).scaled(factor)


def awg_area_mm2(awg: int) -> float:
    """Return the section of an American wire gauge number; 0 is 1/0, -1 is 2/0.

    Source:
        astm-b258
    """
    diameter_mm = awg_diameter_mm(awg)
    return math.pi / 4.0 * diameter_mm**2


def awg_diameter_mm(awg: int) -> float:
    """Return the diameter of a solid wire of an American wire gauge number (astm-b258)."""
    base = find_row("awg_constants", quantity="diameter-at-36")
    step = find_row("awg_constants", quantity="step-ratio")
    exponent = (base.number("value_count") - awg) / step.number("value_count")
    return base.number("value_mm") * math.pow(step.number("value_ratio"), exponent)


def awg_ohm_per_km(awg: int) -> float:
    """Return the resistance at 20 °C of a solid copper wire (astm-b258, iec-60028)."""
    return _constant("resistivity", "value_ohm_mm2_per_km") / awg_area_mm2(awg)


def nec_ohm_per_km(awg: int, *, stranded: bool = True) -> float:
    """Return the published DC resistance at 75 °C of uncoated copper (nec-ch9-8)."""
    row = find_row("nec_conductors", awg_count=float(awg))
    column = "stranded_ohm_per_kft" if stranded else "solid_ohm_per_kft"
    return row.number(column) / KFT_IN_KM


def nearest_awg(area_mm2: float) -> int:
    """Return the even gauge number 30 to 10 whose section is nearest by ratio."""
    return min(
        range(10, 31, 2),
        key=lambda n: max(awg_area_mm2(n) / area_mm2, area_mm2 / awg_area_mm2(n)),
    )


def next_area_mm2(area_mm2: float) -> float | None:
    """Return the smallest listed flexible size of at least `area_mm2`, None above all."""
    sizes = (row.number("area_mm2") for row in _rows(5))
    return next((size for size in sizes if size >= area_mm2 - 1e-9), None)


@cache
def _rows(klass: int) -> tuple[Row, ...]:
    name = {1: "1-2", 2: "1-2", 5: "5"}.get(klass)
    if name is None:
        raise KeyError(f"no conductor class {klass}; known are 1, 2 and 5")
    return tuple(row for row in read_table("conductor_resistance") if row.text("class") == name)


def _worst(row: Row, plating: str) -> float:
    own = row.number(f"{plating}_ohm_per_km")
    met = row.maybe("highest_met_ohm_per_km")
    return own if met is None else max(own, met)


@cache
def _constant(quantity: str, column: str) -> float:
    return find_row("copper_constants", quantity=quantity).number(column)
