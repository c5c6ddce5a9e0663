"""Cases of one neighbourhood, solved side by side in lanes.

Newton in the neighbourhood only: the rest is there as messages, linear as at the base. Each step
solves for the whole change against the base, so that the step that changes no piece has no error
but the rounding of one elimination.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.jit import kernel
from ringout.solve.campaign.local import unpack

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

LANES = 32
STEPS = 12  # Newton steps before a case is handed on
_PATIENT = 6  # steps before corners are passed over
SAME_A = 1e-14  # beyond a corner by less is not beyond it
SAME_LATE_A = 1e-12

LOCAL, HARD, REFERENCE, UNSOLVED = 0, 1, 2, 3


class Fixed(NamedTuple):
    """Neighbourhoods at a base: what is the same in all their cases.

    Args:
        ground_s: conductance to PE, at each node of each neighbourhood; for nodes eliminated
            for good, one over the sum of their conductances.
        pair_s: conductance of each pair; for nodes eliminated for good, their shares.
        put_a: current into each node; for nodes eliminated for good, what they have besides.
    """

    ground_s: FloatArray
    pair_s: FloatArray
    put_a: FloatArray


class Table(NamedTuple):
    """The curves: breaks (C, K), slopes and intercepts (C, K + 1), breaks of each (C,)."""

    break_v: FloatArray
    slope_s: FloatArray
    intercept_a: FloatArray
    count: IntArray


class Cases(NamedTuple):
    """Cases to enumerate: in each neighbourhood every fault in every state.

    Changes name the element by its number among the neighbourhood's `moving`.

    Args:
        fault_first: (H + 1,) faults of each neighbourhood.
        fault_change: (F + 1,) changes of each fault.
        state_first: (H + 1,) states of each neighbourhood.
        state_change: (Z + 1,) changes of each state.
        fault_element: changed elements of the faults.
        fault_curve: their new curves.
        state_element: changed elements of the states.
        state_curve: their new curves.
        read_first: (H + 1,) readings of each neighbourhood.
        read: (R, 3) tail place, head place, and element: -1 for the voltage, the number of a
            moving one, or -2 - number of a still one, for its current.
        limit_first: (H + 1,) limits of each neighbourhood, at most 63 each.
        limit: (D, 2) places between which the voltage is compared.
        limit_v: (D,) with what.
        case_first: (H + 1,) cases of each neighbourhood.
        value_first: (H + 1,) readings' values of each neighbourhood.
    """

    fault_first: IntArray
    fault_change: IntArray
    state_first: IntArray
    state_change: IntArray
    fault_element: IntArray
    fault_curve: IntArray
    state_element: IntArray
    state_curve: IntArray
    read_first: IntArray
    read: IntArray
    limit_first: IntArray
    limit: IntArray
    limit_v: FloatArray
    case_first: IntArray
    value_first: IntArray


class Out(NamedTuple):
    """What is kept of each case: readings, decisions as bits, how certified, imbalance."""

    value: FloatArray
    decision: IntArray
    certificate: NDArray[np.uint8]
    residual_a: FloatArray


class Lanes(NamedTuple):
    """Room for cases side by side, each (rows, LANES)."""

    ground: FloatArray
    pair: FloatArray
    put: FloatArray
    move: FloatArray
    fine: FloatArray
    slope: FloatArray
    line: FloatArray
    low: FloatArray
    high: FloatArray
    curve: IntArray
    row: FloatArray
    flag: IntArray


def lanes_of(nodes: int, pairs: int, moving: int) -> Lanes:
    """Return room for neighbourhoods of at most these sizes."""

    def room(rows: int) -> FloatArray:
        return np.zeros((max(rows, 1), LANES))

    return Lanes(
        room(nodes),
        room(pairs),
        room(nodes),
        room(nodes),
        room(nodes),
        room(moving),
        room(moving),
        room(moving),
        room(moving),
        np.zeros((max(moving, 1), LANES), dtype=np.int64),
        room(4),
        np.zeros((4, LANES), dtype=np.int64),
    )


@kernel
def piece_at(table, curve, v):
    """Return the piece of a curve at a voltage: the number of breaks below it."""
    k = 0
    count = table.count[curve]
    while k < count and table.break_v[curve, k] < v:
        k += 1
    return k


@kernel
def bounds_of(table, curve, piece):
    """Return where a piece begins and ends."""
    low = table.break_v[curve, piece - 1] if piece > 0 else -np.inf
    high = table.break_v[curve, piece] if piece < table.count[curve] else np.inf
    return low, high


@kernel
def fix(tree, base, lines, messages, pack, fixed, h):
    """Eliminate for good what is the same in all cases of a neighbourhood."""
    local = unpack(pack, h)
    n0, p0 = pack.node_first[h], pack.pair_first[h]
    n = len(local.node)
    ground = fixed.ground_s[n0 : n0 + n]
    put = fixed.put_a[n0 : n0 + n]
    pair = fixed.pair_s[p0 : p0 + len(local.near)]
    fill_local(base, lines, messages, tree, local, ground, pair, put)
    for i in range(local.fixed[0]):
        eliminate(local, i, ground, pair, put)


@kernel
def fill_local(base, lines, messages, tree, local, ground, pair, put):
    """Put what does not move and the messages into the emptied arrays of a neighbourhood."""
    pair[:] = 0.0
    for i in range(len(local.node)):
        ground[i] = base.leak_s if local.inside[i] else 0.0
        put[i] = base.rest_a[local.node[i]] if local.inside[i] else 0.0
    for k in range(len(local.still)):
        g = lines.slope_s[local.still[k]]
        if local.still_pair[k] >= 0:
            pair[local.still_pair[k]] += g
        else:
            ground[max(local.still_tail[k], local.still_head[k])] += g
    for k in range(len(local.edge_bag)):
        bag = local.edge_bag[k]
        at = tree.clique_first[bag] + tree.removed[bag] - local.edge_first[k]
        t = tree.tri_first[bag] - local.edge_tri[k]
        down = local.edge_down[k] == 1
        for i in range(local.edge_first[k], local.edge_first[k + 1]):
            put[local.edge_node[i]] += messages.down_a[at + i] if down else messages.up_a[at + i]
        for i in range(local.edge_tri[k], local.edge_tri[k + 1]):
            g = messages.down_s[t + i] if down else messages.up_s[t + i]
            p = local.edge_pair[i]
            if p >= 0:
                pair[p] += g
            else:
                ground[-1 - p] += g


@kernel
def eliminate(local, i, ground, pair, put):
    """Eliminate node i: its pairs become shares, its current what it has besides."""
    first, end = local.near_first[i], local.near_first[i + 1]
    d = ground[i]
    for p in range(first, end):
        d += pair[p]
    d = 1.0 / d
    mesh = local.mesh_first[i]
    for p in range(first, end):
        share = pair[p] * d
        j = local.near[p]
        ground[j] += share * ground[i]
        put[j] += share * put[i]
        for q in range(p + 1, end):
            pair[local.mesh[mesh]] += share * pair[q]
            mesh += 1
        pair[p] = share
    put[i] *= d
    ground[i] = d


@kernel
def _load(table, base, lines, local, cases, h, first, width, room):
    """Put the cases' elements on the pieces they have at the base voltage."""
    states = cases.state_first[h + 1] - cases.state_first[h]
    for v in range(len(local.moving)):
        e = local.moving[v]
        room.slope[v] = lines.slope_s[e]
        room.line[v] = 0.0
        room.low[v] = lines.low_v[e]
        room.high[v] = lines.high_v[e]
        room.curve[v] = lines.curve[e]
    for l in range(width):
        f = cases.fault_first[h] + (first + l) // states
        z = cases.state_first[h] + (first + l) % states
        for k in range(cases.state_change[z], cases.state_change[z + 1]):
            _set(table, base, local, room, l, cases.state_element[k], cases.state_curve[k])
        for k in range(cases.fault_change[f], cases.fault_change[f + 1]):
            _set(table, base, local, room, l, cases.fault_element[k], cases.fault_curve[k])


