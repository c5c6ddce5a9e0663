"""How far a separator may move before an element beyond it changes its piece.

For each separator and direction a bound is kept per coordinate: sum over coordinates of
|move| * reach < 1 means that no element beyond leaves its piece. The last node of a separator is a
coordinate, with which all others move; each other node is one against its *lead*, the node towards
the last one that it is joined to best, and takes those along that it leads. So a signal that
follows its supply, and a shift common to all, count for what they are: next to nothing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.jit import entry, kernel
from ringout.solve.campaign.messages import Base, Lines, Messages

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_LEAST_V = 1e-15  # a base as close to a corner as this counts as that close


class Reach(NamedTuple):
    """Bounds of all separators, at their places in `clique`.

    Args:
        up: (places, 2) for what hangs below: per volt upwards, and downwards.
        down: (places, 2) for everything else.
        lead: (places,) place of each node's lead, -1 for the last of a separator.
    """

    up: FloatArray
    down: FloatArray
    lead: IntArray


class Spread(NamedTuple):
    """Room: what each coordinate of a separator moves the nodes of a clique by, and its bounds.

    Args:
        moved: (W, W) shares.
        bound: (W, 2) bounds found so far.
        kept: (W,) marks.
    """

    moved: FloatArray
    bound: FloatArray
    kept: IntArray


def empty_reach(tree: Tree) -> Reach:
    """Return room for the bounds of a tree."""
    places = len(tree.clique)
    return Reach(np.zeros((places, 2)), np.zeros((places, 2)), np.full(places, -1))


def spread_of(tree: Tree) -> Spread:
    """Return room to work in."""
    w = tree.widest
    return Spread(np.zeros((w, w)), np.zeros((w, 2)), np.zeros(w, dtype=np.int64))


@kernel
def strain(tree: Tree, reach: Reach, down: int, node_v: FloatArray, bag: int) -> float:
    """Return the bound for the moves of a bag's separator; below 1 nothing changes its piece."""
    bound = reach.down if down else reach.up
    total = 0.0
    for k in range(tree.clique_first[bag] + tree.removed[bag], tree.clique_first[bag + 1]):
        move = node_v[tree.clique[k]]
        if reach.lead[k] >= 0:
            move -= node_v[tree.clique[reach.lead[k]]]
        total += max(move * bound[k, 0], -move * bound[k, 1])
    return total


@kernel
def _choose_leads(tree: Tree, messages: Messages, lead: IntArray, bag: int, kept: IntArray) -> None:
    """Span a bag's separator by its best conductances, from the last node on."""
    first, end = tree.clique_first[bag] + tree.removed[bag], tree.clique_first[bag + 1]
    m = end - first
    for k in range(m):
        kept[k] = 1 if k == m - 1 else 0
        lead[first + k] = -1
    for _ in range(m - 1):
        node, at, most = -1, -1, -1.0
        for j in range(1, m):
            for i in range(j):
                if kept[i] == kept[j]:
                    continue
                t = tree.tri_first[bag] + j * (j + 1) // 2 + i
                joined = messages.up_s[t] + messages.down_s[t]
                if joined > most:
                    most = joined
                    node, at = (i, j) if kept[j] else (j, i)
        kept[node] = 1
        lead[first + node] = first + at


@kernel
def _elements(tree: Tree, base: Base, lines: Lines, bag: int, m: int, room: Spread) -> None:
    """Let the bag's own elements count for m coordinates."""
    moved, bound = room.moved, room.bound
    for k in range(tree.own_first[bag], tree.own_first[bag + 1]):
        e = tree.own[k]
        if not base.bent[e]:
            continue
        a, b = tree.own_tail[k], tree.own_head[k]
        up = 1.0 / max(lines.high_v[e] - base.across_v[e], _LEAST_V)
        down = 1.0 / max(base.across_v[e] - lines.low_v[e], _LEAST_V)
        for q in range(m):
            c = (moved[a, q] if a >= 0 else 0.0) - (moved[b, q] if b >= 0 else 0.0)
            bound[q, 0] = max(bound[q, 0], c * up, -c * down)
            bound[q, 1] = max(bound[q, 1], c * down, -c * up)


