"""Messages along the tree: what lies beyond a separator, reduced to it by star-mesh.

A message is a mesh of conductances between the separator's nodes and PE, and a current into each
node; all in changes against the base. Conductances are only ever added, so nothing cancels.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.jit import called, entry, kernel

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]


class Lines(NamedTuple):
    """The straight line each element is on now: current = base current + slope * du - put_a.

    Args:
        slope_s: (E,) slopes.
        put_a: (E,) base current less what the line has at the base voltage.
        low_v: (E,) voltage at which the piece begins.
        high_v: (E,) voltage at which it ends.
        curve: (E,) curve numbers.
    """

    slope_s: FloatArray
    put_a: FloatArray
    low_v: FloatArray
    high_v: FloatArray
    curve: IntArray


class Base(NamedTuple):
    """A base state, exact beyond a double: what is left over is kept beside it.

    Args:
        node_v: (N,) voltages.
        across_v: (E,) voltages.
        current_a: (E,) currents.
        rest_a: (N,) current that the currents leave over at each node.
        bent: (E,) 1 where the base curve has breaks.
        leak_s: from every node to PE.
    """

    node_v: FloatArray
    across_v: FloatArray
    current_a: FloatArray
    rest_a: FloatArray
    bent: IntArray
    leak_s: float


class Messages(NamedTuple):
    """Messages of all bags in both directions, as `Tree` counts them.

    Args:
        up_s: conductances of what hangs below, at `tri_first`.
        up_a: currents, at the separator's places in `clique`.
        up_share: part of each separator voltage the eliminated node takes on, likewise.
        up_v: (B,) what the eliminated node has besides.
        up_ohm: (B,) what it gains per ampere put into it.
        down_s: conductances of everything else, at `tri_first`.
        down_a: currents, at the separator's places in `clique`.
        down_solved: at `solved_first`, per node eliminated on the way down its shares of the
            parent's clique, what it has besides, and what it gains per ampere.
    """

    up_s: FloatArray
    up_a: FloatArray
    up_share: FloatArray
    up_v: FloatArray
    up_ohm: FloatArray
    down_s: FloatArray
    down_a: FloatArray
    down_solved: FloatArray


class Scratch(NamedTuple):
    """Room for one bag: conductances (W, W) with PE on the diagonal, currents, and marks."""

    mesh: FloatArray
    put_in: FloatArray
    keep: IntArray


def empty_messages(tree: Tree) -> Messages:
    """Return room for the messages of a tree."""
    bags, nodes = len(tree.parent), len(tree.clique)
    pairs, solved = int(tree.tri_first[-1]), int(tree.solved_first[-1])
    sizes = (pairs, nodes, nodes, bags, bags, pairs, nodes, solved)
    return Messages(*(np.zeros(size) for size in sizes))


def scratch_of(tree: Tree) -> Scratch:
    """Return room to work in."""
    w = tree.widest
    return Scratch(np.zeros((w, w)), np.zeros(w), np.zeros(w, dtype=np.int64))


@kernel
def _own(tree: Tree, base: Base, lines: Lines, bag: int, room: Scratch) -> None:
    """Put the bag's own elements into the emptied room."""
    mesh, put_in = room.mesh, room.put_in
    w = tree.clique_first[bag + 1] - tree.clique_first[bag]
    for i in range(w):
        put_in[i] = 0.0
        for j in range(w):
            mesh[i, j] = 0.0
    if tree.removed[bag]:
        mesh[0, 0] = base.leak_s
        put_in[0] = base.rest_a[tree.clique[tree.clique_first[bag]]]
    for k in range(tree.own_first[bag], tree.own_first[bag + 1]):
        e, a, b = tree.own[k], tree.own_tail[k], tree.own_head[k]
        g, i = lines.slope_s[e], lines.put_a[e]
        if a >= 0 and b >= 0:
            mesh[a, b] += g
            mesh[b, a] += g
        else:
            mesh[max(a, b), max(a, b)] += g
        if a >= 0:
            put_in[a] += i
        if b >= 0:
            put_in[b] -= i


@kernel
def _add_up(tree: Tree, messages: Messages, child: int, room: Scratch) -> None:
    """Add what hangs below a child."""
    mesh, put_in = room.mesh, room.put_in
    at = tree.clique_first[child] + tree.removed[child]
    t = tree.tri_first[child]
    for j in range(at, tree.clique_first[child + 1]):
        pj = tree.place[j]
        put_in[pj] += messages.up_a[j]
        for i in range(at, j):
            pi = tree.place[i]
            mesh[pi, pj] += messages.up_s[t]
            mesh[pj, pi] += messages.up_s[t]
            t += 1
        mesh[pj, pj] += messages.up_s[t]
        t += 1


