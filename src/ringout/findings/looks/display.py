"""How far the display of a hand meter may be off from what is there."""

from __future__ import annotations

import numpy as np

from ringout.findings.looks.model import FloatArray
from ringout.tables.meters import reading_error

# The last digit of a hand meter: tenths of an ohm on its lowest range, hundredths of a volt on
# its 60 V range, tenths for a loaded tester; common practice.
DIGITS = {"ohms": 0.1, "volts": 0.01, "lowz": 0.1}


def meter_error(values: FloatArray, kind: str) -> FloatArray:
    """Return how far a display may be off, for readings of one kind of meter.

    Args:
        values: readings, V or ohm; for `inf` only the fixed part counts.
        kind: `ohms`, `volts` or `lowz`.
    """
    fixed = reading_error(kind, 0.0, DIGITS[kind])
    share = reading_error(kind, 1.0, DIGITS[kind]) - fixed
    finite = np.where(np.isfinite(values), np.abs(values), 0.0)
    return np.asarray(finite * share + fixed, dtype=np.float64)
