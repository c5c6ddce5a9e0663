"""Every proposal is solved again; only those that cure and break nothing are called proven."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from math import isfinite

from ringout.base import Severity
from ringout.cell.model import Cell
from ringout.circuit.compile import compile_circuit
from ringout.circuit.model import Circuit
from ringout.findings.doubtful import WHY as LOST_LINE
from ringout.findings.model import Finding, Judgement, Margin, Remedy, SignalResult
from ringout.findings.references import rail_labels
from ringout.findings.remedies.cables import propose_cables
from ringout.findings.remedies.exchange import propose_exchange
from ringout.findings.remedies.landing import propose_landing
from ringout.findings.remedies.levels import propose_levels
from ringout.findings.remedies.loads import propose_loads
from ringout.findings.remedies.proposal import Proposal
from ringout.findings.remedies.supply import propose_supply
from ringout.findings.remedies.timing import propose_timing
from ringout.findings.remedies.trials import Trials

Maker = Callable[[Trials, Finding], Iterable[Proposal]]
MAKERS: tuple[Maker, ...] = (
    propose_exchange,
    propose_landing,
    propose_levels,
    propose_loads,
    propose_supply,
    propose_cables,
    propose_timing,
)
MOST_REMEDIES = 3
# Shorts, overloads, parts turned round, voltages too high: no cure may bring these.
HARMFUL = frozenset({"F201", "F202", "F203", "F205"})
WORSE_V = 0.05  # a margin that fails already may not fall by more


def with_remedies(
    cell: Cell, judgement: Judgement, progress: Callable[[int, int], None] | None = None
) -> Judgement:
    """Add proven remedies to every error and warning of a judgement.

    Args:
        cell: the judged cell.
        judgement: its judgement.
        progress: called with findings done and findings in all, at each change that is tried.

    Returns:
        The judgement with remedies; each was applied to a copy of the cell and judged anew in
        all states.
    """
    findings: list[Finding] = []
    total = len(judgement.findings)

    def tick() -> None:
        if progress is not None:
            progress(len(findings), total)

    trials = Trials(cell, judgement, tick)
    for found in judgement.findings:
        tick()
        cured = found.severity is Severity.NOTE
        findings.append(found if cured else replace(found, remedies=_remedies(trials, found)))
    if total:
        tick()
    return replace(judgement, findings=tuple(findings))


def _remedies(trials: Trials, finding: Finding) -> tuple[Remedy, ...]:
    out: list[Remedy] = []
    for maker in MAKERS:
        for proposal in maker(trials, finding):
            made = _prove(finding, trials, proposal)
            if made is None:
                continue
            out.append(made)
            if sum(r.proven for r in out) >= MOST_REMEDIES:
                break
    out.sort(key=lambda r: not r.proven)
    proven = [r for r in out if r.proven]
    return tuple((proven or out)[:MOST_REMEDIES])


def _prove(finding: Finding, trials: Trials, proposal: Proposal) -> Remedy | None:
    """Return the proposal solved again; None for one that harms, which is no advice at all."""
    before = trials.before
    after = trials.judged(proposal.edit, proposal.cell)
    keys = {f.key for f in after.findings if f.severity is not Severity.NOTE}
    old = {f.key for f in before.findings}
    errors = {f.key for f in after.findings if f.severity is Severity.ERROR}
    if any(code in HARMFUL for code, *_ in errors - old):
        return None
    if bridged_contacts(trials.circuit, compile_circuit(proposal.cell)):
        return None
    margins = tuple(
        _margin(name, _by_name(before, name), _by_name(after, name)) for name in proposal.signals
    )
    if any(_works_unasked(_by_name(after, s.name)) > _works_unasked(s) for s in before.signals):
        return None
    worse = any(_worse(_margin(s.name, s, _by_name(after, s.name))) for s in before.signals)
    cured = finding.key not in keys
    held = {n for n in before.not_run if n.why == LOST_LINE}  # no change here mends the file
    proven = cured and not errors - old and not worse and not set(after.not_run) - held
    if not proven and not _worth_trying(finding, proposal, before, after, cured=cured):
        return None
    return Remedy(proposal.text, proven, margins, proposal.edit)


def _worth_trying(
    finding: Finding, proposal: Proposal, before: Judgement, after: Judgement, *, cured: bool
) -> bool:
    """Return whether a change that is no cure still makes a wrong level better and none worse.

    A finding on something else than a level is better only when it is gone.
    """
    told = [v for k, v in finding.about if k == "signal"] or list(proposal.signals)
    changes = {
        s.name: _changes(_margin(s.name, s, _by_name(after, s.name))) for s in before.signals
    }
    if any(_falls(was, now) for pairs in changes.values() for was, now in pairs):
        return False
    wrong = [pair for name in told for pair in changes.get(name, ()) if pair[0] < 0.0]
    return any(now > was + WORSE_V for was, now in wrong) if wrong else cured


def _changes(margin: Margin) -> list[tuple[float, float]]:
    """Return the margins that can be compared, before and after."""
    pairs = ((margin.on_before_v, margin.on_after_v), (margin.off_before_v, margin.off_after_v))
    return [
        (was, now)
        for was, now in pairs
        if was is not None and now is not None and isfinite(was) and isfinite(now)
    ]


def _falls(was: float, now: float) -> bool:
    """Return whether a level that is wrong gets worse, or a right one wrong."""
    return now < was - WORSE_V and now < 0.0


def bridged_contacts(before: Circuit, after: Circuit) -> list[str]:
    """Return contacts that conductors bridge after a change and did not before.

    What a contact switches off must stay off when it opens, an emergency stop above all.
    """
    label, now = rail_labels(before), rail_labels(after)
    found = []
    for e in before.elements:
        number = after.index_of.get(e.name)
        if e.kind != "contact" or number is None or label[e.tail] == label[e.head]:
            continue
        same = after.elements[number]
        if now[same.tail] == now[same.head]:
            found.append(e.name)
    return found


def _works_unasked(signal: SignalResult | None) -> bool:
    """Return whether an output's load can work while the output is off."""
    if signal is None or signal.kind != "output" or signal.off is None:
        return False
    return signal.on_limit_v is not None and signal.off.v_high >= signal.on_limit_v


def _worse(margin: Margin) -> bool:
    """Return whether a level that is wrong becomes still more so; a new one is a new finding."""
    return any(was < 0.0 and _falls(was, now) for was, now in _changes(margin))


def _by_name(judgement: Judgement, name: str) -> SignalResult | None:
    return next((s for s in judgement.signals if s.name == name), None)


def _margin(name: str, before: SignalResult | None, after: SignalResult | None) -> Margin:
    def of(result: SignalResult | None, *, on: bool) -> float | None:
        level = None if result is None else (result.on if on else result.off)
        return None if level is None else level.margin_v

    return Margin(
        name, of(before, on=True), of(after, on=True), of(before, on=False), of(after, on=False)
    )
