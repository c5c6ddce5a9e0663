"""The limits a step prints: what a person compares with is what the plan reckons with.

Limits are rounded outward before anything is compared with them, so that a reading the plan
calls bad is also bad by the printed text, and no healthy cell is turned away by rounding.
"""

from __future__ import annotations

import math

from ringout.checkout.model import OHMS
from ringout.findings.meter import OPEN_ABOVE_OHM

FINE = 1.0  # below, hundredths are printed: a coarser limit would let opens beside coils pass
LEAST_OHM = 0.2  # no meter surely reads less: its own last digits, two of 0.1 ohm
FINE_OHM = 100.0  # up to here tenths, above three digits
SHY = 1e-9  # what binary fractions may be off


def printed_limits(low: float, high: float, kind: str) -> tuple[float, float]:
    """Return the limits of a good reading as they are printed, never narrower.

    Args:
        low: lowest good reading, ohms or volts.
        high: highest; `inf` for open.
        kind: `ohms` or `volts`.
    """
    if kind == OHMS:
        least = _down(low, _ohm_digit(low)) if low >= LEAST_OHM else 0.0
        return least, _up(high, _ohm_digit(high))
    if low <= 0.0 <= high:  # nobody heeds the sign of a small reading
        most = max(high, -low)
        most = _up(most, _volt_digit(most))
        return -most, most
    return _down(low, _volt_digit(low)), _up(high, _volt_digit(high))


def limit_words(low: float, high: float, kind: str) -> str:
    """Return printed limits in words.

    Args:
        low: lowest good reading, as `printed_limits` gives it.
        high: highest.
        kind: `ohms` or `volts`.
    """
    if kind != OHMS:
        if low == -high:
            return f"at most {_volt(high)} V, either sign"
        return f"{_volt(low)} to {_volt(high)} V"
    if math.isinf(high):
        name = "open (over {})" if low > OPEN_ABOVE_OHM / 10 else "over {}"
        return name.format(_ohm(low))
    return f"at most {_ohm(high)}" if low <= 0.0 else f"{_ohm(low)} to {_ohm(high)}"


def _ohm_digit(value: float) -> float:
    if not math.isfinite(value) or value < FINE_OHM:
        return 0.01 if value < FINE else 0.1
    return float(10.0 ** (math.floor(math.log10(value)) - 2))


def _volt_digit(value: float) -> float:
    return 0.01 if abs(value) < FINE else 0.1


def _down(value: float, digit: float) -> float:
    return math.floor(value / digit + SHY) * digit if math.isfinite(value) else value


def _up(value: float, digit: float) -> float:
    return math.ceil(value / digit - SHY) * digit if math.isfinite(value) else value


def _volt(value: float) -> str:
    return f"{value:.2f}" if abs(value) < FINE - SHY else f"{value:.1f}"


def _ohm(value: float) -> str:
    if value < FINE - SHY:
        return f"{value:.2f} Ω"
    if value < FINE_OHM - SHY:
        return f"{value:.1f} Ω"
    scales = ((1e6, "MΩ"), (1e3, "kΩ"), (1.0, "Ω"))
    size, unit = next(s for s in scales if value >= s[0] * (1 - SHY))
    digits = 2 - math.floor(math.log10(value / size) + SHY)
    return f"{value / size:.{max(digits, 0)}f} {unit}"