@kernel
def _beyond(tree: Tree, reach: Reach, down: int, bag: int, m: int, room: Spread) -> None:
    """Let what lies beyond a bag's separator count for m coordinates of another one.

    Nodes have their places in the bag's own clique, or, for what hangs below, in its parent's.
    """
    moved, bound = room.moved, room.bound
    beyond = reach.down if down else reach.up
    first = tree.clique_first[bag]
    for q in range(m):
        up, low = 0.0, 0.0
        for k in range(first + tree.removed[bag], tree.clique_first[bag + 1]):
            c = moved[k - first if down else tree.place[k], q]
            lead = reach.lead[k]
            if lead >= 0:
                c -= moved[lead - first if down else tree.place[lead], q]
            up += max(c * beyond[k, 0], -c * beyond[k, 1])
            low += max(c * beyond[k, 1], -c * beyond[k, 0])
        bound[q, 0] = max(bound[q, 0], up)
        bound[q, 1] = max(bound[q, 1], low)


@kernel
def _move(tree: Tree, reach: Reach, bag: int, above: int, room: Spread) -> int:
    """Fill in what each coordinate of a separator moves its nodes by; return how many there are.

    Nodes have their places in the bag's clique, or with `above` in its parent's.
    """
    at, end = tree.clique_first[bag] + tree.removed[bag], tree.clique_first[bag + 1]
    owner = tree.parent[bag] if above else bag
    for p in range(tree.clique_first[owner + 1] - tree.clique_first[owner]):
        room.kept[p] = 0
        for q in range(end - at):
            room.moved[p, q] = 0.0
    for q in range(end - at):
        room.bound[q, 0] = room.bound[q, 1] = 0.0
        p = tree.place[at + q] if above else tree.removed[bag] + q
        room.kept[p] = 1
        k = at + q
        while k >= 0:
            room.moved[p, k - at] = 1.0
            k = reach.lead[k]
    return int(end - at)


@kernel
def _bound_up(
    tree: Tree, base: Base, lines: Lines, messages: Messages, reach: Reach, bag: int, room: Spread
) -> None:
    """Find the bounds of what hangs below a bag's separator."""
    m = _move(tree, reach, bag, 0, room)
    first, shift = tree.clique_first[bag], tree.removed[bag]
    if shift:
        for p in range(1, m + 1):
            for q in range(m):
                room.moved[0, q] += messages.up_share[first + p] * room.moved[p, q]
    _elements(tree, base, lines, bag, m, room)
    for k in range(2):
        if tree.child[bag, k] >= 0:
            _beyond(tree, reach, 0, tree.child[bag, k], m, room)
    for q in range(m):
        reach.up[first + shift + q, 0] = room.bound[q, 0]
        reach.up[first + shift + q, 1] = room.bound[q, 1]


@kernel
def _bound_down(
    tree: Tree, base: Base, lines: Lines, messages: Messages, reach: Reach, bag: int, room: Spread
) -> None:
    """Find the bounds of all that is not below a bag's separator."""
    m = _move(tree, reach, bag, 1, room)
    above = tree.parent[bag]
    w = tree.clique_first[above + 1] - tree.clique_first[above]
    s = tree.solved_first[bag + 1]
    for p in range(w - 1, -1, -1):
        if room.kept[p]:
            continue
        s -= w + 2
        for j in range(w):
            share = messages.down_solved[s + j]
            if share != 0.0:
                for q in range(m):
                    room.moved[p, q] += share * room.moved[j, q]
    _elements(tree, base, lines, above, m, room)
    _beyond(tree, reach, 1, above, m, room)
    for k in range(2):
        other = tree.child[above, k]
        if other >= 0 and other != bag:
            _beyond(tree, reach, 0, other, m, room)
    at = tree.clique_first[bag] + tree.removed[bag]
    for q in range(m):
        reach.down[at + q, 0] = room.bound[q, 0]
        reach.down[at + q, 1] = room.bound[q, 1]


@entry
def reach_all(
    tree: Tree, base: Base, lines: Lines, messages: Messages, reach: Reach, room: Spread
) -> None:
    """Fill in the bounds of a base."""
    count = len(tree.parent)
    for bag in range(count - 1):
        _choose_leads(tree, messages, reach.lead, bag, room.kept)
    for bag in range(count - 1):
        _bound_up(tree, base, lines, messages, reach, bag, room)
    for bag in range(count - 2, -1, -1):
        _bound_down(tree, base, lines, messages, reach, bag, room)
