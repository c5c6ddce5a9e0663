"""Cases that reach beyond their neighbourhood: the rest is linearised anew where it must be.

A region grows from the neighbourhood along the tree, into those parts whose bound says that an
element may change its piece, the most strained first. In the region all pieces are followed and
the messages made anew; around it those of the base hold. It ends when no element of the region
changes its piece and no bound around it is passed: the answer is then exact everywhere.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.jit import kernel
from ringout.solve.campaign.lanes import (
    HARD,
    REFERENCE,
    SAME_A,
    SAME_LATE_A,
    bounds_of,
    eliminate,
    fill_local,
    piece_at,
    write_case,
)
from ringout.solve.campaign.local import unpack
from ringout.solve.campaign.messages import make_down, make_up
from ringout.solve.campaign.reach import strain

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

ROUNDS = 90
CAREFUL = 16  # rounds before steps are shortened to where they help
_PATIENT = 40  # rounds before corners are passed over
_TRIALS = 30
_KEEP_UP = 0.5  # what is strained at least this part of the worst is opened with it


class Region(NamedTuple):
    """The region and its frontier, as edges: the bag whose separator they pass, and which way.

    Args:
        bag: edges opened, those near the neighbourhood first.
        down: 1 where the part beyond lies above the bag.
        to: edge through which it passes on, -1 for the neighbourhood itself.
        dirty: 1 where the message must be made anew.
        front_bag: edges not opened.
        front_down: likewise.
        front_to: likewise.
        state: count opened, count not opened, neighbourhood.
        node_v: (N,) changes of the voltages found last.
        fine_v: (N,) their refinement.
        left_a: (N,) currents left over.
        old_v: (N,) changes of the voltages before a careful step.
        play: (N,) nodes whose voltages are followed.
        seen: (N,) marks.
        bend: (E,) elements with breaks that are followed.
        ground: room for the neighbourhood.
        pair: room.
        put: room.
        tally: counts of cases, rounds, edges opened, messages made.
    """

    bag: IntArray
    down: IntArray
    to: IntArray
    dirty: IntArray
    front_bag: IntArray
    front_down: IntArray
    front_to: IntArray
    state: IntArray
    node_v: FloatArray
    fine_v: FloatArray
    left_a: FloatArray
    old_v: FloatArray
    play: IntArray
    seen: IntArray
    bend: IntArray
    ground: FloatArray
    pair: FloatArray
    put: FloatArray
    tally: IntArray


def region_of(tree: Tree, node_count: int, elements: int, nodes: int, pairs: int) -> Region:
    """Return room for a region in a tree, and for neighbourhoods of at most these sizes."""
    bags = len(tree.parent) + 1

    def marks(rows: int) -> IntArray:
        return np.zeros(rows, dtype=np.int64)

    return Region(
        marks(bags),
        marks(bags),
        marks(bags),
        marks(bags),
        marks(2 * bags),
        marks(2 * bags),
        marks(2 * bags),
        np.array([0, 0, -1]),
        np.zeros(node_count),
        np.zeros(node_count),
        np.zeros(node_count),
        np.zeros(node_count),
        marks(node_count),
        marks(node_count),
        marks(elements),
        np.zeros(nodes + 1),
        np.zeros(pairs + 1),
        np.zeros(nodes + 1),
        marks(4),
    )


@kernel
def _restore_bag(tree, lines, now, bag):
    for k in range(tree.own_first[bag], tree.own_first[bag + 1]):
        e = tree.own[k]
        now.slope_s[e] = lines.slope_s[e]
        now.put_a[e] = lines.put_a[e]
        now.low_v[e] = lines.low_v[e]
        now.high_v[e] = lines.high_v[e]
        now.curve[e] = lines.curve[e]


@kernel
def close(tree, lines, now, messages, anew, pack, region):
    """Put everything back to the base."""
    h = region.state[2]
    if h < 0:
        return
    local = unpack(pack, h)
    for bag in local.bag:
        _restore_bag(tree, lines, now, bag)
    for k in range(region.state[0]):
        bag = region.bag[k]
        t, t_end = tree.tri_first[bag], tree.tri_first[bag + 1]
        a, a_end = tree.clique_first[bag], tree.clique_first[bag + 1]
        if region.down[k]:
            _restore_bag(tree, lines, now, tree.parent[bag])
            anew.down_s[t:t_end] = messages.down_s[t:t_end]
            anew.down_a[a:a_end] = messages.down_a[a:a_end]
            s, s_end = tree.solved_first[bag], tree.solved_first[bag + 1]
            anew.down_solved[s:s_end] = messages.down_solved[s:s_end]
        else:
            _restore_bag(tree, lines, now, bag)
            anew.up_s[t:t_end] = messages.up_s[t:t_end]
            anew.up_a[a:a_end] = messages.up_a[a:a_end]
            anew.up_share[a:a_end] = messages.up_share[a:a_end]
            anew.up_v[bag] = messages.up_v[bag]
            anew.up_ohm[bag] = messages.up_ohm[bag]
    region.state[0] = 0
    region.state[1] = 0
    region.state[2] = -1


@kernel
def open_at(pack, region, h):
    """Begin a region at a neighbourhood."""
    local = unpack(pack, h)
    region.state[2] = h
    region.state[0] = 0
    region.state[1] = len(local.edge_bag)
    for k in range(len(local.edge_bag)):
        region.front_bag[k] = local.edge_bag[k]
        region.front_down[k] = local.edge_down[k]
        region.front_to[k] = -1


@kernel
def _follow(table, base, now, e, u, same_a):
    """Put an element on its piece at a voltage; return whether that is another one."""
    over = max(u - now.high_v[e], now.low_v[e] - u)
    if not over >= 0.0:
        return False
    curve = now.curve[e]
    k = piece_at(table, curve, now.high_v[e])
    k += 1 if u > now.high_v[e] else -1
    slope = table.slope_s[curve, k]
    if over * max(now.slope_s[e], slope) <= same_a:
        return False
    now.slope_s[e] = slope
    now.put_a[e] = base.current_a[e] - (slope * base.across_v[e] + table.intercept_a[curve, k])
    now.low_v[e], now.high_v[e] = bounds_of(table, curve, k)
    return True


@kernel
def _find(tree, anew, region, bag, down):
    """Find the voltages of the bag beyond an edge; return that bag."""
    node_v = region.node_v
    inner = bag
    if down:
        inner = tree.parent[bag]
        first = tree.clique_first[inner]
        w = tree.clique_first[inner + 1] - first
        s, s_first = tree.solved_first[bag + 1], tree.solved_first[bag]
        at, end = tree.clique_first[bag] + tree.removed[bag], tree.clique_first[bag + 1]
        for p in range(w - 1, -1, -1):
            if s == s_first:
                break
            kept = False
            for k in range(at, end):
                if tree.place[k] == p:
                    kept = True
            if kept:
                continue
            s -= w + 2
            v = anew.down_solved[s + w]
            for j in range(w):
                share = anew.down_solved[s + j]
                if share != 0.0:
                    v += share * node_v[tree.clique[first + j]]
            node_v[tree.clique[first + p]] = v
    elif tree.removed[bag]:
        first = tree.clique_first[bag]
        v = anew.up_v[bag]
        for k in range(first + 1, tree.clique_first[bag + 1]):
            v += anew.up_share[k] * node_v[tree.clique[k]]
        node_v[tree.clique[first]] = v
    return inner


@kernel
def _descend(tree, base, table, now, anew, region, tail, head, bag, down, same_a):
    """Find the voltages of the bag beyond an edge and follow its elements."""
    inner = _find(tree, anew, region, bag, down)
    return _follow_bag(tree, base, table, now, region, tail, head, inner, same_a)


@kernel
def _follow_bag(tree, base, table, now, region, tail, head, inner, same_a):
    """Follow a bag's own elements; return whether one changed its piece."""
    node_v = region.node_v
    changed = False
    for k in range(tree.own_first[inner], tree.own_first[inner + 1]):
        e = tree.own[k]
        if base.bent[e]:
            u = base.across_v[e] + node_v[tail[e]] - node_v[head[e]]
            if _follow(table, base, now, e, u, same_a):
                changed = True
    return changed


