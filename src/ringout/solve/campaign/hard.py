"""Cases that reach beyond their neighbourhood: the rest is linearised anew where it must be.

A region grows into those parts whose bound says that an element may change its piece, the most
strained first. In the region all pieces are followed and the messages made anew; around it those
of the base hold. It ends when no element of the region changes its piece and no bound around it is
passed: the answer is then exact everywhere.
"""

from __future__ import annotations

import numpy as np

from ringout.solve.campaign.balance import refine_region
from ringout.solve.campaign.careful import remember, shorten
from ringout.solve.campaign.follow import BOTH, FIND, FOLLOW, follow_local, grow, put_on, visit
from ringout.solve.campaign.jit import called, entry, kernel
from ringout.solve.campaign.lanes import SAME_A, SAME_LATE_A, number_local
from ringout.solve.campaign.local import Local, eliminate, fill, unpack
from ringout.solve.campaign.messages import make_down, make_up
from ringout.solve.campaign.pieces import piece_at
from ringout.solve.campaign.region import Now, close, inner_of, open_at, open_edge, restore_local
from ringout.solve.campaign.run import HARD, REFERENCE, Ground, Job, write_case
from ringout.solve.campaign.whole import forget, spread, write_whole

ROUNDS = 90
CAREFUL = 16  # rounds before steps are shortened to where they help
PATIENT = 40  # rounds before corners are passed over


@kernel
def _pass_on(net: Ground, now: Now) -> None:
    """Make anew what messages have become out of date."""
    region = now.region
    for k in range(region.size[0] - 1, -1, -1):
        if region.dirty[k]:
            region.dirty[k] = 0
            if region.down[k]:
                make_down(net.tree, net.base, now.lines, now.messages, region.bag[k], now.scratch)
            else:
                make_up(net.tree, net.base, now.lines, now.messages, region.bag[k], now.scratch)
            if region.to[k] >= 0:
                region.dirty[region.to[k]] = 1


@kernel
def _solve_local(net: Ground, now: Now, local: Local) -> None:
    """Solve the neighbourhood with the lines and messages there are now."""
    mesh, lines, node_v = now.mesh, now.lines, now.moves.node_v
    fill(net.tree, net.base, lines, now.messages, local, mesh)
    for v in range(len(local.moving)):
        e = local.moving[v]
        a, b, p = local.moving_tail[v], local.moving_head[v], local.moving_pair[v]
        if p >= 0:
            mesh.pair[p] += lines.slope_s[e]
        else:
            mesh.ground[max(a, b)] += lines.slope_s[e]
        if a >= 0:
            mesh.put[a] += lines.put_a[e]
        if b >= 0:
            mesh.put[b] -= lines.put_a[e]
    n = len(local.node)
    eliminate(local, mesh, 0, n)
    for i in range(n - 1, -1, -1):
        v = mesh.put[i]
        for p in range(local.near_first[i], local.near_first[i + 1]):
            v += mesh.pair[p] * node_v[local.node[local.near[p]]]
        node_v[local.node[i]] = v


@called
def _settle(net: Ground, now: Now, local: Local, everything: int) -> bool:
    """Solve until region and neighbourhood are consistent; return whether they are."""
    region = now.region
    for step in range(ROUNDS):
        careful = step >= CAREFUL
        same_a = SAME_A if step < PATIENT else SAME_LATE_A
        if careful:
            remember(net, now, local)
        _pass_on(net, now)
        _solve_local(net, now, local)
        whole, what = True, BOTH
        if careful:
            visit(net, now, 0, region.size[0], FIND, same_a)
            whole, what = shorten(net, now, local), FOLLOW
        changed = follow_local(net, now, local, same_a)
        changed |= visit(net, now, 0, region.size[0], what, same_a)
        if changed or not whole:
            continue
        if everything == 1:
            return True
        grown = 1
        while grown == 1:
            grown = grow(net, now, same_a)
        if grown == 0:
            return True
    return False


