"""The outermost kernel: all cases of some neighbourhoods."""

from __future__ import annotations

from ringout.solve.campaign.hard import close, run_hard
from ringout.solve.campaign.jit import kernel
from ringout.solve.campaign.lanes import fix, run_lanes


@kernel
def run_all(
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
    fixed,
    cases,
    first,
    end,
    room,
    region,
    scratch,
    tail,
    head,
    out,
):
    """Solve all cases of neighbourhoods first .. end; `now` and `anew` are left as the base."""
    for h in range(first, end):
        fix(tree, base, lines, messages, pack, fixed, h)
        count = cases.case_first[h + 1] - cases.case_first[h]
        at = 0
        while at < count:
            width = run_lanes(
                tree, base, base_v, lines, table, reach, pack, fixed, cases, h, at, room, out
            )
            run_hard(
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
                at,
                width,
                room,
                region,
                scratch,
                tail,
                head,
                out,
            )
            at += width
        close(tree, lines, now, messages, anew, pack, region)
