"""Where the nets and channels of a part come out: the terminals a person reaches."""

from __future__ import annotations

from ringout.cell.model import Cell, Terminal


def terminal_of_net(cell: Cell, item: str, net: str) -> Terminal | None:
    """Return a terminal on a part's net, one that is used if there is one."""
    every = [t for t in cell.items[item].terminals() if cell.items[item].net(t) == net]
    used = [t for t in every if t in cell.join_at]
    return next(iter(used or every), None)


def channel_terminal(cell: Cell, item: str, channel: str) -> Terminal | None:
    """Return the terminal a channel stands on: its net that no other channel shares."""
    part = cell.items[item].part
    mine = part.element_by_name[part.channels[channel].element]
    for net in (
        (mine.head, mine.tail)
        if part.channels[channel].kind == "output"
        else (mine.tail, mine.head)
    ):
        shared = sum(
            net in (e.tail, e.head)
            for c in part.channels.values()
            if (e := part.element_by_name[c.element]) is not mine
        )
        if not shared:
            return terminal_of_net(cell, item, net)
    return terminal_of_net(cell, item, mine.tail)