@kernel
def _set(table, base, local, room, l, v, curve):
    e = local.moving[v]
    room.curve[v, l] = curve
    _place(table, base, room, l, v, e, base.across_v[e])


@kernel
def _place(table, base, room, l, v, e, across_v):
    """Put an element on the piece it has at a voltage."""
    _place_piece(table, base, room, l, v, e, piece_at(table, room.curve[v, l], across_v))


@kernel
def _place_piece(table, base, room, l, v, e, k):
    """Put an element on a piece."""
    curve = room.curve[v, l]
    slope = table.slope_s[curve, k]
    room.slope[v, l] = slope
    line_a = slope * base.across_v[e] + table.intercept_a[curve, k]
    room.line[v, l] = base.current_a[e] - line_a
    room.low[v, l], room.high[v, l] = bounds_of(table, curve, k)


@kernel
def _solve(local, fixed, n0, p0, room):
    """Solve all lanes for the change of the voltages, on the pieces they are on."""
    n, start = len(local.node), local.fixed[0]
    ground, pair, put, move = room.ground, room.pair, room.put, room.move
    for i in range(start, n):
        g, a = fixed.ground_s[n0 + i], fixed.put_a[n0 + i]
        for l in range(LANES):
            ground[i, l] = g
            put[i, l] = a
        for p in range(local.near_first[i], local.near_first[i + 1]):
            g = fixed.pair_s[p0 + p]
            for l in range(LANES):
                pair[p, l] = g
    for v in range(len(local.moving)):
        a, b, p = local.moving_tail[v], local.moving_head[v], local.moving_pair[v]
        if p >= 0:
            for l in range(LANES):
                pair[p, l] += room.slope[v, l]
                put[a, l] += room.line[v, l]
                put[b, l] -= room.line[v, l]
        elif a >= 0:
            for l in range(LANES):
                ground[a, l] += room.slope[v, l]
                put[a, l] += room.line[v, l]
        else:
            for l in range(LANES):
                ground[b, l] += room.slope[v, l]
                put[b, l] -= room.line[v, l]
    whole = room.row[0]
    for i in range(start, n):
        first, end = local.near_first[i], local.near_first[i + 1]
        for l in range(LANES):
            whole[l] = ground[i, l]
        for p in range(first, end):
            for l in range(LANES):
                whole[l] += pair[p, l]
        for l in range(LANES):
            whole[l] = 1.0 / whole[l]
        mesh = local.mesh_first[i]
        for p in range(first, end):
            j = local.near[p]
            for l in range(LANES):
                share = pair[p, l] * whole[l]
                ground[j, l] += share * ground[i, l]
                put[j, l] += share * put[i, l]
                pair[p, l] = share
            for q in range(p + 1, end):
                t = local.mesh[mesh]
                mesh += 1
                for l in range(LANES):
                    pair[t, l] += pair[p, l] * pair[q, l]
        for l in range(LANES):
            put[i, l] *= whole[l]
            ground[i, l] = whole[l]
    for i in range(n - 1, start - 1, -1):
        for l in range(LANES):
            move[i, l] = put[i, l]
        for p in range(local.near_first[i], local.near_first[i + 1]):
            j = local.near[p]
            for l in range(LANES):
                move[i, l] += pair[p, l] * move[j, l]


