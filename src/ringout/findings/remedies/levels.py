"""Remedies for levels: a resistor across the input, or a part of the right kind."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ringout.base.quantity import format_quantity
from ringout.cell.catalogue import find_part, part_names
from ringout.cell.channels import channel_terminal, terminal_of_net
from ringout.cell.edit import free_name, with_item, with_part, with_signal
from ringout.cell.model import Cell, Condition, Position, Signal, Terminal
from ringout.cell.part import Part
from ringout.findings.interlocks import only_while
from ringout.findings.model import Finding
from ringout.findings.remedies.proposal import Proposal
from ringout.findings.remedies.trials import Trials, trial_margins, trial_states
from ringout.tables.resistors import preferred_at_most, watt_size

COMFORT_V = 1.0  # a resistor is chosen to leave this much on both sides where it can
HIGHEST_OHM, LOWEST_OHM = 47_000.0, 470.0
HIGHEST_V = 28.8  # 24 V + 20 %: the supply a resistor's power is reckoned at, as makers do


def propose_levels(trials: Trials, finding: Finding) -> Iterable[Proposal]:
    """Yield parts and resistors for signals whose level is wrong, and for starved devices."""
    cell = trials.cell
    signal = cell.signals.get(finding.get("signal"))
    if signal is None:
        return
    if finding.code in ("F302", "F305"):
        yield from _load_shunt(cell, signal)
        return
    if signal.on is None:
        return
    if finding.code in ("F103", "F104"):
        yield from _bleeder(trials, signal)
    if finding.code == "F702":
        yield from _preload(cell, finding, signal)
    if finding.code == "F105":
        yield from _turned(cell, signal)
    if finding.code == "F101":
        yield from _also_needed(trials, signal)
    if finding.code in ("F101", "F102", "F103", "F104", "F105", "F106"):
        yield from _other_part(cell, signal)


def _place(cell: Cell, signal: Signal) -> tuple[Terminal, Terminal] | None:
    """Return the input's terminal and the terminal of its common."""
    part = cell.items[signal.item].part
    pin = channel_terminal(cell, signal.item, signal.channel.name)
    if pin is None:
        return None
    element = part.element_by_name[signal.channel.element]
    net = cell.items[signal.item].net(pin)
    common = element.head if net == element.tail else element.tail
    if pin.socket:
        socket = part.sockets[pin.socket]
        for name, other in socket.pins.items():
            if other == common:
                return pin, Terminal(signal.item, pin.socket, name)
    found = terminal_of_net(cell, signal.item, common)
    return None if found is None else (pin, found)


def _bleeder(trials: Trials, signal: Signal) -> Iterator[Proposal]:
    cell = trials.cell
    place = _place(cell, signal)
    if place is None:
        return
    ohm = trials.bleeder(signal, lambda: _find_bleeder(cell, signal, *place))
    changed = _with_bleeder(cell, *place, ohm) if ohm is not None else None
    if ohm is None or changed is None:
        return
    watts = watt_size(HIGHEST_V**2 / ohm)
    if watts is None:
        return
    pin, common = place
    value = format_quantity(ohm, "ohms")
    size = f"{watts:g} W"
    yield Proposal(
        f"fit a resistor of {value}, {size} across the input: from {pin} to {common} "
        f"(not across the sensor)",
        changed,
        _bleeder_edit(cell, pin, common, f"ohm: {value}, watts: {size}"),
        (signal.name,),
    )


def _with_bleeder(cell: Cell, pin: Terminal, common: Terminal, ohm: float) -> Cell | None:
    text = f"{ohm:g} ohm ± 5 %"
    watts = watt_size(HIGHEST_V**2 / ohm)
    settings = {"ohm": text, "watts": f"{watts or 0:g} W"}
    part = find_part("resistor", settings) if watts is not None else None
    if part is None:
        return None
    return with_item(cell, free_name(cell, "R"), part, {"1": pin, "2": common}, settings)


