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

ROUNDS = 80
_PATIENT = 30  # rounds before corners are passed over
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
    ground: FloatArray
    pair: FloatArray
    put: FloatArray
    tally: IntArray


def region_of(tree: Tree, node_count: int, nodes: int, pairs: int) -> Region:
    """Return room for a region in a tree, and for neighbourhoods of at most these sizes."""
    bags = len(tree.parent) + 1

    def marks(rows: int) -> IntArray:
        return np.zeros(rows, dtype=np.int64)

    return Region(
        marks(bags), marks(bags), marks(bags), marks(bags), marks(2 * bags), marks(2 * bags),
        marks(2 * bags), np.array([0, 0, -1]), np.zeros(node_count), np.zeros(nodes + 1),
        np.zeros(pairs + 1), np.zeros(nodes + 1), marks(4),
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
    k = piece_at(table, curve, u)
    slope = table.slope_s[curve, k]
    if over * max(now.slope_s[e], slope) <= same_a:
        return False
    now.slope_s[e] = slope
    now.put_a[e] = base.current_a[e] - (slope * base.across_v[e] + table.intercept_a[curve, k])
    now.low_v[e], now.high_v[e] = bounds_of(table, curve, k)
    return True


@kernel
def _descend(tree, base, table, now, anew, region, tail, head, bag, down, same_a):
    """Find the voltages of the bag beyond an edge and follow its elements."""
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
            s -= w + 1
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
def _imbalance(tree, base, now, anew, local, region):
    """Return the worst current left over at a node of the neighbourhood."""
    ground, pair, put = region.ground, region.pair[: len(local.near)], region.put
    fill_local(base, now, anew, tree, local, ground, pair, put)
    v = region.node_v
    for i in range(len(local.node)):
        put[i] -= ground[i] * v[local.node[i]]
        for p in range(local.near_first[i], local.near_first[i + 1]):
            j = local.near[p]
            current = pair[p] * (v[local.node[i]] - v[local.node[j]])
            put[i] -= current
            put[j] += current
    for k in range(len(local.moving)):
        e = local.moving[k]
        a, b = local.moving_tail[k], local.moving_head[k]
        va = v[local.node[a]] if a >= 0 else 0.0
        vb = v[local.node[b]] if b >= 0 else 0.0
        current = now.slope_s[e] * (va - vb) - now.put_a[e]
        if a >= 0:
            put[a] -= current
        if b >= 0:
            put[b] += current
    worst = 0.0
    for i in range(len(local.node)):
        worst = max(worst, abs(put[i]))
    return worst


@kernel
def settle_region(tree, base, table, now, anew, reach, pack, region, scratch, tail, head, everything):
    """Solve until region and neighbourhood are consistent; return whether they are."""
    local = unpack(pack, region.state[2])
    node_v = region.node_v
    for step in range(ROUNDS):
        same_a = SAME_A if step < _PATIENT else SAME_LATE_A
        region.tally[1] += 1
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
        _solve_local(tree, base, now, anew, local, region)
        changed = False
        for v in range(len(local.moving)):
            e = local.moving[v]
            u = base.across_v[e] + node_v[tail[e]] - node_v[head[e]]
            if _follow(table, base, now, e, u, same_a):
                changed = True
        for k in range(region.state[0]):
            bag, down = region.bag[k], region.down[k]
            if _descend(tree, base, table, now, anew, region, tail, head, bag, down, same_a):
                region.dirty[k] = 1
                changed = True
        if changed:
            continue
        if everything:
            return True
        while True:
            opened, changed = _grow(
                tree, base, table, now, anew, reach, region, tail, head, same_a
            )
            if changed or opened == 0:
                break
        if not changed:
            return True
    return False


@kernel
def run_hard(
    tree, base, base_v, lines, now, table, messages, anew, reach, pack, cases, h, first, width,
    room, region, scratch, tail, head, out,
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
        out.residual_a[case] = _imbalance(tree, base, now, anew, local, region)
        for i in range(len(local.node)):
            room.move[i, l] = region.node_v[local.node[i]]
        for v in range(len(local.moving)):
            room.slope[v, l] = now.slope_s[local.moving[v]]
            room.line[v, l] = now.put_a[local.moving[v]]
        write_case(base, base_v, cases, local, h, first + l, l, room, now, out)
    return done
