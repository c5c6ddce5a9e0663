"""Cases of one neighbourhood, solved side by side in lanes.

Newton in the neighbourhood only: the rest is there as messages, linear as at the base. Each step
solves for the whole change against the base, so that the step that changes no piece has no error
but the rounding of one elimination.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.cases import Cases
from ringout.solve.campaign.jit import kernel
from ringout.solve.campaign.local import Local, Mesh
from ringout.solve.campaign.messages import Base, Lines
from ringout.solve.campaign.pieces import Table, high_of, low_of, piece_at

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

LANES = 32
STEPS = 12  # Newton steps before a case is handed on
PATIENT = 6  # steps before corners are passed over
SAME_A = 1e-14  # beyond a corner by less is not beyond it
SAME_LATE_A = 1e-12


class Lanes(NamedTuple):
    """Room for cases side by side, each (rows, LANES) but the first four.

    Args:
        number: (E,) numbers among the moving elements, -1 for the still ones.
        place: (N,) places of the nodes, -1 for PE.
        across_v: (V,) base voltages of the moving elements.
        current_a: (V,) base currents.
        ground: conductances from the nodes to PE, later as in `Mesh`.
        pair: conductances of the pairs.
        put: currents into the nodes.
        move: changes of the voltages.
        fine: their refinement.
        slope: slopes of the moving elements.
        line: what `put_a` is in `Lines`.
        low: where their pieces begin.
        high: where they end.
        curve: their curves.
        row: (4, LANES) 0 and 1 to work with, 2 the bound, 3 the imbalance.
        flag: (1, LANES) 1 where an element changed its piece in the last step.
    """

    number: IntArray
    place: IntArray
    across_v: FloatArray
    current_a: FloatArray
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


class Batch(NamedTuple):
    """Which cases are in the lanes: from `first` on of neighbourhood `area`, without faults or so.

    Args:
        area: neighbourhood.
        first: case in the first lane.
        width: lanes in use.
        sound: 1 for the states alone, without a fault.
    """

    area: int
    first: int
    width: int
    sound: int


def lanes_of(tree: Tree, nodes: int, pairs: int, moving: int) -> Lanes:
    """Return room for neighbourhoods of at most these sizes in a tree."""

    def room(rows: int) -> FloatArray:
        return np.zeros((max(rows, 1), LANES))

    def marks(rows: int) -> IntArray:
        return np.zeros((max(rows, 1), LANES), dtype=np.int64)

    return Lanes(
        np.full(len(tree.tail), -1, dtype=np.int64),
        np.full(len(tree.home), -1, dtype=np.int64),
        np.zeros(moving),
        np.zeros(moving),
        room(nodes),
        room(pairs),
        room(nodes),
        room(nodes),
        room(nodes),
        room(moving),
        room(moving),
        room(moving),
        room(moving),
        marks(moving),
        room(4),
        marks(1),
    )


@kernel
def number_local(local: Local, room: Lanes) -> None:
    """Number the elements and nodes of a neighbourhood, as far as its cases name them."""
    for k in range(len(local.still)):
        room.number[local.still[k]] = -1
    for v in range(len(local.moving)):
        room.number[local.moving[v]] = v
    for i in range(len(local.node)):
        room.place[local.node[i]] = i


@kernel
def load(
    table: Table, base: Base, lines: Lines, local: Local, cases: Cases, batch: Batch, room: Lanes
) -> None:
    """Put the cases' elements on the pieces they have at the base voltage."""
    h = batch.area
    states = cases.state_first[h + 1] - cases.state_first[h]
    for v in range(len(local.moving)):
        e = local.moving[v]
        room.across_v[v] = base.across_v[e]
        room.current_a[v] = base.current_a[e]
        for lane in range(LANES):
            room.slope[v, lane] = lines.slope_s[e]
            room.line[v, lane] = 0.0
            room.low[v, lane] = lines.low_v[e]
            room.high[v, lane] = lines.high_v[e]
            room.curve[v, lane] = lines.curve[e]
    for lane in range(batch.width):
        z = cases.state_first[h] + (batch.first + lane) % states
        for k in range(cases.state_change[z], cases.state_change[z + 1]):
            _set(table, room, lane, cases.state[k, 0], cases.state[k, 1])
        if batch.sound == 0:
            f = cases.fault_first[h] + (batch.first + lane) // states
            for k in range(cases.fault_change[f], cases.fault_change[f + 1]):
                _set(table, room, lane, cases.fault[k, 0], cases.fault[k, 1])


@kernel
def _set(table: Table, room: Lanes, lane: int, e: int, curve: int) -> None:
    """Give an element a curve, on the piece it has at the base voltage."""
    v = room.number[e]
    room.curve[v, lane] = curve
    _place(table, room, lane, v, piece_at(table, curve, room.across_v[v]))


@kernel
def _place(table: Table, room: Lanes, lane: int, v: int, piece: int) -> None:
    """Put an element on a piece."""
    curve = room.curve[v, lane]
    slope = table.slope_s[curve, piece]
    line_a = slope * room.across_v[v] + table.intercept_a[curve, piece]
    room.slope[v, lane] = slope
    room.line[v, lane] = room.current_a[v] - line_a
    room.low[v, lane] = low_of(table, curve, piece)
    room.high[v, lane] = high_of(table, curve, piece)


