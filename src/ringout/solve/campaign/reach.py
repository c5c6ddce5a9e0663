"""How far a separator may move before an element beyond it changes its piece.

For each separator and direction a bound is kept per coordinate: sum over coordinates of
|move| * reach < 1 means that no element beyond leaves its piece. The coordinates are the last
node of the separator, and the others against it: a shift common to all then counts for what it is,
next to nothing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.jit import kernel

FloatArray = NDArray[np.float64]


class Reach(NamedTuple):
    """Bounds of all separators, at their places in `clique`; the last place is the common move.

    Args:
        up: (places, 2) for what hangs below: per volt upwards, and downwards.
        down: (places, 2) for everything else.
    """

    up: FloatArray
    down: FloatArray


def empty_reach(tree: Tree) -> Reach:
    """Return room for the bounds of a tree."""
    return Reach(np.zeros((len(tree.clique), 2)), np.zeros((len(tree.clique), 2)))


@kernel
def strain(reach, node_v, clique, first, end):
    """Return the bound for a separator's moves; below 1 nothing beyond changes its piece."""
    if end <= first:
        return 0.0
    common = node_v[clique[end - 1]]
    total = common * reach[end - 1, 0] if common > 0.0 else -common * reach[end - 1, 1]
    for k in range(first, end - 1):
        move = node_v[clique[k]] - common
        total += move * reach[k, 0] if move > 0.0 else -move * reach[k, 1]
    return total


@kernel
def _elements(tree, base, lines, bag, moved, m, out):
    """Let the bag's own elements count; `moved` is (W, M) what each clique node takes on."""
    for k in range(tree.own_first[bag], tree.own_first[bag + 1]):
        e = tree.own[k]
        if not base.bent[e]:
            continue
        a, b = tree.own_tail[k], tree.own_head[k]
        up = 1.0 / max(lines.high_v[e] - base.across_v[e], 1e-15)
        down = 1.0 / max(base.across_v[e] - lines.low_v[e], 1e-15)
        whole = 0.0
        for q in range(m):
            c = (moved[a, q] if a >= 0 else 0.0) - (moved[b, q] if b >= 0 else 0.0)
            whole += c
            if q == m - 1:
                c = whole
            out[q, 0] = max(out[q, 0], c * up if c > 0.0 else -c * down)
            out[q, 1] = max(out[q, 1], c * down if c > 0.0 else -c * up)


@kernel
def _beyond(reach, places, first, end, shift, moved, m, out):
    """Let a further separator count; its node k has place `places[k]`, or k - first + shift."""
    if end <= first:
        return
    last = places[end - 1] if shift < 0 else end - 1 - first + shift
    for q in range(m):
        up, down = 0.0, 0.0
        for k in range(first, end):
            place = places[k] if shift < 0 else k - first + shift
            c = 0.0
            for p in range(m):
                # the common move is that of all nodes
                if p == q or q == m - 1:
                    c += moved[place, p]
                    if k < end - 1:
                        c -= moved[last, p]
            up += c * reach[k, 0] if c > 0.0 else -c * reach[k, 1]
            down += c * reach[k, 1] if c > 0.0 else -c * reach[k, 0]
        out[q, 0] = max(out[q, 0], up)
        out[q, 1] = max(out[q, 1], down)


@kernel
def reach_all(tree, base, lines, messages, reach, moved, out):
    """Fill in the bounds of a base; `moved` is (W, W) and `out` (W, 2) room."""
    count = len(tree.parent)
    for bag in range(count - 1):
        first = tree.clique_first[bag]
        shift = tree.removed[bag]
        m = tree.clique_first[bag + 1] - first - shift
        out[:m] = 0.0
        for q in range(m):
            for p in range(m):
                moved[shift + p, q] = 1.0 if p == q else 0.0
            if shift:
                moved[0, q] = messages.up_share[first + 1 + q]
        _elements(tree, base, lines, bag, moved, m, out)
        for k in range(2):
            c = tree.child[bag, k]
            if c >= 0:
                at = tree.clique_first[c] + tree.removed[c]
                _beyond(reach.up, tree.place, at, tree.clique_first[c + 1], -1, moved, m, out)
        reach.up[first + shift : first + shift + m] = out[:m]
    for bag in range(count - 2, -1, -1):
        above = tree.parent[bag]
        w = tree.clique_first[above + 1] - tree.clique_first[above]
        at = tree.clique_first[bag] + tree.removed[bag]
        m = tree.clique_first[bag + 1] - at
        _moved_down(tree, messages, bag, w, at, m, moved)
        out[:m] = 0.0
        _elements(tree, base, lines, above, moved, m, out)
        start = tree.clique_first[above] + tree.removed[above]
        end = tree.clique_first[above + 1]
        _beyond(reach.down, tree.place, start, end, tree.removed[above], moved, m, out)
        for k in range(2):
            c = tree.child[above, k]
            if c >= 0 and c != bag:
                s = tree.clique_first[c] + tree.removed[c]
                _beyond(reach.up, tree.place, s, tree.clique_first[c + 1], -1, moved, m, out)
        reach.down[at : at + m] = out[:m]


@kernel
def _moved_down(tree, messages, bag, w, at, m, moved):
    """Fill in what each node of the parent's clique takes on of the separator's moves."""
    for p in range(w):
        moved[p, :m] = 0.0
    kept = np.zeros(w, dtype=np.int64)
    for q in range(m):
        place = tree.place[at + q]
        moved[place, q] = 1.0
        kept[place] = 1
    s = tree.solved_first[bag + 1]
    for p in range(w - 1, -1, -1):
        if kept[p]:
            continue
        s -= w + 2
        for j in range(w):
            share = messages.down_solved[s + j]
            if share != 0.0:
                for q in range(m):
                    moved[p, q] += share * moved[j, q]
