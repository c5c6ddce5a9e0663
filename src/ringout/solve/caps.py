"""What an element can carry at most, by Kirchhoff's current law, and what may stand in for it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.curves import Curve, inverse, value
from ringout.circuit.network import CurveTable, FloatArray, IntArray, Network
from ringout.solve.newton import LEAK_S

BoolArray = NDArray[np.bool_]

ROUNDS = 64  # of Kirchhoff's law along chains of elements, at most
_SETTLED = 1e-3  # a round that lowers nothing by more than this part is the last

QUIET_S = 1e-8  # an element with less slope and less current than this
QUIET_A = 1e-8  # in all its curves does not join its nodes


def quiet_curves(table: CurveTable) -> BoolArray:
    """Return (C,) whether a curve carries next to nothing at any voltage."""
    idle = [abs(value(c, 0.0)) <= QUIET_A and max(c.slope_s) <= QUIET_S for c in table.curves]
    return np.array(idle, dtype=np.bool_)


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
    ends = np.concatenate([network.tail, network.head])
    order = np.argsort(ends, kind="stable")
    node, first = np.unique(ends[order], return_index=True)
    element = order % network.element_count
    total = np.zeros((len(cap), network.node_count))
    for _ in range(ROUNDS):
        total[:, node] = np.add.reduceat(cap[:, element], first, axis=1)
        total += LEAK_S * most_v[:, None]
        total[:, 0] = np.inf
        lower = np.minimum(total[:, network.tail], total[:, network.head]) - cap
        settled = (lower >= (1.0 - _SETTLED) * cap).all()
        cap = np.minimum(cap, lower)
        if settled:
            break
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


def highest_v(network: Network, lower_of: IntArray, upper_of: IntArray) -> FloatArray:
    """Return (R,) what no voltage exceeds: the sum of the source voltages.

    A network of two-terminals without amplification gives nowhere more than that.
    """
    source_v = np.array([abs(inverse(c, 0.0)) for c in network.curves.curves])
    source_v[source_v < 1e-3] = 0.0
    total: FloatArray = np.maximum(source_v[lower_of], source_v[upper_of]).sum(axis=1)
    return total


def spread_a(
    network: Network, lower_of: IntArray, upper_of: IntArray, most_v: FloatArray, open_: BoolArray
) -> FloatArray:
    """Return (R, E) amperes between the lower and the upper curve at most, 0 where not open.

    Args:
        network: N nodes, E elements.
        lower_of: (R, E) curves each element is never below.
        upper_of: (R, E) curves it is never above.
        most_v: (R,) what no voltage exceeds.
        open_: (R, E) elements asked for.
    """
    curves = network.curves.curves
    spread = np.zeros(open_.shape)
    known: dict[tuple[int, int, float], float] = {}
    for row, e in np.argwhere(open_).tolist():
        key = (int(lower_of[row, e]), int(upper_of[row, e]), float(most_v[row]))
        if key not in known:
            low, high, volts = curves[key[0]], curves[key[1]], key[2]
            corners = {v for v in (*low.break_v, *high.break_v) if abs(v) < volts}
            known[key] = max(value(high, v) - value(low, v) for v in {-volts, volts} | corners)
        spread[row, e] = max(known[key], 0.0)
    return spread


def stray_a(
    network: Network,
    ends_of: tuple[IntArray, IntArray],
    most_v: FloatArray,
    counted: BoolArray,
    potential: FloatArray,
) -> FloatArray:
    """Return (S, N) twice what leaks and quiet elements carry, the way that hurts most.

    Args:
        network: N nodes, E elements.
        ends_of: (S, E) lower and upper curves.
        most_v: (S,) what no voltage exceeds.
        counted: (E,) elements that are not quiet.
        potential: (S, N) what 1 A through the target does to the node voltages.
    """
    lower_of, upper_of = ends_of
    at_0 = np.array([abs(value(c, 0.0)) for c in network.curves.curves])
    most_s = network.curves.slope_s.max(axis=1)
    stray: FloatArray = 2.0 * LEAK_S * most_v[:, None] * np.sign(potential)
    for e in np.flatnonzero(~counted).tolist():
        tail, head = int(network.tail[e]), int(network.head[e])
        way = np.sign(potential[:, tail] - potential[:, head])
        amps = np.maximum(
            at_0[lower_of[:, e]] + most_s[lower_of[:, e]] * most_v,
            at_0[upper_of[:, e]] + most_s[upper_of[:, e]] * most_v,
        )
        amps *= 2.0 * way * (tail != head)
        stray[:, tail] += amps
        stray[:, head] -= amps
    stray[:, 0] = 0.0
    return stray