@kernel
def _across(local, base, room, v, out):
    """Fill in the voltage across a moving element in all lanes."""
    a, b = local.moving_tail[v], local.moving_head[v]
    u = base.across_v[local.moving[v]]
    for l in range(LANES):
        out[l] = u
    if a >= 0:
        for l in range(LANES):
            out[l] += room.move[a, l]
    if b >= 0:
        for l in range(LANES):
            out[l] -= room.move[b, l]


@kernel
def _check(table, base, local, room, width, same_a):
    """Put elements that left their piece on the new one; return how many lanes had such."""
    u, changed = room.row[1], room.flag[0]
    changed[:] = 0
    for v in range(len(local.moving)):
        _across(local, base, room, v, u)
        out = 0
        for l in range(LANES):
            out += (u[l] > room.high[v, l]) | (u[l] <= room.low[v, l])
        if out == 0:
            continue
        for l in range(width):
            over = max(u[l] - room.high[v, l], room.low[v, l] - u[l])
            if over >= 0.0:
                before = room.slope[v, l]
                curve = room.curve[v, l]
                k = piece_at(table, curve, room.high[v, l])
                k += 1 if u[l] > room.high[v, l] else -1
                if over * max(before, table.slope_s[curve, k]) > same_a:
                    _place_piece(table, base, room, l, v, local.moving[v], k)
                    changed[l] = 1
    left = 0
    for l in range(width):
        left += changed[l]
    return left


