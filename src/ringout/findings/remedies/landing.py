"""Remedies that land a conductor elsewhere or name another channel."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ringout.cell.channels import channel_terminal, terminal_of_net
from ringout.cell.edit import with_landing, with_signal, with_swapped
from ringout.cell.model import Cell, Join, Signal, Terminal
from ringout.findings.clusters import reached
from ringout.findings.feeds import commons_of
from ringout.findings.model import Finding
from ringout.findings.references import rail_labels
from ringout.findings.remedies.proposal import Proposal
from ringout.findings.remedies.trials import Trials

WRONG_LEVEL = frozenset({"F101", "F102", "F103", "F104", "F105", "F107"})


def propose_landing(trials: Trials, finding: Finding) -> Iterable[Proposal]:
    """Yield changes of landing for shorts, reversed parts and signals on the wrong channel."""
    cell = trials.cell
    if finding.code == "F203":
        yield from _turn_round(cell, finding)
    elif finding.code in ("F201", "F202"):
        yield from _move_core(cell, finding)
    elif finding.code in WRONG_LEVEL:
        yield from _other_channel(cell, finding)
    if finding.code == "F101":
        yield from _common_to_other_pole(trials, finding)
    elif finding.code == "F301":
        yield from _load_to_other_pole(trials, finding)


def _joins_of(cell: Cell, item: str) -> list[Join]:
    return [j for j in cell.joins if item in (j.a.item, j.b.item)]


def join_text(join: Join, old: Terminal | None = None, new: Terminal | None = None) -> str:
    """Return a join as the file writes it, with one terminal replaced if asked."""
    ends = [new if new is not None and t == old else t for t in (join.a, join.b)]
    over = f"  {join.conductor}  " if join.cable else "  "
    return f"{ends[0]}{over}{ends[1]}"


def _signals_of(cell: Cell, item: str) -> list[Signal]:
    return [s for s in cell.signals.values() if item in s.devices]


def _turn_round(cell: Cell, finding: Finding) -> Iterator[Proposal]:
    item = cell.items[finding.get("item")]
    diode = next((e for e in item.part.elements if e.kind in ("diode", "clamp")), None)
    if diode is None:
        return
    ends = []
    for net in (diode.tail, diode.head):
        pins = [p for p, n in item.part.terminals.items() if n == net]
        if not pins:
            return
        ends.append(Terminal(item.name, "", pins[0]))
    first, second = ends
    edit = []
    for join in cell.joins:
        for end in (join.a, join.b):
            if end in ends:
                other = second if end == first else first
                edit.append((join_text(join), join_text(join, end, other)))
    yield Proposal(
        f"exchange the two conductors at {item.name}: {first} and {second}",
        with_swapped(cell, first, second),
        tuple(edit),
        tuple(s.name for s in _signals_of(cell, item.name)),
    )


def _move_core(cell: Cell, finding: Finding) -> Iterator[Proposal]:
    """Try every conductor of the shorting item on the channel its signal is named on."""
    item = finding.get("item")
    if item not in cell.items:
        return
    for signal in _signals_of(cell, item):
        goal = channel_terminal(cell, signal.item, signal.channel.name)
        if goal is None or goal in cell.join_at:
            continue
        for join in _joins_of(cell, item)[::-1]:
            far = join.b if join.a.item == item else join.a
            if far.item != signal.item or far.socket != goal.socket:
                continue
            yield Proposal(
                f"land {join.conductor} on {goal} (channel {signal.channel_name}) instead of {far}",
                with_landing(cell, join, far, goal),
                ((join_text(join), join_text(join, far, goal)),),
                (signal.name,),
            )


def _other_channel(cell: Cell, finding: Finding) -> Iterator[Proposal]:
    """Try the channels that the signal's own devices are really wired to."""
    signal = cell.signals.get(finding.get("signal"))
    if signal is None or signal.on is None:
        return
    named = {s.channel_name for s in cell.signals.values()}
    reached = _reached(cell, {p.actor.split(".")[0] for p in signal.on.leaves()})
    for name, channel in cell.items[signal.item].part.channels.items():
        if channel.kind != "input" or f"{signal.item}.{name}" in named:
            continue
        place = channel_terminal(cell, signal.item, name)
        if place is None or place not in reached:
            continue
        yield Proposal(
            f"name {signal.name} on {signal.item}.{name} ({place}), where "
            f"{', '.join(sorted({p.actor for p in signal.on.leaves()}))} is wired",
            with_signal(cell, signal.name, channel=channel),
            ((f"channel: {signal.channel_name}", f"channel: {signal.item}.{name}"),),
            (signal.name,),
        )


