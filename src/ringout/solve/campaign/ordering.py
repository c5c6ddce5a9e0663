"""In which order the nodes of a neighbourhood are eliminated."""

from __future__ import annotations

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.jit import kernel
from ringout.solve.campaign.span import Desk, IntArray


@kernel
def end_of(desk: Desk, node: int) -> int:
    """Return the place of an element's end, -1 for PE."""
    place: int = desk.place[node] if node > 0 else -1
    return place


@kernel
def join(tree: Tree, bent: IntArray, desk: Desk, bags: int, n: int) -> None:
    """Find which nodes elements and messages join, and which moving elements touch."""
    joined = desk.joined
    for i in range(n):
        desk.touched[i] = False
        for j in range(n):
            joined[i, j] = False
    for b in range(bags):
        bag = desk.bag[b]
        for k in range(tree.own_first[bag], tree.own_first[bag + 1]):
            e = tree.own[k]
            i, j = end_of(desk, tree.tail[e]), end_of(desk, tree.head[e])
            moves = bent[e] == 1 or desk.changing[e] == 1
            if i >= 0 and j >= 0:
                joined[i, j] = joined[j, i] = True
            if i >= 0 and moves:
                desk.touched[i] = True
            if j >= 0 and moves:
                desk.touched[j] = True
        for k in range(2):
            child = tree.child[bag, k]
            if child >= 0 and desk.mark[child] == 0:
                _join_separator(tree, desk, child)
    if tree.parent[desk.bag[0]] >= 0:
        _join_separator(tree, desk, desk.bag[0])


@kernel
def _join_separator(tree: Tree, desk: Desk, bag: int) -> None:
    first, end = tree.clique_first[bag] + tree.removed[bag], tree.clique_first[bag + 1]
    for k in range(first, end):
        for c in range(first, k):
            i, j = desk.place[tree.clique[k]], desk.place[tree.clique[c]]
            desk.joined[i, j] = desk.joined[j, i] = True


@kernel
def _around(desk: Desk, i: int, n: int) -> int:
    """List the neighbours of a node that are not eliminated; return how many."""
    degree = 0
    for j in range(n):
        if desk.joined[i, j] and not desk.gone[j]:
            desk.around[degree] = j
            degree += 1
    return degree


@kernel
def _fills(desk: Desk, degree: int, join: int) -> int:
    """Return how many pairs of the neighbours listed are not joined; join them if asked to."""
    fill = 0
    for a in range(degree):
        for b in range(a):
            i, j = desk.around[a], desk.around[b]
            if not desk.joined[i, j]:
                fill += 1
                if join == 1:
                    desk.joined[i, j] = desk.joined[j, i] = True
    return fill


@kernel
def order(desk: Desk, n: int) -> int:
    """Find the order of elimination; return how many come first, being the same in all cases.

    These must not be touched by what moves, nor add more to the rest than they take away.
    """
    for i in range(n):
        desk.gone[i] = False
    fixed, only_still = 0, True
    k = 0
    while k < n:
        best, least = -1, n + 1
        for i in range(n):
            if desk.gone[i] or (only_still and desk.touched[i]):
                continue
            degree = _around(desk, i, n)
            if only_still and degree > 3 and _fills(desk, degree, 0) > degree:
                continue
            if degree < least:
                best, least = i, degree
        if best < 0:
            only_still = False
            continue
        desk.order[k] = best
        desk.gone[best] = True
        _fills(desk, _around(desk, best, n), 1)
        k += 1
        if only_still:
            fixed = k
    return fixed