@kernel
def _open(tree, region, k):
    """Move an edge from the frontier into the region; what lies beyond becomes frontier."""
    opened, front = region.state[0], region.state[1]
    bag, down = region.front_bag[k], region.front_down[k]
    region.bag[opened] = bag
    region.down[opened] = down
    region.to[opened] = region.front_to[k]
    region.dirty[opened] = 0
    region.state[0] = opened + 1
    front -= 1
    region.front_bag[k] = region.front_bag[front]
    region.front_down[k] = region.front_down[front]
    region.front_to[k] = region.front_to[front]
    inner = tree.parent[bag] if down else bag
    for c in range(2):
        other = tree.child[inner, c]
        if other >= 0 and not (down and other == bag):
            region.front_bag[front] = other
            region.front_down[front] = 0
            region.front_to[front] = opened
            front += 1
    if down and tree.parent[inner] >= 0:
        region.front_bag[front] = inner
        region.front_down[front] = 1
        region.front_to[front] = opened
        front += 1
    region.state[1] = front
    region.tally[2] += 1


@kernel
def _edge_strain(tree, reach, region, bag, down):
    at, end = tree.clique_first[bag] + tree.removed[bag], tree.clique_first[bag + 1]
    return strain(reach.down if down else reach.up, region.node_v, tree.clique, at, end)


