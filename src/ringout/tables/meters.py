"""How hand meters load a circuit and how far their display may be off."""

from __future__ import annotations

from ringout.base import Interval
from ringout.tables.reader import find_row


def meter_ohm(kind: str) -> Interval:
    """Return the input resistance of a meter that measures volts.

    Args:
        kind: `volts` or `lowz`.

    Returns:
        Ohms.

    Raises:
        KeyError: no such kind.
        TypeError: the kind does not measure volts.

    Source:
        memory
    """
    row = find_row("meters", kind=kind)
    return Interval(*(row.number(f"input_{which}_ohm") for which in ("min", "typ", "max")))


def ohms_test(kind: str = "ohms") -> tuple[float, float]:
    """Return test current and open-circuit voltage on ohms, continuity or diode (memory).

    Args:
        kind: `ohms`, `continuity` or `diode`.

    Returns:
        `(test_a, open_v)`.
    """
    row = find_row("meters", kind=kind)
    return row.number("test_ma") / 1000.0, row.number("open_v")


def beeps_below_ohm() -> float:
    """Return the resistance below which the continuity buzzer sounds (memory)."""
    return find_row("meters", kind="continuity").number("beeps_below_ohm")


def reading_error(kind: str, value: float, digit: float) -> float:
    """Return how far a display may be off, in the unit of the value.

    Args:
        kind: row of the table of meters.
        value: what is measured.
        digit: weight of the last digit on the range in use.

    Returns:
        The largest error, as accuracy of reading plus digits.

    Source:
        memory
    """
    row = find_row("meters", kind=kind)
    return abs(value) * row.number("accuracy_pct") / 100.0 + row.number("digits_count") * digit