def _find_bleeder(cell: Cell, signal: Signal, pin: Terminal, common: Terminal) -> float | None:
    """Return the largest E12 value that leaves comfort on both sides, else the best there is.

    A smaller resistor always lowers both levels: the off margin grows, the on margin
    shrinks, so the best value is found by halving.
    """
    values = list(_values())
    tried: dict[int, tuple[float, float]] = {}

    def margins(index: int) -> tuple[float, float]:
        if index not in tried:
            changed = _with_bleeder(cell, pin, common, values[index])
            found = None if changed is None else trial_margins(changed, signal.name)
            tried[index] = found if found is not None else (-1e9, -1e9)
        return tried[index]

    low, high = 0, len(values) - 1
    while low < high:
        middle = (low + high) // 2
        on, off = margins(middle)
        if off >= min(COMFORT_V, on):
            high = middle
        else:
            low = middle + 1
    best = max((i for i in (low - 1, low) if 0 <= i < len(values)), key=lambda i: min(margins(i)))
    return values[best] if min(margins(best)) >= 0 else None


def _values() -> Iterator[float]:
    """Yield E12 values from the largest that drains anything worth while downwards."""
    ohm = preferred_at_most(HIGHEST_OHM, "E12")
    while ohm >= LOWEST_OHM:
        yield ohm
        ohm = preferred_at_most(ohm * 0.95, "E12")


def _bleeder_edit(
    cell: Cell, pin: Terminal, common: Terminal, values: str
) -> tuple[tuple[str, str], ...]:
    """Return the lines that fit the resistor: an adaptor on a round socket, else two ends."""
    name = free_name(cell, "R")
    socket = f"{pin.item}-{pin.socket}"
    here = [j for j in cell.join_at.get(pin, ()) if j.plugged and j.cable]
    if not here:
        return (
            ("", f"{name}: {{part: resistor, {values}}}"),
            ("", f"- {name}:1  {pin}"),
            ("", f"- {name}:2  {common}"),
        )
    join = here[0]
    near = join.a if join.b == pin else join.b
    old = f"- {near.item}  {join.cable}  {socket}"
    return (
        ("", f"{name}: {{part: m12-inline-resistor, {values}}}"),
        (old, f"- {near.item}  {join.cable}  {name}-A"),
        ("", f"- {name}-B  {socket}"),
    )


def _preload(cell: Cell, finding: Finding, signal: Signal) -> Iterator[Proposal]:
    """Find the resistor that gives a two-wire device the current it misses."""
    place = _place(cell, signal)
    needs_a = {q.name: q.value / 1000.0 for q in finding.numbers}.get("needs", 0.0)
    if place is None:
        return
    for ohm in _values():
        changed = _with_bleeder(cell, *place, ohm)
        states = trial_states(changed, signal.name) if changed is not None else None
        if changed is None or states is None:
            return
        least = min((a for a, _ in states.least_a.values()), default=0.0)
        if least < needs_a:
            continue
        watts = watt_size(HIGHEST_V**2 / ohm)
        if watts is None:
            return
        pin, common = place
        value = format_quantity(ohm, "ohms")
        yield Proposal(
            f"fit a resistor of {value}, {watts:g} W across the input, from {pin} to {common}: "
            f"{finding.get('item')} then gets at least {least * 1000:.2f} mA",
            changed,
            _bleeder_edit(cell, pin, common, f"ohm: {value}, watts: {watts:g} W"),
            (signal.name,),
        )
        return


def _turned(cell: Cell, signal: Signal) -> Iterator[Proposal]:
    """Offer to name what is: the signal is on in the other state."""
    assert signal.on is not None
    turned = signal.on.parts[0] if signal.on.kind == "not" else Condition("not", None, (signal.on,))
    text = str(turned)
    if signal.on.position is not None:
        actor = cell.actors[signal.on.position.actor]
        others = [p for p in actor.positions if p != signal.on.position.position]
        if len(others) == 1:
            text = f"{actor.name} {others[0]}"
    yield Proposal(
        f"if the wiring is as wanted, say so: {signal.name} is on while {text}",
        with_signal(cell, signal.name, on=turned),
        ((f"on: {signal.on}", f"on: {text}"),),
        (signal.name,),
    )


