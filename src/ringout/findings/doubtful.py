"""What follows only from lines of the file that could not be used is not told as a finding."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ringout.cell.model import Cell, Signal, Terminal
from ringout.findings.expects import places_of
from ringout.findings.groups import MISSING
from ringout.findings.model import Finding, NotRun, SignalResult

WHY = "a line of the file that names it could not be used; mend that first"


def hold_back(
    cell: Cell, signals: Sequence[SignalResult], findings: Sequence[Finding]
) -> tuple[list[SignalResult], list[Finding], list[NotRun]]:
    """Take back what may be so only because a join line was lost.

    Args:
        cell: the cell, with what is doubtful in it.
        signals: signals judged.
        findings: everything found.

    Returns:
        Signals, of which failing ones on doubtful places are undecided; the findings that stand
        without the lost lines; and what is said instead.
    """
    if not cell.doubtful:
        return list(signals), list(findings), []
    unsure = {s.name for s in cell.signals.values() if _unsure(cell, s)}
    judged = [
        replace(r, verdict="undecided") if r.name in unsure and r.verdict == "fails" else r
        for r in signals
    ]
    kept: list[Finding] = []
    held = {r.name: None for r, was in zip(judged, signals, strict=True) if r != was}
    for found in findings:
        signal = found.get("signal")
        if found.code in MISSING and signal in unsure:
            held[signal] = None
        elif found.code == "F401" and _names_doubt(cell, found):
            held[f"feed of {found.get('item')}"] = None
        elif found.code == "F901" and _expected_there(cell, found, unsure):
            held[found.place] = None
        else:
            kept.append(found)
    return judged, kept, [NotRun(name, WHY) for name in held]


def _unsure(cell: Cell, signal: Signal) -> bool:
    if cell.doubtful.intersection(signal.devices):
        return True
    part = cell.items[signal.item].part
    element = part.element_by_name[signal.channel.element]
    pins = [
        t
        for t in cell.items[signal.item].terminals()
        if _net(cell, t) in (element.tail, element.head)
    ]
    # a common pin that many channels share says nothing of this one
    return any(str(t) in cell.doubtful for t in pins if len(part.channels_at(_net(cell, t))) == 1)


def _expected_there(cell: Cell, found: Finding, unsure: set[str]) -> bool:
    """Return whether an expectation speaks of what a lost line may have spoilt."""
    places = places_of(cell, found)
    return found.get("signal") in unsure or any(cell.is_doubtful(t) for t in places)


def _names_doubt(cell: Cell, found: Finding) -> bool:
    item = found.get("item")
    here = [t for t in cell.items[item].terminals() if str(t) == found.place]
    nets = {_net(cell, t) for t in here}
    return item in cell.doubtful or any(
        cell.is_doubtful(t) for t in cell.items[item].terminals() if _net(cell, t) in nets
    )


def _net(cell: Cell, terminal: Terminal) -> str | None:
    return cell.items[terminal.item].net(terminal)
