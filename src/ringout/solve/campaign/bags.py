"""Tree of small separators of a network, from its elimination order.

Each eliminated node with its neighbours at that moment is a *bag*; it hangs on the bag of the
neighbour eliminated first. What a bag shares with its parent is a separator: all current between
the part below and the rest passes through these few nodes. A bag with many children gets joining
bags in between, so that no bag has more than two; work at a hub then grows with the logarithm.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.network import Network
from ringout.solve.order import Plan

IntArray = NDArray[np.int64]


class Tree(NamedTuple):
    """Bags of a network, children before parents, the root (an empty bag) last.

    A bag's clique is its eliminated node, if it has one, and then its separator. `tri` counts
    the m (m + 1) / 2 conductances of a message between the m nodes of a separator.

    Args:
        clique_first: (B + 1,) where each clique starts in `clique`.
        clique: nodes.
        place: for each separator node of `clique` its place in the parent's clique.
        removed: (B,) 1 when the bag eliminates its first node, else 0.
        parent: (B,) bag, -1 for the root.
        child: (B, 2) bags, -1 for none.
        tri_first: (B + 1,) start of each bag's message conductances.
        solved_first: (B + 1,) start of what `make_down` notes for each bag.
        own_first: (B + 1,) start of each bag's own elements in `own`.
        own: elements.
        own_tail: place of the element's tail in the bag's clique, -1 for PE.
        own_head: likewise.
        home: (N,) bag that eliminates each node, -1 for PE.
        bag_of: (E,) bag that owns each element, -1 for one that joins a node to itself.
        tail: (E,) node where positive current enters.
        head: (E,) node where it leaves.
        widest: size of the largest clique, at least 1.
    """

    clique_first: IntArray
    clique: IntArray
    place: IntArray
    removed: IntArray
    parent: IntArray
    child: IntArray
    tri_first: IntArray
    solved_first: IntArray
    own_first: IntArray
    own: IntArray
    own_tail: IntArray
    own_head: IntArray
    home: IntArray
    bag_of: IntArray
    tail: IntArray
    head: IntArray
    widest: int


@dataclass(slots=True)
class _Bag:
    clique: tuple[int, ...]
    removed: int
    children: list[int] = field(default_factory=list)

    @property
    def separator(self) -> tuple[int, ...]:
        return self.clique[self.removed :]


def compile_tree(network: Network, plan: Plan) -> Tree:
    """Return the tree of a network.

    Args:
        network: N nodes, E elements.
        plan: its elimination plan.

    Returns:
        The tree; it serves every choice of curves.
    """
    bags, rank = _eliminated(plan)
    root = _hang(bags, rank)
    order, parent = _postorder(bags, root)
    return _arrays(network, bags, order, parent)


def _eliminated(plan: Plan) -> tuple[list[_Bag], list[int]]:
    """Return one bag per node in order of elimination, and each node's place in that order."""
    rank = [0] * plan.node_count
    count = 0
    for level in plan.levels:
        for node in level.node.tolist():
            rank[node] = count
            count += 1
    bags = []
    for level in plan.levels:
        edges = np.searchsorted(level.owner, np.arange(len(level.node) + 1)).tolist()
        near = level.neighbour.tolist()
        for k, node in enumerate(level.node.tolist()):
            around = sorted(near[edges[k] : edges[k + 1]], key=rank.__getitem__)
            bags.append(_Bag((node, *around), 1))
    return bags, rank


def _hang(bags: list[_Bag], rank: list[int]) -> int:
    """Hang each bag on its parent, by way of joining bags; return the root, which is added."""
    count = len(bags)
    bags.append(_Bag((), 0))
    for number in range(count):
        separator = bags[number].separator
        bags[rank[separator[0]] if separator else count].children.append(number)
    for number in range(count + 1):
        hung = bags[number].children
        hung.sort(key=lambda b: [-rank[n] for n in reversed(bags[b].separator)])
        while len(hung) > 2:
            pairs = []
            for k in range(0, len(hung) - 1, 2):
                a, b = hung[k], hung[k + 1]
                union = {*bags[a].separator, *bags[b].separator}
                bags.append(_Bag(tuple(sorted(union, key=rank.__getitem__)), 0, [a, b]))
                pairs.append(len(bags) - 1)
            if len(hung) % 2:
                pairs.append(hung[-1])
            hung = pairs
        bags[number].children = hung
    return count


def _postorder(bags: list[_Bag], root: int) -> tuple[list[int], list[int]]:
    """Return bags with children before parents, and each one's parent by its old number."""
    order: list[int] = []
    parent = [-1] * len(bags)
    stack = [root]
    while stack:
        bag = stack.pop()
        order.append(bag)
        for c in bags[bag].children:
            parent[c] = bag
            stack.append(c)
    return order[::-1], parent


def _arrays(network: Network, bags: list[_Bag], order: list[int], parent: list[int]) -> Tree:
    number_of = {old: new for new, old in enumerate(order)}
    count = len(order)
    clique: list[int] = []
    place: list[int] = []
    removed: list[int] = []
    first, tri, solved = [0], [0], [0]
    child = np.full((count, 2), -1, dtype=np.int64)
    up = np.full(count, -1, dtype=np.int64)
    home = np.full(network.node_count, -1, dtype=np.int64)
    places: list[dict[int, int]] = [{n: k for k, n in enumerate(bags[old].clique)} for old in order]
    for new, old in enumerate(order):
        bag = bags[old]
        clique += bag.clique
        first.append(len(clique))
        removed.append(bag.removed)
        m = len(bag.separator)
        tri.append(tri[-1] + m * (m + 1) // 2)
        if bag.removed:
            home[bag.clique[0]] = new
        for k, c in enumerate(bag.children):
            child[new, k] = number_of[c]
        if parent[old] < 0:
            solved.append(solved[-1])
            continue
        up[new] = number_of[parent[old]]
        above = places[up[new]]
        place += [-1] * bag.removed + [above[n] for n in bag.separator]
        solved.append(solved[-1] + (len(above) - m) * (len(above) + 2))
    bag_of = np.full(network.element_count, -1, dtype=np.int64)
    owned: list[list[tuple[int, int, int]]] = [[] for _ in order]
    for e, (a, b) in enumerate(zip(network.tail.tolist(), network.head.tolist(), strict=True)):
        if a == b:
            continue
        owner = min(int(home[n]) for n in (a, b) if n)
        at = places[owner]
        owned[owner].append((e, at.get(a, -1), at.get(b, -1)))
        bag_of[e] = owner
    flat = [entry for entries in owned for entry in entries]
    own = np.array(flat, dtype=np.int64).reshape(-1, 3)
    own_first = np.concatenate([[0], np.cumsum([len(entries) for entries in owned])])

    def array(values: list[int]) -> IntArray:
        return np.array(values, dtype=np.int64)

    return Tree(
        array(first),
        array(clique),
        array(place),
        array(removed),
        up,
        child,
        array(tri),
        array(solved),
        own_first.astype(np.int64),
        own[:, 0].copy(),
        own[:, 1].copy(),
        own[:, 2].copy(),
        home,
        bag_of,
        np.array(network.tail),
        np.array(network.head),
        max(1, *(len(p) for p in places)),
    )
