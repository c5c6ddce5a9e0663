"""What a small current does at an operating point."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.network import Network
from ringout.solve.newton import CHUNK_CELLS, LEAK_S, Solution, plan_of
from ringout.solve.order import assemble, factorise, solve

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]


def adjoint_v(
    network: Network, curve_of: IntArray, node_v: FloatArray, pairs: IntArray
) -> FloatArray:
    """Return what 1 A from one node to another does to every voltage, linearised.

    Args:
        network: N nodes, E elements.
        curve_of: (S, E) curve numbers.
        node_v: (S, N) operating points.
        pairs: (S, 2) nodes the ampere goes in at, and comes out of.

    Returns:
        (S, N) change of the node voltages in volts per ampere; NaN where `node_v` is.
    """
    plan = plan_of(network)
    result = np.empty(node_v.shape)
    step = max(1, CHUNK_CELLS // max(network.element_count, 1))
    for low in range(0, len(node_v), step):
        rows = slice(low, low + step)
        across = node_v[rows][:, network.tail] - node_v[rows][:, network.head]
        piece = np.zeros(across.shape, dtype=np.int64)
        for b in range(network.curves.break_v.shape[1]):
            piece += across > network.curves.break_v[curve_of[rows], b]
        slope = network.curves.slope_s[curve_of[rows], piece]
        factor = factorise(plan, assemble(plan, np.ascontiguousarray(slope.T), LEAK_S))
        ampere = np.zeros((network.node_count, len(across)))
        every = np.arange(len(across))
        np.add.at(ampere, (pairs[rows, 0], every), 1.0)
        np.add.at(ampere, (pairs[rows, 1], every), -1.0)
        result[rows] = solve(factor, ampere).T
    result[np.isnan(node_v).any(axis=1)] = np.nan
    return result


def driving_point_ohm(
    network: Network, solution: Solution, curve_of: IntArray, pairs: IntArray
) -> FloatArray:
    """Return the small-signal resistance seen between two nodes of each case.

    Args:
        network: N nodes, E elements.
        solution: S solved cases.
        curve_of: (S, E) their curves.
        pairs: (S, 2) nodes.

    Returns:
        (S,) ohms; nodes joined by nothing but leaks show some 1 GOhm.
    """
    potential = adjoint_v(network, curve_of, solution.node_v, pairs)
    every = np.arange(len(pairs))
    return potential[every, pairs[:, 0]] - potential[every, pairs[:, 1]]
