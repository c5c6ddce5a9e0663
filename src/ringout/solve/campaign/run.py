"""The outermost kernels: all cases of some neighbourhoods, easy ones first."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.cases import Cases, Out
from ringout.solve.campaign.jit import called, entry, kernel
from ringout.solve.campaign.judge import imbalance, refine, strain_lanes
from ringout.solve.campaign.lanes import LANES, Batch, Lanes, load, newton, number_local
from ringout.solve.campaign.local import Local, Mesh, Pack, eliminate, fill, part_of, unpack
from ringout.solve.campaign.messages import Base, Lines, Messages
from ringout.solve.campaign.pieces import Table
from ringout.solve.campaign.reach import Reach
from ringout.solve.campaign.whole import Whole, forget, spread, write_moving, write_whole

IntArray = NDArray[np.int64]

LOCAL, HARD, REFERENCE, UNSOLVED = 0, 1, 2, 3


class Ground(NamedTuple):
    """What stays while cases are solved: the network and its base state."""

    tree: Tree
    table: Table
    base: Base
    lines: Lines
    messages: Messages
    reach: Reach


class Job(NamedTuple):
    """Cases to solve.

    Args:
        pack: neighbourhoods.
        cases: their cases.
        fixed: mesh of all neighbourhoods, in part eliminated for good.
        room: to solve in.
        out: what is found.
        whole: where whole cases go, if they are wanted.
    """

    pack: Pack
    cases: Cases
    fixed: Mesh
    room: Lanes
    out: Out
    whole: Whole


@entry
def run_lanes(net: Ground, job: Job, first: int, end: int, strained: IntArray) -> None:
    """Solve all cases of neighbourhoods first .. end as far as their neighbourhood decides them.

    The others get the certificate `HARD` and no readings. With `strained`, one place for each
    message of each neighbourhood, the states without faults are looked at instead and nothing
    is written but 1 for each message whose bound is passed.
    """
    pack, cases, room = job.pack, job.cases, job.room
    for h in range(first, end):
        local, part = unpack(pack, h), part_of(pack, job.fixed, h)
        fill(net.tree, net.base, net.lines, net.messages, local, part)
        eliminate(local, part, 0, local.fixed[0])
        number_local(local, room)
        sound = 1 if len(strained) else 0
        count = cases.case_first[h + 1] - cases.case_first[h]
        if sound:
            count = cases.state_first[h + 1] - cases.state_first[h]
        own = strained[pack.edge_first[h] * sound : pack.edge_first[h + 1] * sound]
        at = 0
        while at < count:
            batch = Batch(h, at, min(LANES, count - at), sound)
            load(net.table, net.base, net.lines, local, cases, batch, room)
            newton(net.table, local, part, batch.width, room)
            strain_lanes(net.tree, net.reach, local, batch.width, room, own)
            if sound == 0:
                imbalance(local, part, room)
                refine(local, part, room)
                _keep(net, job, batch)
                if len(job.whole.row):
                    _keep_whole(net, job, local, batch)
            at += LANES


@kernel
def _keep(net: Ground, job: Job, batch: Batch) -> None:
    """Write the lanes that are certified, mark the others."""
    room, out = job.room, job.out
    for lane in range(batch.width):
        case = batch.first + lane
        row = job.cases.case_first[batch.area] + case
        good = room.flag[0, lane] == 0 and room.row[2, lane] < 1.0
        out.certificate[row] = LOCAL if good else HARD
        out.residual_a[row] = room.row[3, lane]
        if good:
            write_case(net, job, batch.area, case, lane)


@kernel
def _keep_whole(net: Ground, job: Job, local: Local, batch: Batch) -> None:
    """Write all lanes whole; those that are not certified will be written again."""
    room, whole = job.room, job.whole
    first = job.cases.case_first[batch.area] + batch.first
    forget(whole)
    for i in range(len(local.node)):
        n = local.node[i]
        whole.known[n] = 1
        for lane in range(batch.width):
            whole.move[n, lane] = room.move[i, lane] + room.fine[i, lane]
    spread(net.tree, net.messages, local.bag[0], batch.width, whole)
    write_whole(net.tree, net.base, net.lines, first, batch.width, whole)
    write_moving(net.tree, local, first, batch.width, room, whole)


@kernel
def _coarse(room: Lanes, a: int, b: int, lane: int) -> float:
    """Return the change of the voltage from node a to node b."""
    i, j = room.place[a], room.place[b]
    return (room.move[i, lane] if i >= 0 else 0.0) - (room.move[j, lane] if j >= 0 else 0.0)


@kernel
def _fine(room: Lanes, a: int, b: int, lane: int) -> float:
    """Return the refinement of that change."""
    i, j = room.place[a], room.place[b]
    return (room.fine[i, lane] if i >= 0 else 0.0) - (room.fine[j, lane] if j >= 0 else 0.0)


@kernel
def _volts(base: Base, room: Lanes, a: int, b: int, lane: int) -> float:
    """Return the voltage from node a to node b."""
    base_v = base.node_v[a] - base.node_v[b]
    return float(base_v + _coarse(room, a, b, lane) + _fine(room, a, b, lane))


@called
def write_case(net: Ground, job: Job, h: int, case: int, lane: int) -> None:
    """Write the readings and decisions of a lane."""
    cases, room, out = job.cases, job.room, job.out
    first, end = cases.read_first[h], cases.read_first[h + 1]
    at = cases.value_first[h] + case * (end - first)
    for r in range(first, end):
        a, b, e = cases.read[r, 0], cases.read[r, 1], cases.read[r, 2]
        v = room.number[e] if e >= 0 else -1
        if e < 0:
            value = _volts(net.base, room, a, b, lane)
        elif v >= 0:
            value = room.current_a[v] - room.line[v, lane]
            value += room.slope[v, lane] * _coarse(room, a, b, lane)
            value += room.slope[v, lane] * _fine(room, a, b, lane)
        else:
            change = _coarse(room, a, b, lane) + _fine(room, a, b, lane)
            value = net.base.current_a[e] + net.lines.slope_s[e] * change
        out.value[at] = value
        at += 1
    bits = 0
    for d in range(cases.limit_first[h], cases.limit_first[h + 1]):
        above = _volts(net.base, room, cases.limit[d, 0], cases.limit[d, 1], lane)
        if above > cases.limit_v[d]:
            bits |= 1 << (d - cases.limit_first[h])
    out.decision[cases.case_first[h] + case] = bits
