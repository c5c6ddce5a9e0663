"""Units outside our own table, by the large unit library, which is loaded only when needed."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

# The library's name for the unit each dimension is kept in.
_KEPT_IN = {
    "volts": "volt",
    "amps": "ampere",
    "ohms": "ohm",
    "watts": "watt",
    "joules": "joule",
    "a2s": "ampere ** 2 * second",
    "seconds": "second",
    "metres": "metre",
    "mm2": "millimetre ** 2",
    "celsius": "degC",
    "henry": "henry",
    "farad": "farad",
    "hertz": "1 / second",
    "newton_metre": "newton * metre",
    "ratio": "dimensionless",
}
# Only what cannot cost time is handed over: letters, and at most one power at the end.
_HARMLESS = re.compile(r"[A-Za-zµΩ°][A-Za-zµΩ°_·* /]{0,30}[23]?")


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(cache_folder=None)


def convert_rare_unit(number: float, unit: str, dimension: str) -> float | str | None:
    """Convert a value in a unit our own table does not hold.

    Args:
        number: value in `unit`.
        unit: the unit as the user wrote it.
        dimension: key of `DIMENSIONS`.

    Returns:
        The value in the dimension's own unit, the text `other` if the unit measures something
        else, or None if there is no such unit.
    """
    if not _HARMLESS.fullmatch(unit):
        return None
    registry = _registry()
    # The library raises errors of many kinds on a text that is no unit; all mean just that.
    try:
        parsed = registry.parse_units(unit.replace("·", "*"))
    except Exception:  # noqa: BLE001
        return None
    try:
        return float(registry.Quantity(number, parsed).to(_KEPT_IN[dimension]).magnitude)
    except Exception:  # noqa: BLE001
        return "other"