@kernel
def _add_down(tree: Tree, messages: Messages, bag: int, room: Scratch) -> None:
    """Add everything above a bag."""
    mesh, put_in = room.mesh, room.put_in
    first = tree.clique_first[bag]
    shift = tree.removed[bag]
    t = tree.tri_first[bag]
    for j in range(shift, tree.clique_first[bag + 1] - first):
        put_in[j] += messages.down_a[first + j]
        for i in range(shift, j):
            mesh[i, j] += messages.down_s[t]
            mesh[j, i] += messages.down_s[t]
            t += 1
        mesh[j, j] += messages.down_s[t]
        t += 1


@kernel
def make_up(
    tree: Tree, base: Base, lines: Lines, messages: Messages, bag: int, room: Scratch
) -> None:
    """Make the message of a bag to its parent from its own elements and its children's."""
    first = tree.clique_first[bag]
    w = tree.clique_first[bag + 1] - first
    mesh, put_in = room.mesh, room.put_in
    _own(tree, base, lines, bag, room)
    for k in range(2):
        if tree.child[bag, k] >= 0:
            _add_up(tree, messages, tree.child[bag, k], room)
    shift = tree.removed[bag]
    if shift:
        d = mesh[0, 0]
        for j in range(1, w):
            d += mesh[0, j]
        d = 1.0 / d
        messages.up_v[bag] = put_in[0] * d
        messages.up_ohm[bag] = d
        for j in range(1, w):
            share = mesh[0, j] * d
            messages.up_share[first + j] = share
            put_in[j] += share * put_in[0]
            mesh[j, j] += share * mesh[0, 0]
            for i in range(1, j):
                mesh[i, j] += share * mesh[0, i]
    t = tree.tri_first[bag]
    for j in range(shift, w):
        messages.up_a[first + j] = put_in[j]
        for i in range(shift, j + 1):
            messages.up_s[t] = mesh[i, j]
            t += 1


@kernel
def is_kept(tree: Tree, bag: int, place: int) -> bool:
    """Return whether a place of the parent's clique is in a bag's separator."""
    kept = False
    for k in range(tree.clique_first[bag] + tree.removed[bag], tree.clique_first[bag + 1]):
        kept |= tree.place[k] == place
    return kept


@called
def make_down(
    tree: Tree, base: Base, lines: Lines, messages: Messages, bag: int, room: Scratch
) -> None:
    """Make the message to a bag from all that is not below it."""
    above = tree.parent[bag]
    w = tree.clique_first[above + 1] - tree.clique_first[above]
    mesh, put_in, keep = room.mesh, room.put_in, room.keep
    _own(tree, base, lines, above, room)
    _add_down(tree, messages, above, room)
    for k in range(2):
        other = tree.child[above, k]
        if other >= 0 and other != bag:
            _add_up(tree, messages, other, room)
    at, end = tree.clique_first[bag] + tree.removed[bag], tree.clique_first[bag + 1]
    for i in range(w):
        keep[i] = 0
    for i in range(at, end):
        keep[tree.place[i]] = 1
    s = tree.solved_first[bag]
    for k in range(w):
        if keep[k] == 0:
            _take_out(messages, room, k, w, s)
            s += w + 2
    t = tree.tri_first[bag]
    for j in range(at, end):
        pj = tree.place[j]
        messages.down_a[j] = put_in[pj]
        for i in range(at, j + 1):
            messages.down_s[t] = mesh[tree.place[i], pj]
            t += 1


@kernel
def _take_out(messages: Messages, room: Scratch, k: int, w: int, s: int) -> None:
    """Eliminate place k of w on the way down and note its shares from s on."""
    mesh, put_in, keep = room.mesh, room.put_in, room.keep
    keep[k] = -1
    d = mesh[k, k]
    for j in range(w):
        if keep[j] >= 0:
            d += mesh[k, j]
    d = 1.0 / d
    for j in range(w):
        share = 0.0
        if keep[j] >= 0:
            share = mesh[k, j] * d
            put_in[j] += share * put_in[k]
            mesh[j, j] += share * mesh[k, k]
            for i in range(w):
                if i != j and keep[i] >= 0:
                    mesh[j, i] += share * mesh[k, i]
        messages.down_solved[s + j] = share
    messages.down_solved[s + w] = put_in[k] * d
    messages.down_solved[s + w + 1] = d


@entry
def make_all(
    tree: Tree, base: Base, lines: Lines, messages: Messages, room: Scratch, move_v: FloatArray
) -> None:
    """Make all messages of a base, and what the currents left over change each voltage by."""
    count = len(tree.parent)
    for bag in range(count):
        make_up(tree, base, lines, messages, bag, room)
    for bag in range(count - 2, -1, -1):
        make_down(tree, base, lines, messages, bag, room)
    for bag in range(count - 1, -1, -1):
        if tree.removed[bag]:
            first = tree.clique_first[bag]
            v = messages.up_v[bag]
            for k in range(first + 1, tree.clique_first[bag + 1]):
                v += messages.up_share[k] * move_v[tree.clique[k]]
            move_v[tree.clique[first]] = v
