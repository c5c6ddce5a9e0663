"""Remedies for two exchanged signals: exchange the cores, the plugs, or the names."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from ringout.cell.channels import channel_terminal
from ringout.cell.edit import with_joins, with_signal, with_swapped
from ringout.cell.model import Cell, Join, Signal, Terminal
from ringout.findings.model import Finding
from ringout.findings.remedies.landing import join_text
from ringout.findings.remedies.proposal import Proposal
from ringout.findings.remedies.trials import Trials

Plug = tuple[str, str]  # item and socket


def propose_exchange(trials: Trials, finding: Finding) -> Iterable[Proposal]:
    """Yield the ways to give two exchanged signals their own channels."""
    if finding.code != "F111":
        return
    cell = trials.cell
    first, second = (cell.signals[v] for k, v in finding.about if k == "signal")
    yield from _cores(cell, first, second)
    yield from _plugs(cell, first, second)
    changed = with_signal(cell, first.name, channel=second.channel)
    yield Proposal(
        f"if the wiring is as wanted, say so: {first.name} is {second.channel_name}, "
        f"{second.name} is {first.channel_name}",
        with_signal(changed, second.name, channel=first.channel),
        (
            _renamed(first, second),
            _renamed(second, first),
        ),
        (first.name, second.name),
    )


def _renamed(signal: Signal, other: Signal) -> tuple[str, str]:
    start = f"{signal.name}: {{channel: "
    return start + signal.channel_name, start + other.channel_name


def _cores(cell: Cell, first: Signal, second: Signal) -> Iterator[Proposal]:
    """Exchange what is landed by hand on the two channels."""
    pins = [channel_terminal(cell, s.item, s.channel.name) for s in (first, second)]
    if pins[0] is None or pins[1] is None:
        return
    here, there = pins[0], pins[1]
    joins = [*cell.join_at.get(here, ()), *cell.join_at.get(there, ())]
    if len(joins) < 2 or any(j.plugged for j in joins):
        return
    other = {here: there, there: here}
    edit = [
        (join_text(j), join_text(j, end, other[end]))
        for j in joins
        for end in (j.a, j.b)
        if end in other
    ]
    yield Proposal(
        f"exchange what is landed on {here} and {there}",
        with_swapped(cell, here, there),
        tuple(edit),
        (first.name, second.name),
    )


def _plugs(cell: Cell, first: Signal, second: Signal) -> Iterator[Proposal]:
    """Exchange the far ends of the plugs of the two signals' own devices."""
    mine, other = (_far_plug(cell, s) for s in (first, second))
    if mine is None or other is None or mine == other:
        return
    sockets = [cell.items[i].part.sockets[s] for i, s in (mine, other)]
    if len({(s.connector, s.gender) for s in sockets}) > 1:
        return
    swap = {mine: other, other: mine}

    def moved(end: Terminal) -> Terminal:
        item, socket = swap.get((end.item, end.socket), (end.item, end.socket))
        return Terminal(item, socket, end.pin)

    def ours(join: Join) -> bool:
        devices = {d for s in (first, second) for d in s.devices}
        return join.plugged and bool({join.a.item, join.b.item} & devices)

    yield Proposal(
        f"exchange the two plugs at {mine[0]}-{mine[1]} and {other[0]}-{other[1]}",
        with_joins(
            cell,
            (replace(j, a=moved(j.a), b=moved(j.b)) if ours(j) else j for j in cell.joins),
        ),
        (),
        (first.name, second.name),
    )


def _far_plug(cell: Cell, signal: Signal) -> Plug | None:
    """Return where the one device of a signal is plugged in; None if it is not just plugged."""
    devices = signal.devices
    joins = [j for j in cell.joins if devices[0] in (j.a.item, j.b.item)]
    if len(devices) > 1 or not joins or not all(j.plugged for j in joins):
        return None
    ends = [j.b if j.a.item == devices[0] else j.a for j in joins]
    places = {(e.item, e.socket) for e in ends}
    return places.pop() if len(places) == 1 else None
