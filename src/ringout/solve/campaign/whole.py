"""The whole of a case: every voltage and current, from what is known in a part of the network.

Beyond what was solved or followed every element is on its piece of the base, so that each voltage
follows from those of a separator: first up to the root by the messages that came down, then down
everywhere by those that came up.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.jit import called, kernel
from ringout.solve.campaign.lanes import LANES, Lanes
from ringout.solve.campaign.local import Local
from ringout.solve.campaign.messages import Base, Lines, Messages, is_kept

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]


class Whole(NamedTuple):
    """Where whole cases go, and room to find them in.

    Args:
        row: row of each case in what follows; empty when no whole cases are wanted.
        node_v: (S, N) voltages.
        element_a: (S, E) currents.
        move: (N, LANES) changes of the voltages against the base, PE's 0 V first.
        known: (N,) 1 where they are found.
    """

    row: IntArray
    node_v: FloatArray
    element_a: FloatArray
    move: FloatArray
    known: IntArray


def whole_of(tree: Tree, row: IntArray, node_v: FloatArray, element_a: FloatArray) -> Whole:
    """Return the place for whole cases, with room to work in."""
    nodes = len(tree.home)
    known = np.zeros(nodes, dtype=np.int64)
    return Whole(row, node_v, element_a, np.zeros((nodes, LANES)), known)


def nothing_whole() -> Whole:
    """Return what stands for no whole cases being wanted."""
    none = np.zeros(0, dtype=np.int64)
    return Whole(none, np.zeros((0, 0)), np.zeros((0, 0)), np.zeros((0, LANES)), none)


@kernel
def forget(whole: Whole) -> None:
    """Begin with nothing known but PE."""
    for n in range(len(whole.known)):
        whole.known[n] = 0
    whole.known[0] = 1


@called
def spread(tree: Tree, messages: Messages, top: int, width: int, whole: Whole) -> None:
    """Find all voltages not known in the first lanes, from a bag whose separator is known."""
    bag = top
    while tree.parent[bag] >= 0:
        _spread_up(tree, messages, bag, width, whole)
        bag = tree.parent[bag]
    move, known = whole.move, whole.known
    for bag in range(len(tree.parent) - 1, -1, -1):
        first = tree.clique_first[bag]
        if tree.removed[bag] == 0 or known[tree.clique[first]]:
            continue
        n = tree.clique[first]
        known[n] = 1
        for lane in range(width):
            move[n, lane] = messages.up_v[bag]
        for k in range(first + 1, tree.clique_first[bag + 1]):
            m, share = tree.clique[k], messages.up_share[k]
            for lane in range(width):
                move[n, lane] += share * move[m, lane]


@kernel
def _spread_up(tree: Tree, messages: Messages, bag: int, width: int, whole: Whole) -> None:
    """Find the voltages of the bag above another."""
    move, known = whole.move, whole.known
    first = tree.clique_first[tree.parent[bag]]
    w = tree.clique_first[tree.parent[bag] + 1] - first
    s = tree.solved_first[bag + 1]
    for p in range(w - 1, -1, -1):
        if is_kept(tree, bag, p):
            continue
        s -= w + 2
        n = tree.clique[first + p]
        if known[n]:
            continue
        known[n] = 1
        for lane in range(width):
            move[n, lane] = messages.down_solved[s + w]
        for j in range(w):
            share = messages.down_solved[s + j]
            if share != 0.0:
                m = tree.clique[first + j]
                for lane in range(width):
                    move[n, lane] += share * move[m, lane]


@called
def write_whole(tree: Tree, base: Base, lines: Lines, first: int, width: int, whole: Whole) -> None:
    """Write the first lanes as the cases from `first` on, all elements on the lines given."""
    move, row = whole.move, whole.row
    for n in range(len(base.node_v)):
        for lane in range(width):
            whole.node_v[row[first + lane], n] = base.node_v[n] + move[n, lane]
    for e in range(len(tree.tail)):
        a, b = tree.tail[e], tree.head[e]
        slope, current_a = lines.slope_s[e], base.current_a[e] - lines.put_a[e]
        for lane in range(width):
            change = slope * (move[a, lane] - move[b, lane])
            whole.element_a[row[first + lane], e] = current_a + change


@kernel
def write_moving(
    tree: Tree, local: Local, first: int, width: int, room: Lanes, whole: Whole
) -> None:
    """Write the currents of the moving elements, each lane on lines of its own."""
    for v in range(len(local.moving)):
        e = local.moving[v]
        a, b = tree.tail[e], tree.head[e]
        for lane in range(width):
            change = room.slope[v, lane] * (whole.move[a, lane] - whole.move[b, lane])
            current_a = room.current_a[v] - room.line[v, lane]
            whole.element_a[whole.row[first + lane], e] = current_a + change
