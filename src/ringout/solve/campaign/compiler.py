"""Neighbourhoods compiled: cut out of the tree, ordered and packed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.cases import Cases
from ringout.solve.campaign.jit import entry
from ringout.solve.campaign.local import Local, Pack
from ringout.solve.campaign.packing import Sink, write_area
from ringout.solve.campaign.span import Desk, More, desk_of, list_nodes, mark_changes, span

IntArray = NDArray[np.int64]

_FIRST_WORDS = 1000  # of packed neighbourhoods, for each of them
_FIRST_NODES = 64


def compile_areas(tree: Tree, bent: IntArray, cases: Cases, bags: Sequence[Iterable[int]]) -> Pack:
    """Return neighbourhoods, packed.

    Args:
        tree: of the network.
        bent: (E,) 1 for elements whose base curve has breaks.
        cases: of H neighbourhoods: what each must hold.
        bags: (H) bags that are to belong to it besides.
    """
    count = len(bags)
    more = More(
        np.cumsum([0, *map(len, map(list, bags))]).astype(np.int64),
        np.array([bag for some in bags for bag in sorted(some)], dtype=np.int64),
    )
    desk = desk_of(tree, min(_FIRST_NODES, len(tree.home)))
    sink = Sink(
        np.zeros(count * _FIRST_WORDS, dtype=np.int64),
        np.zeros((count, len(Local._fields) + 1), dtype=np.int64),
        np.zeros(1, dtype=np.int64),
    )
    done = compile_from(tree, bent, cases, more, desk, sink, 0)
    while done < count:
        if sink.used[0] <= len(sink.data):
            desk = desk_of(tree, min(2 * len(desk.node), len(tree.home)))
        end = int(sink.start[done - 1, -1]) if done else 0
        data = np.zeros(2 * max(len(sink.data), int(sink.used[0])), dtype=np.int64)
        data[:end] = sink.data[:end]
        sink = Sink(data, sink.start, np.array([end]))
        done = compile_from(tree, bent, cases, more, desk, sink, done)

    def running(field: str) -> IntArray:
        column = Local._fields.index(field)
        sizes = sink.start[:, column + 1] - sink.start[:, column]
        return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)

    data = sink.data[: int(sink.used[0])].copy()
    return Pack(data, sink.start, running("node"), running("near"), running("edge_bag"))


@entry
def compile_from(
    tree: Tree, bent: IntArray, cases: Cases, more: More, desk: Desk, sink: Sink, first: int
) -> int:
    """Compile neighbourhoods from `first` on; return how many are done when room runs out."""
    count = len(more.first) - 1
    for h in range(first, count):
        size = mark_changes(tree, cases, desk, h, 1)
        bags = span(tree, cases, more, desk, h, size)
        n = list_nodes(tree, desk, bags)
        if n <= len(desk.node):
            write_area(tree, bent, desk, sink, h, bags, n)
        for k in range(bags):
            bag = desk.bag[k]
            desk.mark[bag] = 0
            for c in range(tree.clique_first[bag], tree.clique_first[bag + 1]):
                desk.place[tree.clique[c]] = -1
        mark_changes(tree, cases, desk, h, 0)
        if n > len(desk.node) or sink.used[0] > len(sink.data):
            return h
    return count
