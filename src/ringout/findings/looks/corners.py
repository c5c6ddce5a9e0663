"""The corners of tolerance a look is solved at."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ringout.circuit.model import HIGH, LOW, Circuit, IntArray

# Supplies and all else at the ends of their tolerances, together and against each other.
CORNERS = ((LOW, LOW), (HIGH, HIGH), (LOW, HIGH), (HIGH, LOW))


def at_corner(
    circuit: Circuit, curves: Callable[[int], IntArray], sources: int, others: int
) -> IntArray:
    """Return (S, E) curve choices with supplies at one end of tolerance, all else at another.

    Args:
        circuit: the circuit.
        curves: gives (S, E) curve choices at one end for everything.
        sources: end for supplies.
        others: end for all else.
    """
    curve_of = curves(others)
    if sources == others:
        return curve_of
    is_source = np.array([e.kind == "source" for e in circuit.elements])
    return np.where(is_source[None, :], curves(sources), curve_of)