@kernel
def _grow(tree, base, table, now, anew, reach, region, tail, head, same_a):
    """Open what is strained; return how many edges were opened, and whether a piece changed."""
    worst = 0.0
    for k in range(region.state[1]):
        worst = max(
            worst, _edge_strain(tree, reach, region, region.front_bag[k], region.front_down[k])
        )
    if not worst >= 1.0:
        return 0, False
    least = max(1.0, _KEEP_UP * worst)
    before, changed = region.state[0], False
    k = 0
    while k < region.state[1]:
        bag, down = region.front_bag[k], region.front_down[k]
        # what lies beyond an element that just changed is judged after the next solution
        to = region.front_to[k]
        waiting = to >= before and region.dirty[to] == 1
        if waiting or _edge_strain(tree, reach, region, bag, down) < least:
            k += 1
            continue
        _open(tree, region, k)
        opened = region.state[0] - 1
        if _descend(tree, base, table, now, anew, region, tail, head, bag, down, same_a):
            region.dirty[opened] = 1
            changed = True
    return region.state[0] - before, changed


@kernel
def _solve_local(tree, base, now, anew, local, region):
    n = len(local.node)
    ground, pair, put = region.ground, region.pair[: len(local.near)], region.put
    fill_local(base, now, anew, tree, local, ground, pair, put)
    for v in range(len(local.moving)):
        e = local.moving[v]
        a, b, p = local.moving_tail[v], local.moving_head[v], local.moving_pair[v]
        if p >= 0:
            pair[p] += now.slope_s[e]
            put[a] += now.put_a[e]
            put[b] -= now.put_a[e]
        elif a >= 0:
            ground[a] += now.slope_s[e]
            put[a] += now.put_a[e]
        else:
            ground[b] += now.slope_s[e]
            put[b] -= now.put_a[e]
    for i in range(n):
        eliminate(local, i, ground, pair, put)
    for i in range(n - 1, -1, -1):
        v = put[i]
        for p in range(local.near_first[i], local.near_first[i + 1]):
            v += pair[p] * region.node_v[local.node[local.near[p]]]
        region.node_v[local.node[i]] = v


@kernel
def _leave(region, a, b, current):
    """Let a current leave node a and enter node b; what is left over at PE does not matter."""
    region.left_a[a] -= current
    region.left_a[b] += current


@kernel
def _left_bag(tree, base, now, region, v, tail, head, bag):
    """Count the currents of a bag's own elements and leak."""
    if tree.removed[bag]:
        n = tree.clique[tree.clique_first[bag]]
        region.left_a[n] += base.rest_a[n] - base.leak_s * v[n]
    for k in range(tree.own_first[bag], tree.own_first[bag + 1]):
        e = tree.own[k]
        a, b = tail[e], head[e]
        _leave(region, a, b, now.slope_s[e] * (v[a] - v[b]) - now.put_a[e])


@kernel
def _left_edge(tree, messages, region, v, bag, down):
    """Count the currents of a message from beyond the region."""
    mesh_s = messages.down_s if down else messages.up_s
    put_a = messages.down_a if down else messages.up_a
    t = tree.tri_first[bag]
    at = tree.clique_first[bag] + tree.removed[bag]
    for j in range(at, tree.clique_first[bag + 1]):
        b = tree.clique[j]
        region.left_a[b] += put_a[j]
        for i in range(at, j):
            a = tree.clique[i]
            _leave(region, a, b, mesh_s[t] * (v[a] - v[b]))
            t += 1
        region.left_a[b] -= mesh_s[t] * v[b]
        t += 1


