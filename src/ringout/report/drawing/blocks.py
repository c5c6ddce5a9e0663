"""Edges on any simple path between two nodes of a graph, by its two-connected blocks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

Edge = tuple[int, int, int]  # number, one end, other end


def on_simple_paths(edges: Sequence[Edge], pairs: Iterable[tuple[int, int]]) -> set[int]:
    """Return the numbers of edges that lie on a simple path between the nodes of some pair.

    Args:
        edges: the graph; several edges may join the same nodes.
        pairs: node pairs.
    """
    near: dict[int, list[tuple[int, int]]] = {}
    for number, a, b in edges:
        near.setdefault(a, []).append((number, b))
        near.setdefault(b, []).append((number, a))
    found: set[int] = set()
    for k, (a, b) in enumerate(dict.fromkeys(pairs)):
        if a in near and b in near:
            # an edge is on a path from a to b if it shares a block with an edge from b to a
            found |= _block(near, a, b, -1 - k)
    return found


def _block(near: dict[int, list[tuple[int, int]]], start: int, goal: int, extra: int) -> set[int]:
    """Return the edges of the block that holds an added edge `start` to `goal`."""
    depth = {start: 0}
    low = {start: 0}
    first: list[tuple[int, int]] = [(extra, goal), *near[start]]
    stack: list[tuple[int, int, int, list[tuple[int, int]]]] = [(start, 0, 0, first)]
    open_edges: list[int] = []
    came: list[int] = [0]
    while stack:
        node, at, _, around = stack.pop()
        if at < len(around):
            edge, other = around[at]
            stack.append((node, at + 1, 0, around))
            if edge == came[-1] and len(came) > 1:
                continue
            if other not in depth:
                depth[other] = low[other] = len(came)
                open_edges.append(edge)
                more = near[other]
                if other == goal:
                    more = [*more, (extra, start)]
                stack.append((other, 0, 0, more))
                came.append(edge)
            elif depth[other] < depth[node]:
                open_edges.append(edge)
                low[node] = min(low[node], depth[other])
            continue
        edge = came.pop()
        if not stack:
            break
        parent = stack[-1][0]
        low[parent] = min(low[parent], low[node])
        if low[node] >= depth[parent]:
            block: set[int] = set()
            while True:
                top = open_edges.pop()
                block.add(top)
                if top == edge:
                    break
            if extra in block:
                return block - {extra}
    return set()
