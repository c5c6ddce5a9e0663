"""Looks, readings and reasons in words."""

from __future__ import annotations

import math

from ringout.base.quantity import format_quantity
from ringout.findings.looks import Look

_NOTHING = 0.05


def seen_words(look: Look, low: float, typ: float, high: float) -> str:
    """Return what a suspect shows at a look, as a person would say it.

    Args:
        look: the look.
        low: least it shows.
        typ: what it shows typically.
        high: most it shows.
    """
    if math.isnan(typ):
        return "not solved"
    if not look.by_meter:
        words = look.words
        if low != high:
            return f"{words[round(low)]} or {words[round(high)]}"
        return words[round(typ)]
    dimension = "ohms" if look.kind == "ohms" else "volts"
    if math.isinf(typ):
        return "open"
    if abs(high - low) <= max(0.05 * abs(typ), 0.1 if dimension == "volts" else 0.5):
        return _amount(typ, dimension)
    top = "open" if math.isinf(high) else _amount(high, dimension)
    return f"{_amount(low, dimension)} to {top}"


def _amount(value: float, dimension: str) -> str:
    if abs(value) < _NOTHING:
        return "0 V" if dimension == "volts" else "0 Ω"
    if dimension == "volts":
        return f"{value:.2f} V" if abs(value) < 10 else f"{value:.1f} V"
    return format_quantity(float(f"{value:.3g}"), dimension)


def look_words(look: Look) -> str:
    """Return what is looked at, in the words an observation would use."""
    if look.by_meter:
        what = f"{look.a} to {look.b}"
        if look.kind == "lowz":
            what += " with a loaded tester"
        elif look.kind == "ohms":
            what += " in ohms"
    elif look.kind == "lamp":
        what = f"lamp of {look.what}"
    else:
        what = look.what
    if look.lifted:
        what += f" with {', '.join(look.lifted)} lifted"
    if look.state:
        what += f" while {' and '.join(f'{a} {p}' for a, p in look.state)}"
    if not look.powered and look.kind != "ohms":
        what += " with power off"
    return what
