"""Steps shortened to where the co-content is least on them, for cases that will not settle."""

from __future__ import annotations

from ringout.solve.campaign.balance import count_left
from ringout.solve.campaign.follow import put_on
from ringout.solve.campaign.jit import called, kernel
from ringout.solve.campaign.local import Local
from ringout.solve.campaign.pieces import piece_at
from ringout.solve.campaign.region import Now, inner_of
from ringout.solve.campaign.run import Ground

_TRIALS = 30
_LEVEL = 1e-9  # a step may end on a rise of this part of its first descent
_NEAR = 1e-3  # a shortened step ends where the slope is this part of it


@kernel
def _list_nodes(net: Ground, now: Now, local: Local) -> int:
    """List the nodes that are followed; return how many."""
    tree, region, play, seen = net.tree, now.region, now.moves.play, now.moves.seen
    nodes = len(local.node)
    for i in range(nodes):
        seen[local.node[i]] = 1
        play[i] = local.node[i]
    for k in range(region.size[0]):
        inner = inner_of(tree, region, k)
        for c in range(tree.clique_first[inner], tree.clique_first[inner + 1]):
            n = tree.clique[c]
            if seen[n] == 0:
                seen[n] = 1
                play[nodes] = n
                nodes += 1
    for k in range(nodes):
        seen[play[k]] = 0
    return nodes


@kernel
def _list_bends(net: Ground, now: Now, local: Local) -> int:
    """List the elements with breaks that are followed; return how many."""
    tree, region, bend = net.tree, now.region, now.moves.bend
    bends = len(local.moving)
    for v in range(bends):
        bend[v] = local.moving[v]
    for k in range(region.size[0]):
        inner = inner_of(tree, region, k)
        for c in range(tree.own_first[inner], tree.own_first[inner + 1]):
            if net.base.bent[tree.own[c]]:
                bend[bends] = tree.own[c]
                bends += 1
    return bends


@called
def remember(net: Ground, now: Now, local: Local) -> None:
    """Begin a careful step: note the voltages, and put everything on the pieces it has there."""
    tree, moves, region = net.tree, now.moves, now.region
    for k in range(_list_nodes(net, now, local)):
        moves.old_v[moves.play[k]] = moves.node_v[moves.play[k]]
    for k in range(_list_bends(net, now, local)):
        e = moves.bend[k]
        u = net.base.across_v[e] + moves.old_v[tree.tail[e]] - moves.old_v[tree.head[e]]
        put_on(net.table, net.base, now.lines, e, piece_at(net.table, now.lines.curve[e], u))
    for k in range(region.size[0]):
        region.dirty[k] = 1


@kernel
def _slope_along(net: Ground, now: Now, bends: int, descent: float, t: float) -> float:
    """Return the derivative of the co-content along a step, at part t of it."""
    tree, table, base, lines = net.tree, net.table, net.base, now.lines
    old, new = now.moves.old_v, now.moves.node_v
    total = descent * (t - 1.0)
    for k in range(bends):
        e = now.moves.bend[k]
        start = old[tree.tail[e]] - old[tree.head[e]]
        du = (new[tree.tail[e]] - new[tree.head[e]]) - start
        moved = start + t * du
        u = base.across_v[e] + moved
        if u > lines.high_v[e] or u <= lines.low_v[e]:
            curve = lines.curve[e]
            p = piece_at(table, curve, u)
            line_a = (base.current_a[e] - lines.put_a[e]) + lines.slope_s[e] * moved
            total += (table.slope_s[curve, p] * u + table.intercept_a[curve, p] - line_a) * du
    return total


@called
def shorten(net: Ground, now: Now, local: Local) -> bool:
    """Shorten the step from `old_v` to `node_v` where need be; return whether it stayed whole."""
    moves, bends = now.moves, _list_bends(net, now, local)
    nodes = _list_nodes(net, now, local)
    old, new = moves.old_v, moves.node_v
    count_left(net, now, local, old)
    descent = 0.0
    for k in range(nodes):
        n = moves.play[k]
        if n > 0:
            descent += moves.left_a[n] * (new[n] - old[n])
    t, low, high, at_low, at_high = 1.0, 0.0, 1.0, -descent, 0.0
    for trial in range(_TRIALS):
        at = _slope_along(net, now, bends, descent, t)
        if trial == 0 and not at > _LEVEL * descent:
            return True
        if trial > 0 and abs(at) <= _NEAR * descent:
            break
        if at > 0.0:
            high, at_high = t, at
        else:
            low, at_low = t, at
        rise = at_high - at_low  # none where both ends are level: the middle is tried
        t = low - at_low * (high - low) / rise if rise > 0.0 else low
        if trial % 3 == 2 or not low < t < high:
            t = 0.5 * (low + high)
    for k in range(nodes):
        n = moves.play[k]
        new[n] = old[n] + t * (new[n] - old[n])
    return False