@kernel
def newton(table: Table, local: Local, part: Mesh, width: int, room: Lanes) -> None:
    """Solve the lanes; where it does not end, their flag stays up."""
    for step in range(STEPS):
        _stamp(local, part, room)
        _eliminate(local, room)
        _find_moves(local, room)
        if _check(table, local, width, SAME_A if step < PATIENT else SAME_LATE_A, room) == 0:
            break
    for i in range(local.fixed[0] - 1, -1, -1):
        for lane in range(LANES):
            room.move[i, lane] = part.put[i]
        for p in range(local.near_first[i], local.near_first[i + 1]):
            j, share = local.near[p], part.pair[p]
            for lane in range(LANES):
                room.move[i, lane] += share * room.move[j, lane]


@kernel
def _stamp(local: Local, part: Mesh, room: Lanes) -> None:
    """Fill the nodes not yet gone with what is the same in all lanes, and the moving elements."""
    ground, pair, put = room.ground, room.pair, room.put
    for i in range(local.fixed[0], len(local.node)):
        for lane in range(LANES):
            ground[i, lane] = part.ground[i]
            put[i, lane] = part.put[i]
        for p in range(local.near_first[i], local.near_first[i + 1]):
            for lane in range(LANES):
                pair[p, lane] = part.pair[p]
    _stamp_moving(local, room)


@kernel
def _stamp_moving(local: Local, room: Lanes) -> None:
    """Put the moving elements into the nodes."""
    ground, pair, put = room.ground, room.pair, room.put
    for v in range(len(local.moving)):
        a, b, p = local.moving_tail[v], local.moving_head[v], local.moving_pair[v]
        if p >= 0:
            for lane in range(LANES):
                pair[p, lane] += room.slope[v, lane]
        else:
            for lane in range(LANES):
                ground[max(a, b), lane] += room.slope[v, lane]
        if a >= 0:
            for lane in range(LANES):
                put[a, lane] += room.line[v, lane]
        if b >= 0:
            for lane in range(LANES):
                put[b, lane] -= room.line[v, lane]


@kernel
def _eliminate(local: Local, room: Lanes) -> None:
    """Eliminate the nodes that were not eliminated for good."""
    ground, pair, put, whole = room.ground, room.pair, room.put, room.row[0]
    for i in range(local.fixed[0], len(local.node)):
        first, end = local.near_first[i], local.near_first[i + 1]
        for lane in range(LANES):
            whole[lane] = ground[i, lane]
        for p in range(first, end):
            for lane in range(LANES):
                whole[lane] += pair[p, lane]
        for lane in range(LANES):
            whole[lane] = 1.0 / whole[lane]
        mesh = local.mesh_first[i]
        for p in range(first, end):
            j = local.near[p]
            for lane in range(LANES):
                share = pair[p, lane] * whole[lane]
                ground[j, lane] += share * ground[i, lane]
                put[j, lane] += share * put[i, lane]
                pair[p, lane] = share
            for q in range(p + 1, end):
                t = local.mesh[mesh]
                mesh += 1
                for lane in range(LANES):
                    pair[t, lane] += pair[p, lane] * pair[q, lane]
        for lane in range(LANES):
            put[i, lane] *= whole[lane]
            ground[i, lane] = whole[lane]


@kernel
def _find_moves(local: Local, room: Lanes) -> None:
    """Find the changes of the voltages."""
    move, pair = room.move, room.pair
    for i in range(len(local.node) - 1, local.fixed[0] - 1, -1):
        for lane in range(LANES):
            move[i, lane] = room.put[i, lane]
        for p in range(local.near_first[i], local.near_first[i + 1]):
            j = local.near[p]
            for lane in range(LANES):
                move[i, lane] += pair[p, lane] * move[j, lane]


@kernel
def _across(local: Local, v: int, room: Lanes) -> None:
    """Fill row 1 with the voltage across a moving element."""
    a, b, u = local.moving_tail[v], local.moving_head[v], room.row[1]
    for lane in range(LANES):
        u[lane] = room.across_v[v]
    if a >= 0:
        for lane in range(LANES):
            u[lane] += room.move[a, lane]
    if b >= 0:
        for lane in range(LANES):
            u[lane] -= room.move[b, lane]


@kernel
def _check(table: Table, local: Local, width: int, same_a: float, room: Lanes) -> int:
    """Put elements that left their piece on the next one; return how many lanes had such."""
    changed, u = room.flag[0], room.row[1]
    for lane in range(LANES):
        changed[lane] = 0
    for v in range(len(local.moving)):
        _across(local, v, room)
        out = 0
        for lane in range(LANES):
            out += (u[lane] > room.high[v, lane]) | (u[lane] <= room.low[v, lane])
        if out == 0:
            continue
        for lane in range(width):
            over = max(u[lane] - room.high[v, lane], room.low[v, lane] - u[lane])
            if over >= 0.0:
                curve = room.curve[v, lane]
                k = piece_at(table, curve, room.high[v, lane])
                k += 1 if u[lane] > room.high[v, lane] else -1
                if over * max(room.slope[v, lane], table.slope_s[curve, k]) > same_a:
                    _place(table, room, lane, v, k)
                    changed[lane] = 1
    left = 0
    for lane in range(width):
        left += changed[lane]
    return left
