"""Which bags and nodes a neighbourhood takes."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.cases import Cases
from ringout.solve.campaign.jit import called, kernel

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


class More(NamedTuple):
    """Bags that are to belong to neighbourhoods besides what their cases need.

    Args:
        first: (H + 1,) start of each neighbourhood's bags in `bag`.
        bag: bags.
    """

    first: IntArray
    bag: IntArray


class Desk(NamedTuple):
    """Room to compile a neighbourhood of up to M nodes in.

    Args:
        mark: (B,) 1 for bags taken; zero between two neighbourhoods.
        place: (N,) place of each node; -1 between two.
        changing: (E,) 1 for elements that cases change; zero between two.
        bag: (B,) bags taken.
        node: (M,) nodes found.
        order: (M,) places in order of elimination.
        joined: (M, M) which are joined, with what elimination adds.
        touched: (M,) which a moving element touches.
        gone: (M,) which are eliminated.
        around: (M,) neighbours of one.
    """

    mark: IntArray
    place: IntArray
    changing: IntArray
    bag: IntArray
    node: IntArray
    order: IntArray
    joined: BoolArray
    touched: BoolArray
    gone: BoolArray
    around: IntArray


def desk_of(tree: Tree, most: int) -> Desk:
    """Return room for neighbourhoods of up to this many nodes."""

    def ints(size: int, value: int = 0) -> IntArray:
        return np.full(size, value, dtype=np.int64)

    bags, nodes, elements = len(tree.parent), len(tree.home), len(tree.tail)
    return Desk(
        ints(bags),
        ints(nodes, -1),
        ints(elements),
        ints(bags),
        ints(most),
        ints(most),
        np.zeros((most, most), dtype=np.bool_),
        np.zeros(most, dtype=np.bool_),
        np.zeros(most, dtype=np.bool_),
        ints(most),
    )


@called
def mark_changes(tree: Tree, cases: Cases, desk: Desk, h: int, mark: int) -> int:
    """Mark the elements that cases change; take their bags, if it is so, and return how many."""
    count = 0
    first, end = cases.fault_first[h], cases.fault_first[h + 1]
    for k in range(cases.fault_change[first], cases.fault_change[end]):
        desk.changing[cases.fault[k, 0]] = mark
        if mark:
            count = _take(desk, tree.bag_of[cases.fault[k, 0]], count)
    first, end = cases.state_first[h], cases.state_first[h + 1]
    for k in range(cases.state_change[first], cases.state_change[end]):
        desk.changing[cases.state[k, 0]] = mark
        if mark:
            count = _take(desk, tree.bag_of[cases.state[k, 0]], count)
    return count


@kernel
def _take(desk: Desk, bag: int, count: int) -> int:
    """Mark a bag as taken; return how many are."""
    if desk.mark[bag]:
        return count
    desk.mark[bag] = 1
    desk.bag[count] = bag
    return count + 1


@kernel
def _take_node(tree: Tree, desk: Desk, node: int, count: int) -> int:
    """Take the bag that eliminates a node, unless one that is taken has it already."""
    inside = node == 0
    for b in range(count):
        bag = desk.bag[b]
        for c in range(tree.clique_first[bag], tree.clique_first[bag + 1]):
            inside |= tree.clique[c] == node
    return count if inside else _take(desk, tree.home[node], count)


@kernel
def span(tree: Tree, cases: Cases, more: More, desk: Desk, h: int, count: int) -> int:
    """Take the bags of what is read, and those that join all; return how many there are."""
    for k in range(cases.read_first[h], cases.read_first[h + 1]):
        if cases.read[k, 2] >= 0:
            count = _take(desk, tree.bag_of[cases.read[k, 2]], count)
    for k in range(more.first[h], more.first[h + 1]):
        count = _take(desk, more.bag[k], count)
    for end in range(2):
        for k in range(cases.read_first[h], cases.read_first[h + 1]):
            count = _take_node(tree, desk, cases.read[k, end], count)
        for k in range(cases.limit_first[h], cases.limit_first[h + 1]):
            count = _take_node(tree, desk, cases.limit[k, end], count)
    if count == 0:
        count = _take(desk, len(tree.parent) - 1, count)
    return _connect(tree, desk, count)


@kernel
def _connect(tree: Tree, desk: Desk, count: int) -> int:
    """Take the bags that join those taken; return how many, and list them, the top first."""
    # bags are numbered from the leaves up, so the least open one can be closed for good
    bag = len(tree.parent)
    for k in range(count):
        bag = min(bag, desk.bag[k])
    opened, size = count, 0
    while True:
        if desk.mark[bag]:
            desk.bag[size] = bag
            size += 1
            if opened == 1:
                break
            above = tree.parent[bag]
            if desk.mark[above]:
                opened -= 1
            desk.mark[above] = 1
        bag += 1
    for k in range(size // 2):
        other = size - 1 - k
        desk.bag[k], desk.bag[other] = desk.bag[other], desk.bag[k]
    return size


@kernel
def list_nodes(tree: Tree, desk: Desk, bags: int) -> int:
    """List the nodes of the bags, as far as there is room; return how many they are."""
    n = 0
    for b in range(bags):
        bag = desk.bag[b]
        for k in range(tree.clique_first[bag], tree.clique_first[bag + 1]):
            node = tree.clique[k]
            if desk.place[node] < 0:
                desk.place[node] = n
                if n < len(desk.node):
                    desk.node[n] = node
                n += 1
    return n
