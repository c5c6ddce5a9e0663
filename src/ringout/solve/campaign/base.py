"""A base state: solved beyond a double, with its messages and how far they reach."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.network import Network
from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.lanes import SAME_A
from ringout.solve.campaign.messages import Base, Lines, empty_messages, make_all, scratch_of
from ringout.solve.campaign.pieces import Table
from ringout.solve.campaign.reach import empty_reach, reach_all, spread_of
from ringout.solve.campaign.run import Ground
from ringout.solve.newton import LEAK_S, solve_cases

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

_ROUNDS = 3  # of refinement; what is left over falls by some ten decades in each
_CORNERS = 8  # times refining may take elements across a corner


class SolvedBase:
    """One base state.

    Args:
        network: N nodes, E elements.
        tree: its tree.
        table: its curves.
        curve_of: (E,) curve numbers.
        node_v: (N,) its solution by the reference engine.
    """

    def __init__(
        self, network: Network, tree: Tree, table: Table, curve_of: IntArray, node_v: FloatArray
    ) -> None:
        self.network, self.table, self.curve_of, self.node_v = network, table, curve_of, node_v
        self.rest_v: FloatArray = np.zeros(network.node_count)
        self.piece = self._pieces(self._across())
        messages, scratch, reach = empty_messages(tree), scratch_of(tree), empty_reach(tree)
        self.settled = False
        for _ in range(_CORNERS):
            for _ in range(_ROUNDS):
                move_v = np.zeros(network.node_count)
                make_all(tree, *self._balance(), messages, scratch, move_v)
                self.rest_v += move_v
            if not self._strayed():
                self.settled = True
                break
        base, lines = self._balance()
        make_all(tree, base, lines, messages, scratch, np.zeros(network.node_count))
        reach_all(tree, base, lines, messages, reach, spread_of(tree))
        self.ground = Ground(tree, table, base, lines, messages, reach)

    def _across(self) -> FloatArray:
        """Return the voltages of the elements, without adding what is far smaller first."""
        tail, head = self.network.tail, self.network.head
        across: FloatArray = self.node_v[tail] - self.node_v[head]
        return across + (self.rest_v[tail] - self.rest_v[head])

    def _pieces(self, across_v: FloatArray) -> IntArray:
        """Return the piece each element is on; one on a corner stays where it is first found."""
        piece = np.zeros(len(self.curve_of), dtype=np.int64)
        for b in range(self.table.break_v.shape[1]):
            piece += across_v > self.table.break_v[self.curve_of, b]
        return piece

    def _strayed(self) -> bool:
        """Put elements that refining took off their piece on the next one; tell whether any was."""
        table, c, piece, across = self.table, self.curve_of, self.piece, self._across()
        low, high = _ends(table, c, piece)
        step = np.where(across > high, 1, np.where(across < low, -1, 0))
        over = np.where(step > 0, across - high, np.where(step < 0, low - across, 0.0))
        steeper = np.maximum(table.slope_s[c, piece], table.slope_s[c, piece + step])
        off = over * steeper > SAME_A
        piece[off] += step[off]
        return bool(off.any())

    def _balance(self) -> tuple[Base, Lines]:
        """Return voltages and currents, and what the currents leave over at the nodes."""
        network, table, c, piece = self.network, self.table, self.curve_of, self.piece
        across = self._across()
        slope = table.slope_s[c, piece]
        current = slope * across + table.intercept_a[c, piece]
        rest = np.zeros(network.node_count, dtype=np.longdouble)
        np.add.at(rest, network.tail, -current.astype(np.longdouble))
        np.add.at(rest, network.head, current.astype(np.longdouble))
        rest -= np.longdouble(LEAK_S) * self.node_v
        rest -= np.longdouble(LEAK_S) * self.rest_v
        rest[0] = 0.0
        low, high = _ends(table, c, piece)
        base = Base(
            self.node_v + self.rest_v,
            across,
            current,
            rest.astype(np.float64),
            (table.breaks[c] > 0).astype(np.int64),
            LEAK_S,
        )
        return base, Lines(slope, np.zeros(len(c)), low, high, c)


def _ends(table: Table, curve_of: IntArray, piece: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return where pieces of curves begin and end."""
    inside = np.arange(table.break_v.shape[1]) < table.breaks[:, None]
    far = np.full((len(table.breaks), 1), np.inf)
    breaks = np.concatenate([-far, np.where(inside, table.break_v, np.inf), far], axis=1)
    return breaks[curve_of, piece], breaks[curve_of, piece + 1]


def solved_base(
    network: Network, tree: Tree, table: Table, curve_of: IntArray
) -> SolvedBase | None:
    """Return a base state of (E,) curves, or None when it could not be solved."""
    solution = solve_cases(network, curve_of[None, :])
    if not bool(solution.solved[0]):
        return None
    base = SolvedBase(network, tree, table, curve_of.copy(), solution.node_v[0].copy())
    return base if base.settled else None
