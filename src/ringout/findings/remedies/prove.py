"""Every proposal is solved again; only those that cure and break nothing are called proven."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from ringout.base import Severity
from ringout.cell.model import Cell
from ringout.findings.model import Finding, Judgement, Margin, Remedy, SignalResult
from ringout.findings.remedies.landing import propose_landing
from ringout.findings.remedies.levels import propose_levels
from ringout.findings.remedies.loads import propose_loads
from ringout.findings.remedies.proposal import Proposal
from ringout.findings.remedies.supply import propose_supply
from ringout.findings.remedies.timing import propose_timing
from ringout.findings.remedies.trials import Trials

Maker = Callable[[Trials, Finding], Iterable[Proposal]]
MAKERS: tuple[Maker, ...] = (
    propose_landing,
    propose_levels,
    propose_loads,
    propose_supply,
    propose_timing,
)
MOST_REMEDIES = 3


def with_remedies(
    cell: Cell, judgement: Judgement, progress: Callable[[int, int], None] | None = None
) -> Judgement:
    """Add proven remedies to every error and warning of a judgement.

    Args:
        cell: the judged cell.
        judgement: its judgement.
        progress: called with findings done and findings in all.

    Returns:
        The judgement with remedies; each was applied to a copy of the cell and judged anew in
        all states.
    """
    trials = Trials(cell, judgement)
    findings = []
    for number, found in enumerate(judgement.findings):
        cured = found.severity is Severity.NOTE
        findings.append(found if cured else replace(found, remedies=_remedies(trials, found)))
        if progress is not None:
            progress(number + 1, len(judgement.findings))
    return replace(judgement, findings=tuple(findings))


def _remedies(trials: Trials, finding: Finding) -> tuple[Remedy, ...]:
    out: list[Remedy] = []
    for maker in MAKERS:
        for proposal in maker(trials, finding):
            out.append(_prove(finding, trials, proposal))
            if sum(r.proven for r in out) >= MOST_REMEDIES:
                break
    out.sort(key=lambda r: not r.proven)
    proven = [r for r in out if r.proven]
    return tuple((proven or out)[:MOST_REMEDIES])


def _prove(finding: Finding, trials: Trials, proposal: Proposal) -> Remedy:
    before = trials.before
    after = trials.judged(proposal.edit, proposal.cell)
    keys = {f.key for f in after.findings if f.severity is not Severity.NOTE}
    old = {f.key for f in before.findings}
    errors = {f.key for f in after.findings if f.severity is Severity.ERROR}
    proven = finding.key not in keys and not errors - old and not after.not_run
    margins = tuple(
        _margin(name, _by_name(before, name), _by_name(after, name)) for name in proposal.signals
    )
    return Remedy(proposal.text, proven, margins, proposal.edit)


def _by_name(judgement: Judgement, name: str) -> SignalResult | None:
    return next((s for s in judgement.signals if s.name == name), None)


def _margin(name: str, before: SignalResult | None, after: SignalResult | None) -> Margin:
    def of(result: SignalResult | None, *, on: bool) -> float | None:
        level = None if result is None else (result.on if on else result.off)
        return None if level is None else level.margin_v

    return Margin(
        name, of(before, on=True), of(after, on=True), of(before, on=False), of(after, on=False)
    )
