"""Currents left over in a region, and what they still change."""

from __future__ import annotations

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.jit import called, kernel
from ringout.solve.campaign.local import Local
from ringout.solve.campaign.messages import Messages, is_kept
from ringout.solve.campaign.region import FloatArray, Moves, Now, inner_of
from ringout.solve.campaign.run import Ground


@kernel
def count_left(net: Ground, now: Now, local: Local, v: FloatArray) -> None:
    """Count the currents left over at all nodes that are followed, at changed voltages `v`."""
    tree, region, left = net.tree, now.region, now.moves.left_a
    for i in range(len(local.node)):
        left[local.node[i]] = 0.0
    for k in range(region.size[0]):
        inner = inner_of(tree, region, k)
        for c in range(tree.clique_first[inner], tree.clique_first[inner + 1]):
            left[tree.clique[c]] = 0.0
    for k in range(len(local.bag) + region.size[0]):
        own = k - len(local.bag)
        _left_bag(net, now, v, local.bag[k] if own < 0 else inner_of(tree, region, own))
    for k in range(region.size[1]):
        messages = now.messages
        if region.front_down[k]:
            bag = region.front_bag[k]
            _left_edge(tree, messages.down_s, messages.down_a, left, v, bag)
        else:
            _left_edge(tree, messages.up_s, messages.up_a, left, v, region.front_bag[k])


@kernel
def _left_bag(net: Ground, now: Now, v: FloatArray, bag: int) -> None:
    """Count the currents of a bag's own elements and leak."""
    tree, left = net.tree, now.moves.left_a
    if tree.removed[bag]:
        n = tree.clique[tree.clique_first[bag]]
        left[n] += net.base.rest_a[n] - net.base.leak_s * v[n]
    for k in range(tree.own_first[bag], tree.own_first[bag + 1]):
        e = tree.own[k]
        a, b = tree.tail[e], tree.head[e]
        current = now.lines.slope_s[e] * (v[a] - v[b]) - now.lines.put_a[e]
        left[a] -= current
        left[b] += current


@kernel
def _left_edge(
    tree: Tree, mesh_s: FloatArray, put_a: FloatArray, left: FloatArray, v: FloatArray, bag: int
) -> None:
    """Count the currents of a message from beyond the region."""
    t = tree.tri_first[bag]
    at = tree.clique_first[bag] + tree.removed[bag]
    for j in range(at, tree.clique_first[bag + 1]):
        b = tree.clique[j]
        left[b] += put_a[j]
        for i in range(at, j):
            a = tree.clique[i]
            current = mesh_s[t] * (v[a] - v[b])
            left[a] -= current
            left[b] += current
            t += 1
        left[b] -= mesh_s[t] * v[b]
        t += 1


@called
def refine_region(net: Ground, now: Now, local: Local) -> float:
    """Solve once more for the currents left over everywhere; return the worst of them."""
    tree, region = net.tree, now.region
    left, fine, mesh = now.moves.left_a, now.moves.fine_v, now.mesh
    count_left(net, now, local, now.moves.node_v)
    left[0] = 0.0  # PE takes what comes
    worst = 0.0
    for i in range(len(local.node)):
        worst = max(worst, abs(left[local.node[i]]))
    for k in range(region.size[0]):
        inner = inner_of(tree, region, k)
        if tree.removed[inner]:
            worst = max(worst, abs(left[tree.clique[tree.clique_first[inner]]]))
    for k in range(region.size[0] - 1, -1, -1):
        _push(tree, now.messages, now.moves, region.bag[k], region.down[k])
    n = len(local.node)
    for i in range(n):
        for p in range(local.near_first[i], local.near_first[i + 1]):
            left[local.node[local.near[p]]] += mesh.pair[p] * left[local.node[i]]
    for i in range(n - 1, -1, -1):
        v = left[local.node[i]] * mesh.ground[i]
        for p in range(local.near_first[i], local.near_first[i + 1]):
            v += mesh.pair[p] * fine[local.node[local.near[p]]]
        fine[local.node[i]] = v
    for k in range(region.size[0]):
        _pull(tree, now.messages, now.moves, region.bag[k], region.down[k])
    return worst


@kernel
def _push(tree: Tree, messages: Messages, moves: Moves, bag: int, down: int) -> None:
    """Pass what is left over at the nodes beyond an edge on to its separator."""
    left = moves.left_a
    if down == 0:
        if tree.removed[bag]:
            first = tree.clique_first[bag]
            for c in range(first + 1, tree.clique_first[bag + 1]):
                left[tree.clique[c]] += messages.up_share[c] * left[tree.clique[first]]
        return
    first = tree.clique_first[tree.parent[bag]]
    w = tree.clique_first[tree.parent[bag] + 1] - first
    s = tree.solved_first[bag]
    for p in range(w):
        if is_kept(tree, bag, p):
            continue
        for j in range(w):
            left[tree.clique[first + j]] += (
                messages.down_solved[s + j] * left[tree.clique[first + p]]
            )
        s += w + 2


@kernel
def _pull(tree: Tree, messages: Messages, moves: Moves, bag: int, down: int) -> None:
    """Find the refinement of the nodes beyond an edge from that of its separator."""
    left, fine = moves.left_a, moves.fine_v
    if down == 0:
        if tree.removed[bag]:
            first = tree.clique_first[bag]
            v = left[tree.clique[first]] * messages.up_ohm[bag]
            for c in range(first + 1, tree.clique_first[bag + 1]):
                v += messages.up_share[c] * fine[tree.clique[c]]
            fine[tree.clique[first]] = v
        return
    first = tree.clique_first[tree.parent[bag]]
    w = tree.clique_first[tree.parent[bag] + 1] - first
    s = tree.solved_first[bag + 1]
    for p in range(w - 1, -1, -1):
        if is_kept(tree, bag, p):
            continue
        s -= w + 2
        v = left[tree.clique[first + p]] * messages.down_solved[s + w + 1]
        for j in range(w):
            share = messages.down_solved[s + j]
            if share != 0.0:
                v += share * fine[tree.clique[first + j]]
        fine[tree.clique[first + p]] = v
