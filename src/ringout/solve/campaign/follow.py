"""Elements put on the pieces they have at the voltages found, along the edges of a region."""

from __future__ import annotations

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.jit import kernel
from ringout.solve.campaign.local import Local
from ringout.solve.campaign.messages import Base, Lines, Messages, is_kept
from ringout.solve.campaign.pieces import Table, high_of, low_of, piece_at
from ringout.solve.campaign.reach import strain
from ringout.solve.campaign.region import FloatArray, Now, inner_of, open_edge
from ringout.solve.campaign.run import Ground

FIND, FOLLOW, BOTH = 1, 2, 3
_KEEP_UP = 0.5  # what is strained at least this part of the worst is opened with it


@kernel
def put_on(table: Table, base: Base, lines: Lines, e: int, piece: int) -> None:
    """Put an element on a piece of its curve."""
    curve = lines.curve[e]
    slope = table.slope_s[curve, piece]
    lines.slope_s[e] = slope
    lines.put_a[e] = base.current_a[e] - (
        slope * base.across_v[e] + table.intercept_a[curve, piece]
    )
    lines.low_v[e] = low_of(table, curve, piece)
    lines.high_v[e] = high_of(table, curve, piece)


@kernel
def follow(
    tree: Tree, table: Table, base: Base, lines: Lines, node_v: FloatArray, e: int, same_a: float
) -> bool:
    """Put an element that left its piece on the next one; return whether that was so."""
    u = base.across_v[e] + node_v[tree.tail[e]] - node_v[tree.head[e]]
    over = max(u - lines.high_v[e], lines.low_v[e] - u)
    if not over >= 0.0:
        return False
    curve = lines.curve[e]
    k = piece_at(table, curve, lines.high_v[e])
    k += 1 if u > lines.high_v[e] else -1
    if over * max(lines.slope_s[e], table.slope_s[curve, k]) <= same_a:
        return False
    put_on(table, base, lines, e, k)
    return True


@kernel
def follow_local(net: Ground, now: Now, local: Local, same_a: float) -> bool:
    """Follow the moving elements of the neighbourhood; return whether one changed its piece."""
    changed = False
    for v in range(len(local.moving)):
        e = local.moving[v]
        changed |= follow(net.tree, net.table, net.base, now.lines, now.moves.node_v, e, same_a)
    return changed


@kernel
def _find(tree: Tree, messages: Messages, node_v: FloatArray, bag: int, down: int) -> None:
    """Find the voltages of the bag beyond an edge."""
    if down == 0:
        if tree.removed[bag]:
            first = tree.clique_first[bag]
            v = messages.up_v[bag]
            for k in range(first + 1, tree.clique_first[bag + 1]):
                v += messages.up_share[k] * node_v[tree.clique[k]]
            node_v[tree.clique[first]] = v
        return
    inner = tree.parent[bag]
    first = tree.clique_first[inner]
    w = tree.clique_first[inner + 1] - first
    s = tree.solved_first[bag + 1]
    for p in range(w - 1, -1, -1):
        if is_kept(tree, bag, p):
            continue
        s -= w + 2
        v = messages.down_solved[s + w]
        for j in range(w):
            share = messages.down_solved[s + j]
            if share != 0.0:
                v += share * node_v[tree.clique[first + j]]
        node_v[tree.clique[first + p]] = v


@kernel
def visit(net: Ground, now: Now, first: int, end: int, what: int, same_a: float) -> bool:
    """Go through opened edges: find voltages, follow elements, or both.

    Returns whether an element changed its piece; the edges of such are marked dirty.
    """
    tree, base, region, node_v = net.tree, net.base, now.region, now.moves.node_v
    changed = False
    for k in range(first, end):
        if what & FIND:
            _find(tree, now.messages, node_v, region.bag[k], region.down[k])
        if what & FOLLOW:
            inner = inner_of(tree, region, k)
            for c in range(tree.own_first[inner], tree.own_first[inner + 1]):
                e = tree.own[c]
                if base.bent[e] and follow(tree, net.table, base, now.lines, node_v, e, same_a):
                    region.dirty[k] = 1
                    changed = True
    return changed


@kernel
def grow(net: Ground, now: Now, same_a: float) -> int:
    """Open what is strained; return 0 when nothing is, 1 when something, 2 when a piece changed."""
    tree, region, node_v = net.tree, now.region, now.moves.node_v
    worst = 0.0
    for k in range(region.size[1]):
        bag, down = region.front_bag[k], region.front_down[k]
        worst = max(worst, strain(tree, net.reach, down, node_v, bag))
    if not worst >= 1.0:
        return 0
    least = max(1.0, _KEEP_UP * worst)
    before, result = region.size[0], 1
    k = 0
    while k < region.size[1]:
        bag, down = region.front_bag[k], region.front_down[k]
        # what lies beyond an element that just changed is judged after the next solution
        to = region.front_to[k]
        waiting = to >= before and region.dirty[to] == 1
        if waiting or strain(tree, net.reach, down, node_v, bag) < least:
            k += 1
            continue
        open_edge(tree, region, k)
        opened = region.size[0] - 1
        if visit(net, now, opened, opened + 1, BOTH, same_a):
            result = 2
    return result
