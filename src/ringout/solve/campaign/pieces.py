"""The pieces of all curves, as the kernels look them up."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.network import Network
from ringout.solve.campaign.jit import kernel

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]


class Table(NamedTuple):
    """The curves: breaks (C, K), slopes and intercepts (C, K + 1), breaks of each (C,)."""

    break_v: FloatArray
    slope_s: FloatArray
    intercept_a: FloatArray
    breaks: IntArray


def at_rest_a(table: Table, curve_of: IntArray) -> FloatArray:
    """Return the currents of curves at 0 V."""
    piece = (table.break_v[curve_of] < 0.0).sum(axis=1)
    return np.asarray(table.intercept_a[curve_of, piece])


def table_of(network: Network) -> Table:
    """Return the curves of a network."""
    curves = network.curves
    return Table(
        np.array(curves.break_v),
        np.array(curves.slope_s),
        np.array(curves.intercept_a),
        np.array(curves.count),
    )


@kernel
def piece_at(table: Table, curve: int, v: float) -> int:
    """Return the piece of a curve at a voltage: the number of breaks below it."""
    k = 0
    while k < table.breaks[curve] and table.break_v[curve, k] < v:
        k += 1
    return k


@kernel
def low_of(table: Table, curve: int, piece: int) -> float:
    """Return where a piece begins."""
    low: float = table.break_v[curve, piece - 1] if piece > 0 else -np.inf
    return low


@kernel
def high_of(table: Table, curve: int, piece: int) -> float:
    """Return where a piece ends."""
    high: float = table.break_v[curve, piece] if piece < table.breaks[curve] else np.inf
    return high
