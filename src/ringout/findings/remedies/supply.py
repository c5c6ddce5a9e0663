"""Remedies for feeds: a shorter or thicker cable, a smaller branch, a missing 0 V conductor."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ringout.base.quantity import format_quantity
from ringout.cell.channels import terminal_of_net
from ringout.cell.edit import with_cable, with_link, with_setting
from ringout.cell.model import Cell, Terminal
from ringout.findings.model import Finding
from ringout.findings.remedies.cables import thicker
from ringout.findings.remedies.proposal import Proposal
from ringout.findings.remedies.trials import Trials

SMALLEST_M, LONGEST_M = 0.5, 500.0
SETTINGS_A = (3.0, 2.0, 1.0, 0.5)  # usual settings of electronic protection, common practice
RESERVE = 1.25  # a branch keeps a quarter above what it must carry, common practice


def propose_supply(trials: Trials, finding: Finding) -> Iterable[Proposal]:
    """Yield changes to feeds, branches and commons."""
    cell = trials.cell
    if finding.code in ("F501", "F502"):
        yield from _branch(trials, finding)
        yield from _length(trials, finding)
        yield from _thicker(trials, finding)
    elif finding.code == "F402" and finding.get("series") != "yes":
        yield from _common(cell, finding)
    elif finding.code == "F401":
        yield from _missing(cell, finding)


def _opens(trials: Trials, cell: Cell, finding: Finding, *, at_once: bool = True) -> bool:
    short = trials.far(cell, finding.get("item"))
    if short is None:
        return False
    return short.low_a >= (short.fast_a if at_once else short.sure_a)


def _longest_m(
    trials: Trials, cell: Cell, finding: Finding, *, at_once: bool = True
) -> float | None:
    """Return the largest length of the feed, to half a metre, at which the short still opens."""
    cable = finding.get("cable")
    if cable not in cell.cables:
        return None
    low, high = SMALLEST_M, LONGEST_M
    if not _opens(trials, with_cable(cell, cable, length_m=low), finding, at_once=at_once):
        return None
    while high - low > 0.5:
        middle = (low + high) / 2
        good = _opens(trials, with_cable(cell, cable, length_m=middle), finding, at_once=at_once)
        low, high = (middle, high) if good else (low, middle)
    return int(low * 2) / 2


def _length(trials: Trials, finding: Finding) -> Iterator[Proposal]:
    cell = trials.cell
    cable = finding.get("cable")
    if cable not in cell.cables:
        return
    branch = finding.get("element")
    longest = _longest_m(trials, cell, finding)
    how = "open it at once"
    if longest is None:
        longest = _longest_m(trials, cell, finding, at_once=False)
        how = (
            "open it at all, after some seconds (at once is out of reach: the supply limits first)"
        )
    if longest is None or longest >= cell.cables[cable].length_m.high:
        return  # a longer cable is no cure, whatever else is wrong
    yield Proposal(
        f"with {branch} as it is set, {cable} may be {longest:g} m at most for a short at "
        f"{finding.get('item')} to {how}",
        with_cable(cell, cable, length_m=longest),
        ((f"length: {cell.cables[cable].length_m.high:g} m", f"length: {longest:g} m"),),
    )


def _thicker(trials: Trials, finding: Finding) -> Iterator[Proposal]:
    for change in thicker(trials.cell, finding.get("cable")):
        if _opens(trials, change.cell, finding):
            yield change
            return


def _branch(trials: Trials, finding: Finding) -> Iterator[Proposal]:
    """Try smaller settings of the same branch that still carry its load."""
    cell = trials.cell
    item, _, element = finding.get("element").partition(".")
    owner = cell.items[item]
    spec = owner.part.element_by_name[element]
    if spec.kind != "protection" or "set" not in owner.settings:
        return
    loads = {b.name: b.high_a for b in trials.before.branches}
    load = loads.get(finding.get("element"), 0.0)
    values = owner.settings["set"].strip("[]").split(",")
    number = "".join(ch for ch in element if ch.isdigit())
    index = int(number) - 1 if number else 0
    if not 0 <= index < len(values):
        return
    for amps in SETTINGS_A:
        if amps >= spec.values["set"].typ or amps < load * RESERVE:
            continue
        changed_values = [v.strip() for v in values]
        changed_values[index] = f"{amps:g} A"
        text = f"[{', '.join(changed_values)}]"
        changed = with_setting(cell, item, "set", text)
        if changed is None or not _opens(trials, changed, finding):
            continue
        longest = _longest_m(trials, changed, finding)
        reach = f" up to {longest:g} m of {finding.get('cable')}" if longest is not None else ""
        yield Proposal(
            f"set {finding.get('element')} to {amps:g} A: it carries "
            f"{format_quantity(load, 'amps')} at most, and a short at {finding.get('item')} then "
            f"opens it at once{reach}",
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
        (t for t in cell.items[item].terminals() if str(t) == finding.place),
        None,
    )
    if here is None:
        return
    side = int(finding.get("side") or 1)
    for supply in cell.items.values():
        for source in (e for e in supply.part.elements if e.kind == "source"):
            end = terminal_of_net(cell, supply.name, (source.tail, source.head)[side])
            if end is None:
                continue
            yield Proposal(
                f"join {here} to the {('+24 V', '0 V')[side]} it needs: {end}, or its branch",
                with_link(cell, here, end),
                (("", f"- {here}  {end}"),),
                tuple(s.name for s in cell.signals.values() if s.item == item),
            )