@called
def _begin(net: Ground, job: Job, now: Now, local: Local, h: int, case: int, warm: int) -> None:
    """Put a case's elements on the pieces they have at the base voltage.

    With `warm` at 1 the region of the case before is still open: it is kept, and the elements of
    the neighbourhood are put on the pieces they have at the voltages found there.
    """
    cases, lines, node_v = job.cases, now.lines, now.moves.node_v
    tree, base = net.tree, net.base
    if warm == 1:
        restore_local(net, now, local)
    else:
        open_at(local, now.region)
    states = cases.state_first[h + 1] - cases.state_first[h]
    z, f = cases.state_first[h] + case % states, cases.fault_first[h] + case // states
    for k in range(cases.state_change[z], cases.state_change[z + 1]):
        lines.curve[cases.state[k, 0]] = cases.state[k, 1]
    for k in range(cases.fault_change[f], cases.fault_change[f + 1]):
        lines.curve[cases.fault[k, 0]] = cases.fault[k, 1]
    for v in range(len(local.moving)):
        e = local.moving[v]
        u = base.across_v[e]
        if warm == 1:
            u += node_v[tree.tail[e]] - node_v[tree.head[e]]
        if warm == 1 or lines.curve[e] != net.lines.curve[e]:
            put_on(net.table, base, lines, e, piece_at(net.table, lines.curve[e], u))


@entry
def run_hard(net: Ground, job: Job, now: Now, first: int, end: int, only: int) -> int:
    """Solve those cases of neighbourhoods first .. end that are marked `HARD`.

    Cases of one fault follow each other and differ in little, and so do those that are wanted
    whole: each starts where the one before ended, and from the base when it does not settle from
    there.

    With `only` at least 0 this case alone is solved, with every bag opened, and not written:
    `now.moves` then has all changes of voltages. Returns how many were not settled.
    """
    failed = 0
    for h in range(first, end):
        local = unpack(job.pack, h)
        at = job.cases.case_first[h]
        states = job.cases.state_first[h + 1] - job.cases.state_first[h]
        fault = -1  # of the case before, when its region is still open
        for case in range(job.cases.case_first[h + 1] - at):
            if case != only and (only >= 0 or job.out.certificate[at + case] != HARD):
                continue
            good = False
            if fault >= 0 and (len(job.whole.row) > 0 or fault == case // states):
                _begin(net, job, now, local, h, case, 1)
                good = _settle(net, now, local, 0)
            if not good:
                if fault >= 0:
                    close(net, now, local)
                _begin(net, job, now, local, h, case, 0)
                while only >= 0 and now.region.size[1] > 0:
                    open_edge(net.tree, now.region, 0)
                good = _settle(net, now, local, 1 if only >= 0 else 0)
            residual_a = refine_region(net, now, local) if good else np.inf
            if good and only < 0:
                _write(net, job, now, local, h, case)
                if len(job.whole.row):
                    _write_whole(net, job, now, local, at + case)
            if only < 0:
                job.out.residual_a[at + case] = residual_a
                job.out.certificate[at + case] = HARD if good else REFERENCE
            fault = case // states
            failed += 0 if good else 1
        if fault >= 0:
            close(net, now, local)
    return failed


@called
def _write(net: Ground, job: Job, now: Now, local: Local, h: int, case: int) -> None:
    """Write the readings and decisions of a case, by way of the first lane."""
    room, moves, lines = job.room, now.moves, now.lines
    number_local(local, room)
    for i in range(len(local.node)):
        room.move[i, 0] = moves.node_v[local.node[i]]
        room.fine[i, 0] = moves.fine_v[local.node[i]]
    for v in range(len(local.moving)):
        e = local.moving[v]
        room.current_a[v] = net.base.current_a[e]
        room.slope[v, 0] = lines.slope_s[e]
        room.line[v, 0] = lines.put_a[e]
    write_case(net, job, h, case, 0)


@called
def _write_whole(net: Ground, job: Job, now: Now, local: Local, case: int) -> None:
    """Write a case whole, from the nodes that were followed."""
    tree, moves, region, whole = net.tree, now.moves, now.region, job.whole
    forget(whole)
    for i in range(len(local.node)):
        whole.known[local.node[i]] = 1
    for k in range(region.size[0]):
        inner = inner_of(tree, region, k)
        for c in range(tree.clique_first[inner], tree.clique_first[inner + 1]):
            whole.known[tree.clique[c]] = 1
    for n in range(1, len(whole.known)):
        if whole.known[n]:
            whole.move[n, 0] = moves.node_v[n] + moves.fine_v[n]
    spread(tree, now.messages, local.bag[0], 1, whole)
    write_whole(tree, net.base, now.lines, case, 1, whole)
