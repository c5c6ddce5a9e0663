"""What an element can carry at most, by Kirchhoff's current law, and what may stand in for it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ringout.circuit.curves import Curve, inverse, value
from ringout.circuit.network import FloatArray, IntArray, Network
from ringout.solve.newton import LEAK_S

ROUNDS = 8  # of Kirchhoff's law along chains of elements


def most_a(curves: Sequence[Curve], curve_of: IntArray, most_v: FloatArray) -> FloatArray:
    """Return (R, E) what curves carry at most while no voltage exceeds (R,) `most_v`."""
    out = np.zeros(curve_of.shape)
    for volts in np.unique(most_v).tolist():
        most = np.array([max(abs(value(c, volts)), abs(value(c, -volts))) for c in curves])
        same = most_v == volts
        out[same] = most[curve_of[same]]
    return out


def most_through_a(
    network: Network, lower_of: IntArray, upper_of: IntArray, most_v: FloatArray
) -> FloatArray:
    """Return (R, E) amperes no element can carry more than.

    An element carries no more than all others at either of its ends can carry together.

    Args:
        network: N nodes, E elements.
        lower_of: (R, E) curves each element is never below.
        upper_of: (R, E) curves it is never above.
        most_v: (R,) what no voltage exceeds.
    """
    curves = network.curves.curves
    cap: FloatArray = np.maximum(most_a(curves, lower_of, most_v), most_a(curves, upper_of, most_v))
    every = np.broadcast_to(np.arange(len(cap))[:, None], cap.shape)
    tail = np.broadcast_to(network.tail, cap.shape)
    head = np.broadcast_to(network.head, cap.shape)
    for _ in range(ROUNDS):
        total = np.zeros((len(cap), network.node_count))
        np.add.at(total, (every, tail), cap)
        np.add.at(total, (every, head), cap)
        total += LEAK_S * most_v[:, None]
        total[:, 0] = np.inf
        at_tail = np.take_along_axis(total, tail, axis=1) - cap
        at_head = np.take_along_axis(total, head, axis=1) - cap
        cap = np.minimum(cap, np.minimum(at_tail, at_head))
    return cap


def stand_in(
    curves: Sequence[Curve], choices: Sequence[int], cap_a: float, most_v: float
) -> tuple[int, float, float]:
    """Return the curve that stands in for an element best, and how far off it may be.

    Args:
        curves: all curves.
        choices: typical, lower and upper curve of the element, in this order.
        cap_a: what it carries at most.
        most_v: what no voltage exceeds.

    Returns:
        The curve; the distance in amperes; and, where the curve is a straight line, in volts
        of any target, else infinite.
    """
    lower, upper = curves[choices[1]], curves[choices[2]]
    ends_v = (
        min(max(inverse(lower, cap_a), 0.0), most_v),
        max(min(inverse(upper, -cap_a), 0.0), -most_v),
    )
    best, least, least_v = choices[0], float("inf"), float("inf")
    for choice in choices:
        curve = curves[choice]
        extra = cap_a + max(abs(value(curve, v)) for v in ends_v)
        moves_v = extra / curve.slope_s[0] if curve.is_linear else float("inf")
        if (moves_v, extra) < (least_v, least):
            best, least, least_v = choice, extra, moves_v
    return best, least, least_v