def _poles(cell: Cell) -> Iterator[tuple[Terminal, Terminal]]:
    """Yield `(+, 0 V)` terminals of every supply."""
    for item in cell.items.values():
        for source in (e for e in item.part.elements if e.kind == "source"):
            ends = [terminal_of_net(cell, item.name, n) for n in (source.tail, source.head)]
            if ends[0] is not None and ends[1] is not None:
                yield ends[0], ends[1]


def _moved(trials: Trials, at: Terminal, names: tuple[str, ...]) -> Iterator[Proposal]:
    """Yield the cell with the conductor at a terminal taken to each pole of each supply."""
    cell, circuit = trials.cell, trials.circuit
    label = rail_labels(circuit)
    for join in cell.join_at.get(at, ()):
        far = join.b if join.a == at else join.a
        for pair in _poles(cell):
            for pole, words in zip(pair, ("+24 V", "0 V"), strict=True):
                if label[circuit.node(pole)] == label[circuit.node(far)]:
                    continue
                yield Proposal(
                    f"take the conductor at {at} to {words} ({pole}) instead of {far}",
                    with_landing(cell, join, far, pole),
                    ((join_text(join), join_text(join, far, pole)),),
                    names,
                )


def _common_to_other_pole(trials: Trials, finding: Finding) -> Iterator[Proposal]:
    cell = trials.cell
    signal = cell.signals.get(finding.get("signal"))
    if signal is None or "put the common" not in finding.message:
        return
    item = cell.items[signal.item]
    for _, net, channels in commons_of(item):
        if signal.channel in channels:
            names = tuple(
                s.name for s in cell.signals.values() if s.item == item.name and s.on is not None
            )
            for at in [t for t in cell.join_at if t.item == item.name and item.net(t) == net]:
                yield from _moved(trials, at, names)


def _load_to_other_pole(trials: Trials, finding: Finding) -> Iterator[Proposal]:
    """Try the free end of a load that its output cannot work on the other pole."""
    cell = trials.cell
    signal = cell.signals.get(finding.get("signal"))
    if signal is None:
        return
    name = signal.drives.split(".")[0]
    own = channel_terminal(cell, signal.item, signal.channel.name)
    circuit = trials.circuit
    poles = {n for e in circuit.elements if e.kind == "source" for n in (e.tail, e.head)}
    rails = reached(circuit, poles)
    for at in [t for t in cell.join_at if t.item == name]:
        # only an end that hangs on a pole already; the other one is what the output works
        if own is not None and circuit.node(at) in rails - reached(circuit, [circuit.node(own)]):
            yield from _moved(trials, at, (signal.name,))


def _reached(cell: Cell, items: set[str]) -> set[Terminal]:
    """Return terminals joined to these items, through passive splitters too."""
    todo, seen = list(items), set(items)
    out: set[Terminal] = set()
    while todo:
        name = todo.pop()
        for join in _joins_of(cell, name):
            far = join.b if join.a.item == name else join.a
            out.add(far)
            passive = cell.items[far.item].part.family in ("connector", "terminal", "component")
            if passive and far.item not in seen:
                seen.add(far.item)
                todo.append(far.item)
    return out