@kernel
def _push(tree, anew, region, k, back):
    """Pass what is left over at the nodes of an opened bag on; or, back, find its refinement."""
    bag, left, fine = region.bag[k], region.left_a, region.fine_v
    if region.down[k] == 0:
        if tree.removed[bag]:
            first, end = tree.clique_first[bag], tree.clique_first[bag + 1]
            n = tree.clique[first]
            if back:
                fine[n] = left[n] * anew.up_ohm[bag]
            for c in range(first + 1, end):
                if back:
                    fine[n] += anew.up_share[c] * fine[tree.clique[c]]
                else:
                    left[tree.clique[c]] += anew.up_share[c] * left[n]
        return
    inner = tree.parent[bag]
    first = tree.clique_first[inner]
    w = tree.clique_first[inner + 1] - first
    at, end = tree.clique_first[bag] + tree.removed[bag], tree.clique_first[bag + 1]
    s = tree.solved_first[bag + 1] if back else tree.solved_first[bag]
    for step in range(w):
        p = w - 1 - step if back else step
        kept = False
        for c in range(at, end):
            kept |= tree.place[c] == p
        if kept:
            continue
        n = tree.clique[first + p]
        if back:
            s -= w + 2
            fine[n] = left[n] * anew.down_solved[s + w + 1]
            for j in range(w):
                fine[n] += anew.down_solved[s + j] * fine[tree.clique[first + j]]
        else:
            for j in range(w):
                left[tree.clique[first + j]] += anew.down_solved[s + j] * left[n]
            s += w + 2


@kernel
def _inner(tree, region, k):
    """Return the bag beyond an opened edge."""
    return tree.parent[region.bag[k]] if region.down[k] else region.bag[k]


@kernel
def _count_left(tree, base, now, anew, local, region, v, tail, head):
    """Count the currents left over at all nodes that are followed."""
    left = region.left_a
    for n in local.node:
        left[n] = 0.0
    for k in range(region.state[0]):
        inner = _inner(tree, region, k)
        for c in range(tree.clique_first[inner], tree.clique_first[inner + 1]):
            left[tree.clique[c]] = 0.0
    for bag in local.bag:
        _left_bag(tree, base, now, region, v, tail, head, bag)
    for k in range(region.state[0]):
        _left_bag(tree, base, now, region, v, tail, head, _inner(tree, region, k))
    for k in range(region.state[1]):
        _left_edge(tree, anew, region, v, region.front_bag[k], region.front_down[k])


@kernel
def _refine(tree, base, now, anew, local, region, tail, head):
    """Solve once more for the currents left over everywhere; return the worst of them."""
    left, fine = region.left_a, region.fine_v
    _count_left(tree, base, now, anew, local, region, region.node_v, tail, head)
    worst = 0.0
    for n in local.node:
        worst = max(worst, abs(left[n]))
    for k in range(region.state[0]):
        inner = _inner(tree, region, k)
        if tree.removed[inner]:
            worst = max(worst, abs(left[tree.clique[tree.clique_first[inner]]]))
    for k in range(region.state[0] - 1, -1, -1):
        _push(tree, anew, region, k, False)
    n = len(local.node)
    for i in range(n):
        for p in range(local.near_first[i], local.near_first[i + 1]):
            left[local.node[local.near[p]]] += region.pair[p] * left[local.node[i]]
    for i in range(n - 1, -1, -1):
        v = left[local.node[i]] * region.ground[i]
        for p in range(local.near_first[i], local.near_first[i + 1]):
            v += region.pair[p] * fine[local.node[local.near[p]]]
        fine[local.node[i]] = v
    for k in range(region.state[0]):
        _push(tree, anew, region, k, True)
    return worst


@kernel
def _followed(tree, base, local, region):
    """List the nodes and bent elements that are followed; return their numbers."""
    nodes, bends = 0, 0
    for n in local.node:
        region.seen[n] = 1
        region.play[nodes] = n
        nodes += 1
    for e in local.moving:
        region.bend[bends] = e
        bends += 1
    for k in range(region.state[0]):
        inner = _inner(tree, region, k)
        for c in range(tree.clique_first[inner], tree.clique_first[inner + 1]):
            n = tree.clique[c]
            if region.seen[n] == 0:
                region.seen[n] = 1
                region.play[nodes] = n
                nodes += 1
        for c in range(tree.own_first[inner], tree.own_first[inner + 1]):
            if base.bent[tree.own[c]]:
                region.bend[bends] = tree.own[c]
                bends += 1
    for k in range(nodes):
        region.seen[region.play[k]] = 0
    return nodes, bends