@kernel
def _settle_fixed(local, fixed, n0, p0, room):
    """Fill in the nodes that were eliminated for good."""
    move = room.move
    for i in range(local.fixed[0] - 1, -1, -1):
        a = fixed.put_a[n0 + i]
        for l in range(LANES):
            move[i, l] = a
        for p in range(local.near_first[i], local.near_first[i + 1]):
            j, share = local.near[p], fixed.pair_s[p0 + p]
            for l in range(LANES):
                move[i, l] += share * move[j, l]


@kernel
def _strain(local, tree, reach, room):
    """Fill row 2 with the worst bound over all messages that come in."""
    worst, total, move = room.row[2], room.row[3], room.move
    worst[:] = 0.0
    for k in range(len(local.edge_bag)):
        first, end = local.edge_first[k], local.edge_first[k + 1]
        if end == first:
            continue
        bag = local.edge_bag[k]
        at = tree.clique_first[bag] + tree.removed[bag] - first
        last = local.edge_node[end - 1]
        for i in range(first, end):
            if local.edge_down[k]:
                up, down = reach.down[at + i, 0], reach.down[at + i, 1]
            else:
                up, down = reach.up[at + i, 0], reach.up[at + i, 1]
            node = local.edge_node[i]
            if i == first:
                total[:] = 0.0
            if i < end - 1:
                for l in range(LANES):
                    x = move[node, l] - move[last, l]
                    total[l] += max(x * up, -x * down)
            else:
                for l in range(LANES):
                    x = move[last, l]
                    total[l] += max(x * up, -x * down)
        for l in range(LANES):
            worst[l] = max(worst[l], total[l])


@kernel
def _imbalance(local, fixed, n0, p0, room):
    """Fill row 3 with the worst current left over at a node, from the voltages found."""
    n, start = len(local.node), local.fixed[0]
    put, move, worst = room.put, room.move, room.row[3]
    for i in range(start, n):
        g, a = fixed.ground_s[n0 + i], fixed.put_a[n0 + i]
        for l in range(LANES):
            put[i, l] = a - g * move[i, l]
    for i in range(start, n):
        for p in range(local.near_first[i], local.near_first[i + 1]):
            j, g = local.near[p], fixed.pair_s[p0 + p]
            if g != 0.0:
                for l in range(LANES):
                    current = g * (move[i, l] - move[j, l])
                    put[i, l] -= current
                    put[j, l] += current
    for v in range(len(local.moving)):
        a, b = local.moving_tail[v], local.moving_head[v]
        if a >= 0 and b >= 0:
            for l in range(LANES):
                current = room.slope[v, l] * (move[a, l] - move[b, l]) - room.line[v, l]
                put[a, l] -= current
                put[b, l] += current
        elif a >= 0:
            for l in range(LANES):
                put[a, l] -= room.slope[v, l] * move[a, l] - room.line[v, l]
        else:
            for l in range(LANES):
                put[b, l] -= room.slope[v, l] * move[b, l] + room.line[v, l]
    worst[:] = 0.0
    for i in range(start, n):
        for l in range(LANES):
            worst[l] = max(worst[l], abs(put[i, l]))


