"""Remedies for feeds: a shorter or thicker cable, a smaller branch, a missing 0 V conductor."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ringout.base.quantity import format_quantity
from ringout.cell.catalogue import find_part, part_names
from ringout.cell.edit import with_cable, with_link, with_setting
from ringout.cell.model import Cell, Terminal
from ringout.findings.model import Finding, Judgement
from ringout.findings.remedies.proposal import Proposal, terminal_of_net
from ringout.findings.trial import trial_far_shorts

SMALLEST_M = 0.5
RESERVE = 1.25  # a branch keeps a quarter above what it must carry, common practice


def propose_supply(cell: Cell, finding: Finding, before: Judgement) -> Iterable[Proposal]:
    """Yield changes to feeds, branches and commons."""
    if finding.code in ("F501", "F502"):
        yield from _branch(cell, finding, before)
        yield from _length(cell, finding)
        yield from _thicker(cell, finding)
    elif finding.code == "F402":
        yield from _common(cell, finding)
    elif finding.code == "F401":
        yield from _missing(cell, finding)


def _opens_at_once(cell: Cell, branch: str) -> bool:
    shorts = trial_far_shorts(cell, branch)
    return bool(shorts) and all(s.low_a >= s.fast_a for s in shorts)


def _length(cell: Cell, finding: Finding) -> Iterator[Proposal]:
    cable = finding.get("cable")
    if cable not in cell.cables:
        return
    low, high = 0.0, cell.cables[cable].length_m.high
    if not _opens_at_once(with_cable(cell, cable, length_m=SMALLEST_M), finding.get("element")):
        return
    while high - low > 0.25:
        middle = (low + high) / 2
        good = _opens_at_once(with_cable(cell, cable, length_m=middle), finding.get("element"))
        low, high = (middle, high) if good else (low, middle)
    longest = int(low * 2) / 2
    if longest < SMALLEST_M:
        return
    yield Proposal(
        f"with {finding.get('element')} as it is set, {cable} may be {longest:g} m at most for "
        f"every short to open it at once",
        with_cable(cell, cable, length_m=longest),
        ((f"length: {cell.cables[cable].length_m.high:g} m", f"length: {longest:g} m"),),
    )


def _thicker(cell: Cell, finding: Finding) -> Iterator[Proposal]:
    name = finding.get("cable")
    if name not in cell.cables:
        return
    old = cell.cables[name].part
    area = max(c.area_mm2 for c in old.cores)
    colours = [c.colour for c in old.cores]
    for other in part_names(cell.folder):
        if not other.startswith("cable-"):
            continue
        part = find_part(other)
        if part is None or [c.colour for c in part.cores] != colours:
            continue
        if max(c.area_mm2 for c in part.cores) <= area:
            continue
        changed = with_cable(cell, name, part=part)
        if _opens_at_once(changed, finding.get("element")):
            yield Proposal(
                f"use {other} for {name} instead of {old.name}",
                changed,
                ((f"{name}: {{part: {old.name}", f"{name}: {{part: {other}"),),
            )
            return


def _branch(cell: Cell, finding: Finding, before: Judgement) -> Iterator[Proposal]:
    """Try smaller settings of the same branch that still carry its load."""
    item, _, element = finding.get("element").partition(".")
    owner = cell.items[item]
    spec = owner.part.element_by_name[element]
    if spec.kind != "protection" or "set" not in owner.settings:
        return
    load = next((b.high_a for b in before.branches if b.name == finding.get("element")), 0.0)
    values = owner.settings["set"].strip("[]").split(",")
    number = "".join(ch for ch in element if ch.isdigit())
    index = int(number) - 1 if number else 0
    if not 0 <= index < len(values):
        return
    for amps in (3.0, 2.0, 1.0, 0.5):
        if amps >= spec.values["set"].typ or amps < load * RESERVE:
            continue
        changed_values = [v.strip() for v in values]
        changed_values[index] = f"{amps:g} A"
        text = f"[{', '.join(changed_values)}]"
        changed = with_setting(cell, item, "set", text)
        if changed is None or not _opens_at_once(changed, finding.get("element")):
            continue
        amount = format_quantity(load, "amps")
        yield Proposal(
            f"set {finding.get('element')} to {amps:g} A: it carries {amount} at most, and every "
            f"short at its far end then opens it at once",
            changed,
            ((f"set: {owner.settings['set']}", f"set: {text}"),),
        )
        return


def _common(cell: Cell, finding: Finding) -> Iterator[Proposal]:
    ends: list[Terminal] = []
    for item in (finding.get("item"), finding.get("other")):
        source = next(e for e in cell.items[item].part.elements if e.kind == "source")
        end = terminal_of_net(cell, item, source.head)
        if end is None:
            return
        ends.append(end)
    signals = tuple(v for k, v in finding.about if k == "signal")
    yield Proposal(
        f"join the two 0 V with one conductor: {ends[0]} to {ends[1]} (never the +24 V)",
        with_link(cell, ends[0], ends[1]),
        (("", f"- {ends[0]}  {ends[1]}"),),
        signals,
    )


def _missing(cell: Cell, finding: Finding) -> Iterator[Proposal]:
    item = finding.get("item")
    here = next(
        (
            t
            for t in _terminals(cell, item)
            if str(t) == finding.place
        ),
        None,
    )
    if here is None:
        return
    for supply in cell.items.values():
        for source in (e for e in supply.part.elements if e.kind == "source"):
            for net, words in ((source.head, "0 V"), (source.tail, "+24 V")):
                end = terminal_of_net(cell, supply.name, net)
                if end is not None:
                    yield Proposal(
                        f"join {here} to the {words} it needs, at {end} or a terminal of that branch",
                        with_link(cell, here, end),
                        (("", f"- {here}  {end}"),),
                        tuple(s.name for s in cell.signals.values() if s.item == item),
                    )


def _terminals(cell: Cell, item: str) -> Iterator[Terminal]:
    part = cell.items[item].part
    for pin in part.terminals:
        yield Terminal(item, "", pin)
    for socket in part.sockets.values():
        for pin in socket.pins:
            yield Terminal(item, socket.name, pin)