def _also_needed(trials: Trials, signal: Signal) -> Iterator[Proposal]:
    """Offer to name what the signal waits for besides, such as an emergency stop in its feed."""
    cell = trials.cell
    states = trial_states(cell, signal.name)
    assert signal.on is not None
    if states is None or states.limits.on_v is None or signal.on.kind == "or":
        return
    good = states.wanted_on & (states.v_low >= states.limits.on_v)
    needs = only_while(
        trials.circuit, states.columns, states.positions, good, states.wanted_on & ~good
    )
    if not needs:
        return
    more = tuple(Condition("is", Position(a, p, signal.on_span)) for a, p in needs)
    own = signal.on.parts if signal.on.kind == "and" else (signal.on,)
    wanted = Condition("and", None, (*own, *more))
    words = " and ".join(f"{a} {p}" for a, p in needs)
    yield Proposal(
        f"if the wiring is as wanted, say so: {signal.name} also waits for {words}",
        with_signal(cell, signal.name, on=wanted),
        ((f"on: {signal.on}", f"on: {wanted}"),),
        (signal.name,),
    )


def _load_shunt(cell: Cell, signal: Signal) -> Iterator[Proposal]:
    """Find the largest resistor across a driven load that keeps leakage from working it."""
    item, _, element = signal.drives.partition(".")
    part = cell.items[item].part
    spec = part.element_by_name[element or part.main]
    ends = [terminal_of_net(cell, item, net) for net in (spec.tail, spec.head)]
    if ends[0] is None or ends[1] is None:
        return
    for ohm in _values():
        changed = _with_bleeder(cell, ends[0], ends[1], ohm)
        margins = trial_margins(changed, signal.name) if changed is not None else None
        if changed is None or margins is None:
            return
        if min(margins) < 0:
            continue
        watts = watt_size(HIGHEST_V**2 / ohm)
        if watts is None:
            return
        value = format_quantity(ohm, "ohms")
        name = free_name(cell, "R")
        yield Proposal(
            f"fit a resistor of {value}, {watts:g} W across {signal.drives}, from {ends[0]} to "
            f"{ends[1]}",
            changed,
            (
                ("", f"{name}: {{part: resistor, ohm: {value}, watts: {watts:g} W}}"),
                ("", f"- {name}:1  {ends[0]}"),
                ("", f"- {name}:2  {ends[1]}"),
            ),
            (signal.name,),
        )
        return


def _other_part(cell: Cell, signal: Signal) -> Iterator[Proposal]:
    if signal.on is None:
        return
    for item in dict.fromkeys(p.actor.split(".")[0] for p in signal.on.leaves()):
        old = cell.items[item].part
        for name in _alike(cell, old):
            part = find_part(name, cell.items[item].settings, cell.folder)
            if part is None or not fits(old, part):
                continue
            changed = with_part(cell, item, part)
            margin = trial_margins(changed, signal.name)
            if margin is None or min(margin) < 0:
                continue
            yield Proposal(
                f"use {name} for {item} instead of {old.name}",
                changed,
                ((f"{item}: {old.name}", f"{item}: {name}"),),
                (signal.name,),
            )


def _alike(cell: Cell, old: Part) -> list[str]:
    """Return part names that begin like the old one, nearest first."""
    stem = old.name.split("-")[0]
    names = [n for n in part_names(cell.folder) if n != old.name and n.split("-")[0] == stem]
    words = set(old.name.split("-"))
    return sorted(names, key=lambda n: (-len(words & set(n.split("-"))), n))


def fits(old: Part, new: Part) -> bool:
    """Return whether a part can take another's place: same plugs, pins and positions."""
    if old.family != new.family or set(old.terminals) - set(new.terminals):
        return False
    positions = {p for ps in old.actors.values() for p in ps}
    if positions - {p for ps in new.actors.values() for p in ps}:
        return False
    for name, socket in old.sockets.items():
        other = new.sockets.get(name)
        if other is None or (other.connector, other.gender) != (socket.connector, socket.gender):
            return False
        if set(socket.pins) - set(other.pins):
            return False
    return True