@kernel
def _refine(local, fixed, p0, room):
    """Solve once more for the currents left over; kept apart, for the sum would lose it again."""
    n, start = len(local.node), local.fixed[0]
    put, fine, pair = room.put, room.fine, room.pair
    for i in range(start, n):
        for p in range(local.near_first[i], local.near_first[i + 1]):
            j = local.near[p]
            for l in range(LANES):
                put[j, l] += pair[p, l] * put[i, l]
    for i in range(n - 1, start - 1, -1):
        for l in range(LANES):
            fine[i, l] = put[i, l] * room.ground[i, l]
        for p in range(local.near_first[i], local.near_first[i + 1]):
            j = local.near[p]
            for l in range(LANES):
                fine[i, l] += pair[p, l] * fine[j, l]
    for i in range(start - 1, -1, -1):
        fine[i, :] = 0.0
        for p in range(local.near_first[i], local.near_first[i + 1]):
            j, share = local.near[p], fixed.pair_s[p0 + p]
            for l in range(LANES):
                fine[i, l] += share * fine[j, l]


@kernel
def _moved(room, a, b, l):
    """Return the change of the voltage from place a to place b."""
    coarse = (room.move[a, l] if a >= 0 else 0.0) - (room.move[b, l] if b >= 0 else 0.0)
    fine = (room.fine[a, l] if a >= 0 else 0.0) - (room.fine[b, l] if b >= 0 else 0.0)
    return coarse, fine


@kernel
def write_case(base, base_v, cases, local, h, case, l, room, lines, out):
    """Write the readings and decisions of a lane."""
    reads = cases.read_first[h + 1] - cases.read_first[h]
    at = cases.value_first[h] + case * reads
    for r in range(reads):
        row = cases.read[cases.read_first[h] + r]
        a, b, kind = row[0], row[1], row[2]
        coarse, fine = _moved(room, a, b, l)
        if kind == -1:
            va = base_v[local.node[a]] if a >= 0 else 0.0
            vb = base_v[local.node[b]] if b >= 0 else 0.0
            out.value[at + r] = (va - vb) + coarse + fine
        elif kind >= 0:
            e = local.moving[kind]
            current = (base.current_a[e] - room.line[kind, l]) + room.slope[kind, l] * coarse
            out.value[at + r] = current + room.slope[kind, l] * fine
        else:
            e = local.still[-2 - kind]
            out.value[at + r] = base.current_a[e] + lines.slope_s[e] * (coarse + fine)
    bits = 0
    for d in range(cases.limit_first[h], cases.limit_first[h + 1]):
        a, b = cases.limit[d, 0], cases.limit[d, 1]
        coarse, fine = _moved(room, a, b, l)
        va = base_v[local.node[a]] if a >= 0 else 0.0
        vb = base_v[local.node[b]] if b >= 0 else 0.0
        if (va - vb) + coarse + fine > cases.limit_v[d]:
            bits |= 1 << (d - cases.limit_first[h])
    out.decision[cases.case_first[h] + case] = bits


@kernel
def run_lanes(tree, base, base_v, lines, table, reach, pack, fixed, cases, h, first, room, out):
    """Solve up to LANES cases of neighbourhood h from case `first` on; return their number.

    Row 0 of the flags then tells which could not be certified; their certificate is `HARD`.
    """
    local = unpack(pack, h)
    n0, p0 = pack.node_first[h], pack.pair_first[h]
    count = cases.case_first[h + 1] - cases.case_first[h]
    width = min(LANES, count - first)
    _load(table, base, lines, local, cases, h, first, width, room)
    left = width
    for step in range(STEPS):
        _solve(local, fixed, n0, p0, room)
        same_a = SAME_A if step < _PATIENT else SAME_LATE_A
        left = _check(table, base, local, room, width, same_a)
        if left == 0:
            break
    _settle_fixed(local, fixed, n0, p0, room)
    _strain(local, tree, reach, room)
    _imbalance(local, fixed, n0, p0, room)
    _refine(local, fixed, p0, room)
    for l in range(width):
        case = cases.case_first[h] + first + l
        good = room.flag[0, l] == 0 and room.row[2, l] < 1.0
        room.flag[1, l] = 0 if good else 1
        out.certificate[case] = LOCAL if good else HARD
        out.residual_a[case] = room.row[3, l]
        if good:
            write_case(base, base_v, cases, local, h, first + l, l, room, lines, out)
    return width
