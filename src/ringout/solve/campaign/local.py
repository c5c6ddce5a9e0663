"""A neighbourhood: the part of the network that a group of changes touches, compiled.

It consists of some bags that hang together, and of the messages that come into them. Nodes that
no changing element touches are eliminated once per base; the others once per Newton step.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.jit import kernel

IntArray = NDArray[np.int64]


class Local(NamedTuple):
    """One neighbourhood: n nodes in order of elimination, the first `fixed` of them once per base.

    The conductance between node i and its later neighbour is pair p, with p in
    `near_first[i] .. near_first[i + 1]`.

    Args:
        node: (n,) nodes of the network.
        inside: (n,) 1 when the node's own leak belongs to the neighbourhood.
        fixed: (1,) number of nodes eliminated once per base.
        near_first: (n + 1,) start of each node's pairs.
        near: (P,) place of the later neighbour.
        mesh: pairs to add to, for each two of a node's pairs in turn.
        mesh_first: (n + 1,) start of each node's entries in `mesh`.
        still: elements that stay on one line.
        still_tail: place of the tail, -1 for PE.
        still_head: place of the head.
        still_pair: pair, -1 when one end is PE.
        moving: (V,) elements that may change.
        moving_tail: (V,) place of the tail, -1 for PE.
        moving_head: (V,) place of the head.
        moving_pair: (V,) pair, -1 when one end is PE.
        bag: bags of the neighbourhood.
        edge_bag: (I,) messages that come in: the bag whose separator they pass.
        edge_down: (I,) 1 when it comes from above the bag.
        edge_first: (I + 1,) start of the separator's nodes in `edge_node`.
        edge_node: places.
        edge_tri: (I + 1,) start of the pairs in `edge_pair`.
        edge_pair: per message conductance its pair, or -1 - place for one to PE.
    """

    node: IntArray
    inside: IntArray
    fixed: IntArray
    near_first: IntArray
    near: IntArray
    mesh: IntArray
    mesh_first: IntArray
    still: IntArray
    still_tail: IntArray
    still_head: IntArray
    still_pair: IntArray
    moving: IntArray
    moving_tail: IntArray
    moving_head: IntArray
    moving_pair: IntArray
    bag: IntArray
    edge_bag: IntArray
    edge_down: IntArray
    edge_first: IntArray
    edge_node: IntArray
    edge_tri: IntArray
    edge_pair: IntArray


@kernel
def _span(tree, wanted, mark):
    """Return the bags that join the wanted ones, the top first; `mark` is (B,) of zeros."""
    count = len(tree.parent)
    front = 0
    for bag in wanted:
        if mark[bag] == 0:
            mark[bag] = 1
            front += 1
    found = np.empty(count, dtype=np.int64)
    size = 0
    heap = np.unique(wanted)
    # bags are numbered from the leaves up, so the least open one can be closed for good
    pending = list(heap)
    while len(pending) > 1:
        least = 0
        for k in range(len(pending)):
            if pending[k] < pending[least]:
                least = k
        bag = pending.pop(least)
        found[size] = bag
        size += 1
        above = tree.parent[bag]
        if mark[above] == 0:
            mark[above] = 1
            pending.append(above)
    found[size] = pending[0]
    size += 1
    return found[:size][::-1].copy()


@kernel
def _pair(near_first, near, a, b):
    """Return the pair of two places, -1 when one is PE."""
    if a < 0 or b < 0:
        return -1
    i, j = min(a, b), max(a, b)
    for p in range(near_first[i], near_first[i + 1]):
        if near[p] == j:
            return p
    return -1


@kernel
def compile_local(tree, tail, head, bent, changing, wanted, mark, place):
    """Compile one neighbourhood.

    `bent` is (E,) 1 for elements whose base curve has breaks; `changing` (E,) 1 for those that
    cases change; `wanted` the bags it must hold; `mark` (B,) and `place` (N,) are room: zeros,
    and -1, and are left so.
    """
    bags = _span(tree, wanted, mark)
    edge_bag, edge_down = [0 for _ in range(0)], [0 for _ in range(0)]
    nodes = [0 for _ in range(0)]
    for bag in bags:
        for k in range(tree.clique_first[bag], tree.clique_first[bag + 1]):
            n = tree.clique[k]
            if place[n] < 0:
                place[n] = len(nodes)
                nodes.append(n)
        for k in range(2):
            c = tree.child[bag, k]
            if c >= 0 and mark[c] == 0:
                edge_bag.append(c)
                edge_down.append(0)
    if tree.parent[bags[0]] >= 0:
        edge_bag.append(bags[0])
        edge_down.append(1)
    n = len(nodes)
    joined = np.zeros((n, n), dtype=np.bool_)
    touched = np.zeros(n, dtype=np.bool_)
    still, moving = [0 for _ in range(0)], [0 for _ in range(0)]
    for bag in bags:
        for k in range(tree.own_first[bag], tree.own_first[bag + 1]):
            e = tree.own[k]
            a, b = place[tail[e]] if tail[e] else -1, place[head[e]] if head[e] else -1
            if bent[e] or changing[e]:
                moving.append(e)
                if a >= 0:
                    touched[a] = True
                if b >= 0:
                    touched[b] = True
            else:
                still.append(e)
            if a >= 0 and b >= 0:
                joined[a, b] = joined[b, a] = True
    for k in range(len(edge_bag)):
        c = edge_bag[k]
        first, end = tree.clique_first[c] + tree.removed[c], tree.clique_first[c + 1]
        for i in range(first, end):
            for j in range(i + 1, end):
                a, b = place[tree.clique[i]], place[tree.clique[j]]
                joined[a, b] = joined[b, a] = True
    order, fixed = _order(joined, touched)
    rank = np.empty(n, dtype=np.int64)
    for k in range(n):
        rank[order[k]] = k
    node = np.empty(n, dtype=np.int64)
    inside = np.zeros(n, dtype=np.int64)
    for k in range(n):
        node[k] = nodes[order[k]]
        place[node[k]] = k
        inside[k] = mark[tree.home[node[k]]]
    near_first = np.zeros(n + 1, dtype=np.int64)
    near_list = [0 for _ in range(0)]
    for k in range(n):
        for j in range(k + 1, n):
            if joined[order[k], order[j]]:
                near_list.append(j)
        near_first[k + 1] = len(near_list)
    near = np.array(near_list + [0])[: len(near_list)]
    mesh_list = [0 for _ in range(0)]
    mesh_first = np.zeros(n + 1, dtype=np.int64)
    for k in range(n):
        for p in range(near_first[k], near_first[k + 1]):
            for q in range(p + 1, near_first[k + 1]):
                mesh_list.append(_pair(near_first, near, near[p], near[q]))
        mesh_first[k + 1] = len(mesh_list)
    mesh = np.array(mesh_list + [0])[: len(mesh_list)]
    still_array = np.array(still + [0])[: len(still)]
    still_end = np.empty((3, len(still)), dtype=np.int64)
    for k in range(len(still)):
        e = still[k]
        a, b = place[tail[e]] if tail[e] else -1, place[head[e]] if head[e] else -1
        still_end[0, k], still_end[1, k] = a, b
        still_end[2, k] = _pair(near_first, near, a, b)
    moving_array = np.array(moving + [0])[: len(moving)]
    moving_end = np.empty((3, len(moving)), dtype=np.int64)
    for k in range(len(moving)):
        e = moving[k]
        a, b = place[tail[e]] if tail[e] else -1, place[head[e]] if head[e] else -1
        moving_end[0, k], moving_end[1, k] = a, b
        moving_end[2, k] = _pair(near_first, near, a, b)
    edges = len(edge_bag)
    edge_first = np.zeros(edges + 1, dtype=np.int64)
    edge_tri = np.zeros(edges + 1, dtype=np.int64)
    edge_node, edge_pair = [0 for _ in range(0)], [0 for _ in range(0)]
    for k in range(edges):
        c = edge_bag[k]
        first, end = tree.clique_first[c] + tree.removed[c], tree.clique_first[c + 1]
        for j in range(first, end):
            a = place[tree.clique[j]]
            edge_node.append(a)
            for i in range(first, j):
                edge_pair.append(_pair(near_first, near, place[tree.clique[i]], a))
            edge_pair.append(-1 - a)
        edge_first[k + 1] = len(edge_node)
        edge_tri[k + 1] = len(edge_pair)
    for k in range(n):
        place[node[k]] = -1
    for bag in bags:
        mark[bag] = 0
    return (
        node,
        inside,
        np.array([fixed]),
        near_first,
        near,
        mesh,
        mesh_first,
        still_array,
        still_end[0].copy(),
        still_end[1].copy(),
        still_end[2].copy(),
        moving_array,
        moving_end[0].copy(),
        moving_end[1].copy(),
        moving_end[2].copy(),
        bags,
        np.array(edge_bag + [0])[:edges],
        np.array(edge_down + [0])[:edges],
        edge_first,
        np.array(edge_node + [0])[: len(edge_node)],
        edge_tri,
        np.array(edge_pair + [0])[: len(edge_pair)],
    )


@kernel
def _order(joined, touched):
    """Return the order of elimination and how many come first for good; `joined` gets the fill."""
    n = len(touched)
    order = np.empty(n, dtype=np.int64)
    gone = np.zeros(n, dtype=np.bool_)
    around = np.empty(n, dtype=np.int64)
    fixed, only_still = 0, True
    for k in range(n):
        best, best_degree = -1, n + 1
        for i in range(n):
            if gone[i] or (only_still and touched[i]):
                continue
            degree = 0
            for j in range(n):
                if joined[i, j] and not gone[j]:
                    around[degree] = j
                    degree += 1
            if only_still and degree > 3:
                fill = 0
                for a in range(degree):
                    for b in range(a):
                        if not joined[around[a], around[b]]:
                            fill += 1
                if fill > degree:
                    continue
            if degree < best_degree:
                best, best_degree = i, degree
        if best < 0:
            only_still = False
            fixed = k
            for i in range(n):
                if gone[i]:
                    continue
                degree = 0
                for j in range(n):
                    if joined[i, j] and not gone[j]:
                        degree += 1
                if degree < best_degree:
                    best, best_degree = i, degree
        order[k] = best
        gone[best] = True
        degree = 0
        for j in range(n):
            if joined[best, j] and not gone[j]:
                around[degree] = j
                degree += 1
        for a in range(degree):
            for b in range(a):
                joined[around[a], around[b]] = True
                joined[around[b], around[a]] = True
    if only_still:
        fixed = n
    return order, fixed


class Pack(NamedTuple):
    """All neighbourhoods in one array, so that a kernel can go through them.

    Args:
        data: fields of `Local` after each other.
        start: (H, F + 1) where each field starts.
        node_first: (H + 1,) running count of nodes.
        pair_first: (H + 1,) running count of pairs.
    """

    data: IntArray
    start: IntArray
    node_first: IntArray
    pair_first: IntArray


def pack_of(locals_: list[Local]) -> Pack:
    """Return neighbourhoods as one array."""
    fields = [field for local in locals_ for field in local]
    sizes = np.array([len(field) for field in fields], dtype=np.int64)
    width = len(Local._fields)
    ends = np.cumsum(sizes).reshape(-1, width) if fields else np.zeros((0, width), dtype=np.int64)
    first = np.concatenate([[0], ends[:-1, -1]]) if len(ends) else np.zeros(0, dtype=np.int64)
    start = np.concatenate([first[:, None], ends], axis=1).astype(np.int64)
    data = np.concatenate(fields) if fields else np.zeros(0, dtype=np.int64)
    nodes = np.cumsum([0, *(len(local.node) for local in locals_)]).astype(np.int64)
    pairs = np.cumsum([0, *(len(local.near) for local in locals_)]).astype(np.int64)
    return Pack(data, start, nodes, pairs)


@kernel
def unpack(pack, h):
    """Return neighbourhood h as views."""
    d, s = pack.data, pack.start[h]
    return Local(
        d[s[0] : s[1]],
        d[s[1] : s[2]],
        d[s[2] : s[3]],
        d[s[3] : s[4]],
        d[s[4] : s[5]],
        d[s[5] : s[6]],
        d[s[6] : s[7]],
        d[s[7] : s[8]],
        d[s[8] : s[9]],
        d[s[9] : s[10]],
        d[s[10] : s[11]],
        d[s[11] : s[12]],
        d[s[12] : s[13]],
        d[s[13] : s[14]],
        d[s[14] : s[15]],
        d[s[15] : s[16]],
        d[s[16] : s[17]],
        d[s[17] : s[18]],
        d[s[18] : s[19]],
        d[s[19] : s[20]],
        d[s[20] : s[21]],
        d[s[21] : s[22]],
    )