@kernel
def _place(table, base, now, e, u):
    """Put an element on the piece it has at a voltage."""
    curve = now.curve[e]
    k = piece_at(table, curve, u)
    slope = table.slope_s[curve, k]
    now.slope_s[e] = slope
    now.put_a[e] = base.current_a[e] - (slope * base.across_v[e] + table.intercept_a[curve, k])
    now.low_v[e], now.high_v[e] = bounds_of(table, curve, k)


@kernel
def _slope_along(table, base, now, region, bends, tail, head, descent, t):
    """Return the derivative of the co-content along a step, at part t of it."""
    total = descent * (t - 1.0)
    old, new = region.old_v, region.node_v
    for k in range(bends):
        e = region.bend[k]
        start = old[tail[e]] - old[head[e]]
        du = (new[tail[e]] - new[head[e]]) - start
        moved = start + t * du
        u = base.across_v[e] + moved
        if u > now.high_v[e] or u <= now.low_v[e]:
            curve = now.curve[e]
            p = piece_at(table, curve, u)
            line_a = (base.current_a[e] - now.put_a[e]) + now.slope_s[e] * moved
            total += (table.slope_s[curve, p] * u + table.intercept_a[curve, p] - line_a) * du
    return total


@kernel
def _shorten(tree, table, base, now, anew, local, region, tail, head):
    """Shorten the step from `old_v` to `node_v` to where the co-content is least on it."""
    nodes, bends = _followed(tree, base, local, region)
    old, new = region.old_v, region.node_v
    _count_left(tree, base, now, anew, local, region, old, tail, head)
    descent = 0.0
    for k in range(nodes):
        n = region.play[k]
        if n > 0:
            descent += region.left_a[n] * (new[n] - old[n])
    t = 1.0
    if _slope_along(table, base, now, region, bends, tail, head, descent, 1.0) > 1e-9 * descent:
        low, high = 0.0, 1.0
        at_low = -descent
        at_high = _slope_along(table, base, now, region, bends, tail, head, descent, 1.0)
        for trial in range(_TRIALS):
            t = low - at_low * (high - low) / (at_high - at_low)
            if trial % 3 == 2 or not low < t < high:
                t = 0.5 * (low + high)
            at = _slope_along(table, base, now, region, bends, tail, head, descent, t)
            if abs(at) <= 1e-3 * descent:
                break
            if at > 0.0:
                high, at_high = t, at
            else:
                low, at_low = t, at
        for k in range(nodes):
            n = region.play[k]
            new[n] = old[n] + t * (new[n] - old[n])
    return t


@kernel
def _remember(tree, base, table, now, local, region, tail, head):
    """Begin a careful step: note the voltages, and put everything on the pieces it has there."""
    nodes, bends = _followed(tree, base, local, region)
    for k in range(nodes):
        region.old_v[region.play[k]] = region.node_v[region.play[k]]
    v = region.old_v
    for k in range(bends):
        e = region.bend[k]
        _place(table, base, now, e, base.across_v[e] + v[tail[e]] - v[head[e]])


@kernel
def _pass_on(tree, base, now, anew, region, scratch):
    """Make anew what messages have become out of date."""
    for k in range(region.state[0] - 1, -1, -1):
        if region.dirty[k]:
            region.dirty[k] = 0
            region.tally[3] += 1
            if region.down[k]:
                make_down(tree, base, now, anew, region.bag[k], scratch)
            else:
                make_up(tree, base, now, anew, region.bag[k], scratch)
            if region.to[k] >= 0:
                region.dirty[region.to[k]] = 1


