"""Undecided signs decided by taking conductors out: each for what it can drop at most.

A conductor that can carry no more than some current drops no more than a small voltage. Seen
from the rest it is a source of that voltage between its nodes, whatever its resistance. With
the source held the two nodes are one node, and fewer cycles are left to pass an element both
ways. A voltage source in series moves no voltage of a network without amplification by more
than itself: how far the drop held may be from the real one is what the bound has to give.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.curves import inverse
from ringout.circuit.network import Network
from ringout.solve.structure import Signs, Structure

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

BUDGETS_V = (0.02, 0.2)  # what all conductors taken out together may be uncertain by
_ROUNDING_V = 1e-9


@dataclass(frozen=True, eq=False)
class Shrunk:
    """One question over E elements, K of them taken out.

    Args:
        signs: signs of the others.
        open: (E,) elements whose sign matters and is undecided still.
        out: (K,) the elements taken out.
        low_v: (K,) the lowest voltage that can be across each.
        high_v: (K,) the highest.
    """

    signs: Signs
    open: BoolArray
    out: IntArray
    low_v: FloatArray
    high_v: FloatArray

    def doubt_v(self, network: Network, node_v: FloatArray) -> float:
        """Return how far the drops may be from those at (N,) node voltages, altogether."""
        drop = node_v[network.tail[self.out]] - node_v[network.head[self.out]]
        return float(np.maximum(self.high_v - drop, drop - self.low_v).sum())


def drops_v(
    network: Network, lower: IntArray, upper: IntArray, cap_a: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return (K,) the lowest and the highest voltage across elements that carry so much at most.

    Args:
        network: its curves are used.
        lower: (K,) curves each element is never below.
        upper: (K,) curves it is never above.
        cap_a: (K,) amperes it carries at most.
    """
    curves = network.curves.curves
    lowest = np.array([inverse(curves[u], -a) for u, a in zip(upper, cap_a, strict=True)])
    highest = np.array([inverse(curves[o], a) for o, a in zip(lower, cap_a, strict=True)])
    return lowest - _ROUNDING_V, highest + _ROUNDING_V


class Shrinker:
    """Takes elements out of one network; equal questions are answered once.

    Args:
        network: N nodes, E elements.
        counted: (E,) elements that carry current worth the name.
        structure: the structure of those elements.
    """

    def __init__(self, network: Network, counted: BoolArray, structure: Structure) -> None:
        self.network, self.counted, self.structure = network, counted, structure
        self._merged: dict[bytes, tuple[Structure, IntArray]] = {}

    def shrink(
        self,
        pair: tuple[int, int],
        ends_of: tuple[IntArray, IntArray],
        cap_a: FloatArray,
        counts: BoolArray,
        own: int,
    ) -> Shrunk | None:
        """Take elements out until all that count are decided, the least uncertain first.

        Args:
            pair: nodes p and q of the voltage asked for.
            ends_of: (E,) lower and upper curves.
            cap_a: (E,) what each element carries at most.
            counts: (E,) elements whose sign matters.
            own: an element that must stay, or -1.

        Returns:
            The signs, or None where this leaves as many undecided as there were.
        """
        before = self.structure.signs(*pair)
        near = self._near(pair, counts & ~before.decided)
        near = near[near != own]
        low_v, high_v = drops_v(self.network, ends_of[0][near], ends_of[1][near], cap_a[near])
        order = np.argsort(high_v - low_v, kind="stable")
        total_v = np.cumsum((high_v - low_v)[order])
        best: Shrunk | None = None
        least = int(np.count_nonzero(counts & ~before.decided))
        for budget_v in BUDGETS_V:
            chosen = order[total_v <= budget_v]
            if not len(chosen):
                continue
            out = np.zeros(len(counts), dtype=np.bool_)
            out[near[chosen]] = True
            signs = self._signs(*pair, out)
            open_ = counts & ~signs.decided & ~out
            count = int(np.count_nonzero(open_))
            if count < least:
                best = Shrunk(signs, open_, near[chosen], low_v[chosen], high_v[chosen])
                least = count
            if not least:
                break
        return best

    def _near(self, pair: tuple[int, int], open_: BoolArray) -> IntArray:
        """Return the elements between p and q whose resistance may leave a sign open."""
        near = np.zeros(len(open_), dtype=np.bool_)
        bare, modules = self.structure.bare(*pair)
        near[sorted(bare)] = True
        for elements in modules:
            members = sorted(elements)
            near[members] |= bool(open_[members].any())
        return np.flatnonzero(near)

    def _signs(self, p: int, q: int, out: BoolArray) -> Signs:
        key = out.tobytes()
        if key not in self._merged:
            node = _joined(self.network, out)
            merged = Structure(
                self.network.node_count,
                node[self.network.tail],
                node[self.network.head],
                self.counted & ~out,
            )
            self._merged[key] = merged, node
        merged, node = self._merged[key]
        if node[p] == node[q]:  # what is left has no voltage: the drops are all there is
            return Signs(np.zeros(len(out), dtype=np.int64), np.ones(len(out), np.bool_), True)
        return merged.signs(int(node[p]), int(node[q]))


def _joined(network: Network, out: BoolArray) -> IntArray:
    """Return (N,) one node for all that elements taken out join."""
    label = list(range(network.node_count))

    def root(n: int) -> int:
        while label[n] != n:
            label[n] = label[label[n]]
            n = label[n]
        return n

    for e in np.flatnonzero(out).tolist():
        a, b = sorted((root(int(network.tail[e])), root(int(network.head[e]))))
        label[b] = a
    return np.array([root(n) for n in range(network.node_count)], dtype=np.int64)
