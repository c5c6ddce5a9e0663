"""Neighbourhoods written down, field by field, as the kernels unpack them."""

from __future__ import annotations

from typing import NamedTuple

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.jit import called, kernel
from ringout.solve.campaign.ordering import end_of, join, order
from ringout.solve.campaign.span import Desk, IntArray


class Sink(NamedTuple):
    """Where packed neighbourhoods go: words, (H, F + 1) starts of fields, and (1,) words used.

    Words that find no room are counted all the same.
    """

    data: IntArray
    start: IntArray
    used: IntArray


@kernel
def _put(sink: Sink, word: int) -> None:
    if sink.used[0] < len(sink.data):
        sink.data[sink.used[0]] = word
    sink.used[0] += 1


@kernel
def _end(sink: Sink, h: int, field: int) -> None:
    """End a field; begin the next."""
    sink.start[h, field + 1] = sink.used[0]


@kernel
def _pair(sink: Sink, h: int, a: int, b: int) -> int:
    """Return the pair of two places, -1 when one is PE."""
    if a < 0 or b < 0:
        return -1
    i, j = min(a, b), max(a, b)
    near_first, near = sink.start[h, 3], sink.start[h, 4]
    for p in range(sink.data[near_first + i], sink.data[near_first + i + 1]):
        if sink.data[near + p] == j:
            return int(p)
    return -1


@called
def write_area(
    tree: Tree, bent: IntArray, desk: Desk, sink: Sink, h: int, bags: int, n: int
) -> None:
    """Write a neighbourhood, field by field as in `Local`, while there is room."""
    join(tree, bent, desk, bags, n)
    fixed = order(desk, n)
    for k in range(n):
        desk.place[desk.node[desk.order[k]]] = k
    sink.start[h, 0] = sink.used[0]
    _write_nodes(tree, desk, sink, h, n, fixed)
    if sink.used[0] <= len(sink.data):
        _write_mesh(sink, h, n)
    if sink.used[0] <= len(sink.data):
        _write_elements(tree, bent, desk, sink, h, bags)
        _write_edges(tree, desk, sink, h, bags)


@kernel
def _write_nodes(tree: Tree, desk: Desk, sink: Sink, h: int, n: int, fixed: int) -> None:
    for k in range(n):
        _put(sink, desk.node[desk.order[k]])
    _end(sink, h, 0)
    for k in range(n):
        _put(sink, desk.mark[tree.home[desk.node[desk.order[k]]]])
    _end(sink, h, 1)
    _put(sink, fixed)
    _end(sink, h, 2)
    count = 0
    for k in range(n + 1):
        _put(sink, count)
        for j in range(k + 1, n):
            count += 1 if desk.joined[desk.order[k], desk.order[j]] else 0
    _end(sink, h, 3)
    for k in range(n):
        for j in range(k + 1, n):
            if desk.joined[desk.order[k], desk.order[j]]:
                _put(sink, j)
    _end(sink, h, 4)


@kernel
def _write_mesh(sink: Sink, h: int, n: int) -> None:
    near_first, near = sink.start[h, 3], sink.start[h, 4]
    count = 0
    for k in range(n + 1):
        _put(sink, count)
        if k < n and sink.used[0] <= len(sink.data):
            m = sink.data[near_first + k + 1] - sink.data[near_first + k]
            count += m * (m - 1) // 2
    _end(sink, h, 5)
    for k in range(n):
        first, end = sink.data[near_first + k], sink.data[near_first + k + 1]
        for p in range(first, end):
            for q in range(p + 1, end):
                _put(sink, _pair(sink, h, sink.data[near + p], sink.data[near + q]))
    _end(sink, h, 6)


@kernel
def _write_elements(tree: Tree, bent: IntArray, desk: Desk, sink: Sink, h: int, bags: int) -> None:
    """Write the elements that stay still, then those that move."""
    for field in range(7, 15):
        for b in range(bags):
            bag = desk.bag[b]
            for k in range(tree.own_first[bag], tree.own_first[bag + 1]):
                e = tree.own[k]
                moves = bent[e] == 1 or desk.changing[e] == 1
                if moves != (field >= 11):
                    continue
                i, j = end_of(desk, tree.tail[e]), end_of(desk, tree.head[e])
                word = e
                if field in (8, 12):
                    word = i
                elif field in (9, 13):
                    word = j
                elif field in (10, 14):
                    word = _pair(sink, h, i, j)
                _put(sink, word)
        _end(sink, h, field)
    for b in range(bags):
        _put(sink, desk.bag[b])
    _end(sink, h, 15)


@kernel
def _write_edges(tree: Tree, desk: Desk, sink: Sink, h: int, bags: int) -> None:
    """Write the messages that come in."""
    for field in range(16, 22):
        count = 0
        if field in (18, 20):
            _put(sink, 0)
        for b in range(bags):
            for k in range(2):
                child = tree.child[desk.bag[b], k]
                if child >= 0 and desk.mark[child] == 0:
                    count = _write_edge(tree, desk, sink, h, child, field, count)
        if tree.parent[desk.bag[0]] >= 0:
            count = _write_edge(tree, desk, sink, h, desk.bag[0], field, count)
        _end(sink, h, field)


@kernel
def _write_edge(
    tree: Tree, desk: Desk, sink: Sink, h: int, bag: int, field: int, count: int
) -> int:
    """Write one field of one message; return the running count of nodes or pairs."""
    first, end = tree.clique_first[bag] + tree.removed[bag], tree.clique_first[bag + 1]
    m = end - first
    if field == 16:
        _put(sink, bag)
    elif field == 17:
        _put(sink, desk.mark[bag])
    elif field == 18:
        count += m
        _put(sink, count)
    elif field == 20:
        count += m * (m + 1) // 2
        _put(sink, count)
    else:
        for j in range(first, end):
            b = desk.place[tree.clique[j]]
            if field == 19:
                _put(sink, b)
                continue
            for i in range(first, j):
                _put(sink, _pair(sink, h, desk.place[tree.clique[i]], b))
            _put(sink, -1 - b)
    return count