@kernel
def settle_region(
    tree, base, table, now, anew, reach, pack, region, scratch, tail, head, everything
):
    """Solve until region and neighbourhood are consistent; return whether they are."""
    local = unpack(pack, region.state[2])
    node_v = region.node_v
    for step in range(ROUNDS):
        careful = step >= CAREFUL
        same_a = SAME_A if step < _PATIENT else SAME_LATE_A
        region.tally[1] += 1
        if careful:
            _remember(tree, base, table, now, local, region, tail, head)
            region.dirty[: region.state[0]] = 1
        _pass_on(tree, base, now, anew, region, scratch)
        _solve_local(tree, base, now, anew, local, region)
        whole = True
        if careful:
            for k in range(region.state[0]):
                _find(tree, anew, region, region.bag[k], region.down[k])
            whole = _shorten(tree, table, base, now, anew, local, region, tail, head) == 1.0
        changed = False
        for v in range(len(local.moving)):
            e = local.moving[v]
            u = base.across_v[e] + node_v[tail[e]] - node_v[head[e]]
            if _follow(table, base, now, e, u, same_a):
                changed = True
        for k in range(region.state[0]):
            bag, down = region.bag[k], region.down[k]
            if careful:
                new = _follow_bag(
                    tree, base, table, now, region, tail, head, _inner(tree, region, k), same_a
                )
            else:
                new = _descend(tree, base, table, now, anew, region, tail, head, bag, down, same_a)
            if new:
                region.dirty[k] = 1
                changed = True
        if changed or not whole:
            continue
        if everything:
            return True
        while True:
            opened, changed = _grow(tree, base, table, now, anew, reach, region, tail, head, same_a)
            if changed or opened == 0:
                break
        if not changed:
            return True
    return False


@kernel
def run_hard(
    tree,
    base,
    base_v,
    lines,
    now,
    table,
    messages,
    anew,
    reach,
    pack,
    cases,
    h,
    first,
    width,
    room,
    region,
    scratch,
    tail,
    head,
    out,
):
    """Solve those lanes of a batch that could not be certified; return how many were."""
    local = unpack(pack, h)
    done = 0
    for l in range(width):
        if room.flag[1, l] == 0:
            continue
        done += 1
        if region.state[2] != h:
            close(tree, lines, now, messages, anew, pack, region)
            open_at(pack, region, h)
        for v in range(len(local.moving)):
            e = local.moving[v]
            now.curve[e] = room.curve[v, l]
            now.slope_s[e] = room.slope[v, l]
            now.put_a[e] = room.line[v, l]
            now.low_v[e] = room.low[v, l]
            now.high_v[e] = room.high[v, l]
        region.tally[0] += 1
        good = settle_region(
            tree, base, table, now, anew, reach, pack, region, scratch, tail, head, False
        )
        case = cases.case_first[h] + first + l
        if not good:
            out.certificate[case] = REFERENCE
            close(tree, lines, now, messages, anew, pack, region)
            continue
        out.certificate[case] = HARD
        out.residual_a[case] = _refine(tree, base, now, anew, local, region, tail, head)
        for i in range(len(local.node)):
            room.move[i, l] = region.node_v[local.node[i]]
            room.fine[i, l] = region.fine_v[local.node[i]]
        for v in range(len(local.moving)):
            room.slope[v, l] = now.slope_s[local.moving[v]]
            room.line[v, l] = now.put_a[local.moving[v]]
        write_case(base, base_v, cases, local, h, first + l, l, room, now, out)
    return done


@kernel
def settle_everywhere(
    tree,
    base,
    lines,
    now,
    table,
    messages,
    anew,
    reach,
    pack,
    h,
    curve_of,
    region,
    scratch,
    tail,
    head,
):
    """Solve one case with every bag opened; `region.node_v` then has all changes of voltages."""
    local = unpack(pack, h)
    close(tree, lines, now, messages, anew, pack, region)
    open_at(pack, region, h)
    for e in local.moving:
        now.curve[e] = curve_of[e]
        k = piece_at(table, curve_of[e], base.across_v[e])
        slope = table.slope_s[curve_of[e], k]
        line_a = slope * base.across_v[e] + table.intercept_a[curve_of[e], k]
        now.slope_s[e] = slope
        now.put_a[e] = base.current_a[e] - line_a
        now.low_v[e], now.high_v[e] = bounds_of(table, curve_of[e], k)
    while region.state[1] > 0:
        _open(tree, region, 0)
    good = settle_region(
        tree, base, table, now, anew, reach, pack, region, scratch, tail, head, True
    )
    if good:
        _refine(tree, base, now, anew, local, region, tail, head)
    close(tree, lines, now, messages, anew, pack, region)
    return good
