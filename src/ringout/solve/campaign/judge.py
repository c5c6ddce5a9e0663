"""Lanes that are solved, judged: certified or not, how well, and refined once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.jit import kernel
from ringout.solve.campaign.lanes import LANES, Lanes
from ringout.solve.campaign.local import Local, Mesh
from ringout.solve.campaign.reach import Reach

IntArray = NDArray[np.int64]


@kernel
def strain_lanes(
    tree: Tree, reach: Reach, local: Local, width: int, room: Lanes, strained: IntArray
) -> None:
    """Fill row 2 with the worst bound over all messages that come in.

    `strained` is (I,) and gets 1 where a message's own bound is passed in a lane, or is empty.
    """
    worst, total, move = room.row[2], room.row[0], room.move
    for lane in range(LANES):
        worst[lane] = 0.0
    for k in range(len(local.edge_bag)):
        first, end = local.edge_first[k], local.edge_first[k + 1]
        bag = local.edge_bag[k]
        at = tree.clique_first[bag] + tree.removed[bag] - first
        bound = reach.down if local.edge_down[k] else reach.up
        for lane in range(LANES):
            total[lane] = 0.0
        for i in range(first, end):
            up, down, lead = bound[at + i, 0], bound[at + i, 1], reach.lead[at + i]
            node = local.edge_node[i]
            if lead < 0:
                for lane in range(LANES):
                    x = move[node, lane]
                    total[lane] += max(x * up, -x * down)
            else:
                other = local.edge_node[lead - at]
                for lane in range(LANES):
                    x = move[node, lane] - move[other, lane]
                    total[lane] += max(x * up, -x * down)
        for lane in range(LANES):
            worst[lane] = max(worst[lane], total[lane])
        if len(strained):
            for lane in range(width):
                if not total[lane] < 1.0:
                    strained[k] = 1


@kernel
def imbalance(local: Local, part: Mesh, room: Lanes) -> None:
    """Find the currents left over at the nodes; fill row 3 with the worst."""
    n, start = len(local.node), local.fixed[0]
    put, move, worst = room.put, room.move, room.row[3]
    for i in range(start, n):
        for lane in range(LANES):
            put[i, lane] = part.put[i] - part.ground[i] * move[i, lane]
    for i in range(start, n):
        for p in range(local.near_first[i], local.near_first[i + 1]):
            j, g = local.near[p], part.pair[p]
            if g != 0.0:
                for lane in range(LANES):
                    current = g * (move[i, lane] - move[j, lane])
                    put[i, lane] -= current
                    put[j, lane] += current
    _moving_currents(local, room)
    for lane in range(LANES):
        worst[lane] = 0.0
        for i in range(start, n):
            worst[lane] = max(worst[lane], abs(put[i, lane]))


@kernel
def _moving_currents(local: Local, room: Lanes) -> None:
    """Let the currents of the moving elements leave their nodes."""
    put, move = room.put, room.move
    for v in range(len(local.moving)):
        a, b, current_a = local.moving_tail[v], local.moving_head[v], room.row[1]
        for lane in range(LANES):
            u = (move[a, lane] if a >= 0 else 0.0) - (move[b, lane] if b >= 0 else 0.0)
            current_a[lane] = room.slope[v, lane] * u - room.line[v, lane]
        if a >= 0:
            for lane in range(LANES):
                put[a, lane] -= current_a[lane]
        if b >= 0:
            for lane in range(LANES):
                put[b, lane] += current_a[lane]


@kernel
def refine(local: Local, part: Mesh, room: Lanes) -> None:
    """Solve once more for the currents left over; kept apart, for the sum would lose it again."""
    n, start = len(local.node), local.fixed[0]
    put, fine, pair = room.put, room.fine, room.pair
    for i in range(start, n):
        for p in range(local.near_first[i], local.near_first[i + 1]):
            j = local.near[p]
            for lane in range(LANES):
                put[j, lane] += pair[p, lane] * put[i, lane]
    for i in range(n - 1, start - 1, -1):
        for lane in range(LANES):
            fine[i, lane] = put[i, lane] * room.ground[i, lane]
        for p in range(local.near_first[i], local.near_first[i + 1]):
            j = local.near[p]
            for lane in range(LANES):
                fine[i, lane] += pair[p, lane] * fine[j, lane]
    for i in range(start - 1, -1, -1):
        for lane in range(LANES):
            fine[i, lane] = 0.0
        for p in range(local.near_first[i], local.near_first[i + 1]):
            j, share = local.near[p], part.pair[p]
            for lane in range(LANES):
                fine[i, lane] += share * fine[j, lane]
