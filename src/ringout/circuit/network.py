"""The network as arrays: nodes, two-terminal elements and the curves they may have."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.curves import Curve

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

EARTH = "PE"


@dataclass(frozen=True, eq=False)
class CurveTable:
    """All distinct curves of a network, C of them with at most B breaks, ready for look-up.

    Piece k of curve c carries `intercept_a[c, k] + slope_s[c, k] * v`, where k is the number
    of breaks below v.

    Args:
        curves: the (C) curves.
        break_v: (C, B) breaks, ascending, padded with +inf.
        slope_s: (C, B + 1) slopes, padded with the last one.
        intercept_a: (C, B + 1) currents of the pieces' lines at 0 V, padded likewise.
        count: (C,) number of breaks.
    """

    curves: tuple[Curve, ...]
    break_v: FloatArray
    slope_s: FloatArray
    intercept_a: FloatArray
    count: IntArray

    @staticmethod
    def of(curves: Sequence[Curve]) -> CurveTable:
        """Return the table of curves, in their order."""
        count = np.array([len(c.break_v) for c in curves], dtype=np.int64)
        most = int(count.max(initial=0))
        break_v = np.full((len(curves), most), np.inf)
        slope_s = np.empty((len(curves), most + 1))
        intercept_a = np.empty((len(curves), most + 1))
        for row, curve in enumerate(curves):
            used = len(curve.break_v)
            break_v[row, :used] = curve.break_v
            slope_s[row, : used + 1] = curve.slope_s
            slope_s[row, used + 1 :] = curve.slope_s[-1]
            intercepts = curve.intercepts_a()
            intercept_a[row, : used + 1] = intercepts
            intercept_a[row, used + 1 :] = intercepts[-1]
        for array in (break_v, slope_s, intercept_a, count):
            array.setflags(write=False)
        return CurveTable(tuple(curves), break_v, slope_s, intercept_a, count)


@dataclass(frozen=True, eq=False)
class Network:
    """N nodes joined by E two-terminal elements; node 0 is PE, the reference at 0 V.

    What an element does is chosen case by case: a case is an (E,) array of curve numbers.

    Args:
        node_names: (N) names as the user knows them.
        tail: (E,) node where positive current enters.
        head: (E,) node where it leaves.
        element_names: (E) names as the user knows them.
        curves: the curves to choose from.
    """

    node_names: tuple[str, ...]
    tail: IntArray
    head: IntArray
    element_names: tuple[str, ...]
    curves: CurveTable

    @property
    def node_count(self) -> int:
        """Return N."""
        return len(self.node_names)

    @property
    def element_count(self) -> int:
        """Return E."""
        return len(self.element_names)


class NetworkBuilder:
    """Collects nodes, elements and curves; node 0, PE, is there from the start."""

    def __init__(self) -> None:
        self._nodes: list[str] = [EARTH]
        self._elements: list[str] = []
        self._tail: list[int] = []
        self._head: list[int] = []
        self._curves: dict[Curve, int] = {}

    def add_node(self, name: str) -> int:
        """Add a node and return its number."""
        self._nodes.append(name)
        return len(self._nodes) - 1

    def add_element(self, name: str, tail: int, head: int) -> int:
        """Add an element between two nodes that exist and return its number."""
        for node in (tail, head):
            if not 0 <= node < len(self._nodes):
                raise ValueError(f"element {name}: there is no node {node}")
        self._elements.append(name)
        self._tail.append(tail)
        self._head.append(head)
        return len(self._elements) - 1

    def add_curve(self, curve: Curve) -> int:
        """Return the number of a curve; equal curves share one number."""
        return self._curves.setdefault(curve, len(self._curves))

    def build(self) -> Network:
        """Return the network; the builder may go on being used."""
        tail = np.array(self._tail, dtype=np.int64)
        head = np.array(self._head, dtype=np.int64)
        tail.setflags(write=False)
        head.setflags(write=False)
        return Network(
            tuple(self._nodes),
            tail,
            head,
            tuple(self._elements),
            CurveTable.of(tuple(self._curves)),
        )


def curve_text(curve: Curve) -> str:
    """Return a curve in one line: ohms, or its end slopes and corner points."""
    if curve.is_linear and curve.base_a == 0.0:
        return f"{1.0 / curve.slope_s[0]:.6g} ohm"
    if curve.is_linear:
        return f"{1.0 / curve.slope_s[0]:.6g} ohm, {curve.base_a:.6g} A at 0 V"
    corners = zip(curve.break_v, curve.break_a(), strict=True)
    inner = "  ".join(f"({v:.6g} V, {i:.6g} A)" for v, i in corners)
    return f"{curve.slope_s[0]:.6g} S  {inner}  {curve.slope_s[-1]:.6g} S"


def dump_text(network: Network, curve_of: IntArray) -> str:
    """Return one case as text, one line per element, in the order of the network.

    Args:
        network: N nodes, E elements.
        curve_of: (E,) curve of each element.

    Returns:
        Lines `name: tail > head: curve`, after a line that counts nodes and elements.
    """
    names = network.node_names
    lines = [f"{network.node_count} nodes, {network.element_count} elements; reference {names[0]}"]
    for number, name in enumerate(network.element_names):
        tail, head = names[int(network.tail[number])], names[int(network.head[number])]
        text = curve_text(network.curves.curves[int(curve_of[number])])
        lines.append(f"{name}: {tail} > {head}: {text}")
    return "\n".join(lines) + "\n"
