"""A meter reading for people and programs."""

from __future__ import annotations

from typing import Any

from ringout.base.quantity import format_quantity
from ringout.findings.meter import Reading
from ringout.report.prove_json import number

VOLT_DIGITS = 3  # a hand meter shows millivolts at best
OHM_DIGITS = 2


def meter_answer(reading: Reading) -> dict[str, Any]:
    """Return a reading as JSON: `value` is null when an ohmmeter shows an open circuit."""
    answer: dict[str, Any] = {
        "value": number(reading.value),
        "low": number(reading.low),
        "high": number(reading.high),
        "unit": reading.unit,
        "why": reading.why,
        "proven": reading.proven,
    }
    if reading.reverse is not None:
        answer["reverse"] = meter_answer(reading.reverse)
    return answer


def _shown(value: float | None, unit: str) -> str:
    if value is None:
        return "open"
    if unit == "V":
        return format_quantity(round(value, VOLT_DIGITS) + 0.0, "volts")
    return format_quantity(round(value, OHM_DIGITS) + 0.0, "ohms")


def meter_lines(probe: tuple[str, str], state: str, reading: Reading) -> list[str]:
    """Return a reading as lines for a terminal."""
    while_ = f" while {state}" if state else " at rest"
    lines = [f"red on {probe[0]}, black on {probe[1]}{while_}:", _line(reading)]
    if reading.reverse is not None:
        lines += [f"red on {probe[1]}, black on {probe[0]}:", _line(reading.reverse)]
    lines += [f"  why: {reading.why}"]
    if not reading.proven:
        lines.append("  the range is solved at the likely worst corner, not proven")
    return lines


def _line(reading: Reading) -> str:
    low, high = _shown(reading.low, reading.unit), _shown(reading.high, reading.unit)
    between = low if low == high else f"{low} to {high}"
    return f"  {_shown(reading.value, reading.unit)}   ({between})"
