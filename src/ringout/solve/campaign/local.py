"""A neighbourhood: the part of the network that a group of changes touches, ready to be solved.

It consists of some bags that hang together, and of the messages that come into them. Nodes that
no changing element touches are eliminated once per base; the others once per Newton step.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.jit import kernel
from ringout.solve.campaign.messages import Base, Lines, Messages

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]


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
        mesh_first: (n + 1,) start of each node's entries in `mesh`.
        mesh: pairs to add to, for each two of a node's pairs in turn.
        still: elements that stay on one line.
        still_tail: place of the tail, -1 for PE.
        still_head: place of the head.
        still_pair: pair, -1 when one end is PE.
        moving: (V,) elements that may change.
        moving_tail: (V,) place of the tail, -1 for PE.
        moving_head: (V,) place of the head.
        moving_pair: (V,) pair, -1 when one end is PE.
        bag: bags of the neighbourhood, the top first.
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
    mesh_first: IntArray
    mesh: IntArray
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


class Pack(NamedTuple):
    """All neighbourhoods in one array, so that a kernel can go through them.

    Args:
        data: fields of `Local` after each other.
        start: (H, F + 1) where each field starts.
        node_first: (H + 1,) running count of nodes.
        pair_first: (H + 1,) running count of pairs.
        edge_first: (H + 1,) running count of messages.
    """

    data: IntArray
    start: IntArray
    node_first: IntArray
    pair_first: IntArray
    edge_first: IntArray


class Mesh(NamedTuple):
    """Conductances and currents of a neighbourhood.

    Args:
        ground: (n,) conductance from each node to PE; once the node is eliminated, one over the
            sum of its conductances.
        pair: (P,) conductance of each pair; once its node is eliminated, the node's share.
        put: (n,) current into each node; once it is eliminated, what it has besides its shares.
    """

    ground: FloatArray
    pair: FloatArray
    put: FloatArray


def mesh_of(nodes: int, pairs: int) -> Mesh:
    """Return room for this many nodes and pairs."""
    return Mesh(np.zeros(nodes), np.zeros(pairs), np.zeros(nodes))


def edge_of(pack: Pack, h: int, k: int) -> tuple[int, int]:
    """Return the bag of message k of a neighbourhood, and 1 when it comes from above, else 0."""
    bag, down = (Local._fields.index(name) for name in ("edge_bag", "edge_down"))
    start = pack.start[h]
    return int(pack.data[start[bag] + k]), int(pack.data[start[down] + k])


def most_moving(pack: Pack) -> int:
    """Return how many moving elements a neighbourhood has at most."""
    field = Local._fields.index("moving")
    return int((pack.start[:, field + 1] - pack.start[:, field]).max(initial=0))


@kernel
def unpack(pack: Pack, h: int) -> Local:
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


@kernel
def part_of(pack: Pack, mesh: Mesh, h: int) -> Mesh:
    """Return the part of a mesh of all neighbourhoods that belongs to neighbourhood h."""
    n, n_end = pack.node_first[h], pack.node_first[h + 1]
    p, p_end = pack.pair_first[h], pack.pair_first[h + 1]
    return Mesh(mesh.ground[n:n_end], mesh.pair[p:p_end], mesh.put[n:n_end])


@kernel
def fill(
    tree: Tree, base: Base, lines: Lines, messages: Messages, local: Local, mesh: Mesh
) -> None:
    """Put what does not move and the messages into the emptied mesh of a neighbourhood."""
    for p in range(len(local.near)):
        mesh.pair[p] = 0.0
    for i in range(len(local.node)):
        mesh.ground[i] = base.leak_s if local.inside[i] else 0.0
        mesh.put[i] = base.rest_a[local.node[i]] if local.inside[i] else 0.0
    for k in range(len(local.still)):
        g = lines.slope_s[local.still[k]]
        if local.still_pair[k] >= 0:
            mesh.pair[local.still_pair[k]] += g
        else:
            mesh.ground[max(local.still_tail[k], local.still_head[k])] += g
    for k in range(len(local.edge_bag)):
        bag = local.edge_bag[k]
        at = tree.clique_first[bag] + tree.removed[bag] - local.edge_first[k]
        t = tree.tri_first[bag] - local.edge_tri[k]
        down = local.edge_down[k] == 1
        for i in range(local.edge_first[k], local.edge_first[k + 1]):
            a = messages.down_a[at + i] if down else messages.up_a[at + i]
            mesh.put[local.edge_node[i]] += a
        for i in range(local.edge_tri[k], local.edge_tri[k + 1]):
            g = messages.down_s[t + i] if down else messages.up_s[t + i]
            p = local.edge_pair[i]
            if p >= 0:
                mesh.pair[p] += g
            else:
                mesh.ground[-1 - p] += g


@kernel
def eliminate(local: Local, mesh: Mesh, first: int, end: int) -> None:
    """Eliminate nodes first .. end."""
    ground, pair, put = mesh.ground, mesh.pair, mesh.put
    for i in range(first, end):
        start, stop = local.near_first[i], local.near_first[i + 1]
        d = ground[i]
        for p in range(start, stop):
            d += pair[p]
        d = 1.0 / d
        m = local.mesh_first[i]
        for p in range(start, stop):
            share = pair[p] * d
            j = local.near[p]
            ground[j] += share * ground[i]
            put[j] += share * put[i]
            for q in range(p + 1, stop):
                pair[local.mesh[m]] += share * pair[q]
                m += 1
            pair[p] = share
        put[i] *= d
        ground[i] = d
