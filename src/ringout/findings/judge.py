"""The whole judgement of a cell: every rule in one fixed list, each reporting for itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

import numpy as np

from ringout.base import Severity
from ringout.cell.model import Cell, Signal
from ringout.circuit.compile import compile_circuit
from ringout.circuit.model import Circuit
from ringout.findings.bounds import Bounder, Ranges
from ringout.findings.conductors import judge_conductors
from ringout.findings.contacts import judge_contacts, judge_least_current
from ringout.findings.doubtful import hold_back
from ringout.findings.exchanged import with_exchanged
from ringout.findings.expects import ExpectPlan, quieten
from ringout.findings.groups import CAUSES, ECHOES
from ringout.findings.heat import heat_questions, judge_heat
from ringout.findings.inductive import judge_coils
from ringout.findings.inrush import judge_inrush
from ringout.findings.levels import LevelPlan, LevelSurvey
from ringout.findings.model import BranchLoad, Finding, Judgement, NotRun, SignalResult
from ringout.findings.power import feed_questions, judge_back_feed, judge_feeds, judge_steady
from ringout.findings.protection import (
    branch_loads,
    branch_questions,
    far_shorts,
    judge_far_shorts,
    judge_loads,
)
from ringout.findings.references import judge_references, rail_labels
from ringout.findings.shorts import judge_shorts
from ringout.findings.signals import judge_signals
from ringout.findings.survey import Survey, survey
from ringout.findings.tied import judge_tied
from ringout.findings.timing import judge_safety, judge_timing
from ringout.findings.unnamed import UnnamedPlan


@dataclass
class Bench:
    """A cell laid out for judging: what every rule may look at."""

    cell: Cell
    circuit: Circuit
    found: Survey
    bounder: Bounder
    levels: LevelSurvey
    expects: ExpectPlan
    loads: Ranges
    fed: Ranges
    heated: Ranges
    unnamed: list[Finding]
    expected: Ranges
    signals: list[SignalResult]
    branches: list[BranchLoad]


def _signals(bench: Bench) -> list[Finding]:
    bench.signals, findings = judge_signals(bench.circuit, bench.levels)
    return with_exchanged(bench.circuit, bench.levels, bench.signals, findings)


def _loads(bench: Bench) -> list[Finding]:
    bench.branches = branch_loads(bench.circuit, bench.found, bench.loads)
    return judge_loads(bench.branches)


Rule = Callable[[Bench], list[Finding]]

RULES: tuple[tuple[str, Rule], ...] = (
    ("supplies and returns", lambda b: judge_references(b.circuit, b.found)),
    ("voltage of electronics", lambda b: judge_feeds(b.circuit, b.fed)),
    ("supplies switched off", lambda b: judge_back_feed(b.circuit, b.found)),
    ("steady states", lambda b: judge_steady(b.circuit, b.found)),
    ("shorts and overloads", lambda b: judge_shorts(b.circuit, b.found)),
    ("heat of resistors", lambda b: judge_heat(b.circuit, b.heated)),
    ("levels of signals", _signals),
    ("loads that no signal drives", lambda b: b.unnamed),
    ("outputs tied together", lambda b: judge_tied(b.circuit)),
    ("contacts", lambda b: judge_contacts(b.circuit, b.levels)),
    ("least current of two-wire devices", lambda b: judge_least_current(b.circuit, b.levels)),
    ("coils at switching off", lambda b: judge_coils(b.circuit, b.found)),
    ("load of supplies and branches", _loads),
    (
        "shorts at the far end",
        lambda b: judge_far_shorts(b.circuit, far_shorts(b.cell, b.found, b.circuit)),
    ),
    ("conductors and their protection", lambda b: judge_conductors(b.circuit)),
    ("inrush", lambda b: judge_inrush(b.circuit, b.levels)),
    ("filters and pulses", lambda b: judge_timing(b.circuit)),
    ("safety devices on ordinary inputs", lambda b: judge_safety(b.circuit)),
    ("what the file expects", lambda b: b.expects.judge(b.expected, b.levels)),
)


def lay_out(cell: Cell) -> Bench:
    """Compile and survey a cell; everything that needs a bound is asked in one batch."""
    circuit = compile_circuit(cell)
    found = survey(circuit)
    bounder = Bounder(circuit, found)
    plan = LevelPlan(circuit, found)
    unnamed = UnnamedPlan(circuit, found)
    asked = (
        plan.questions,
        branch_questions(circuit, found),
        feed_questions(circuit, found),
        heat_questions(circuit, found),
        unnamed.questions,
    )
    expects = ExpectPlan(circuit, found)
    ranges = bounder.ask([q for qs in (*asked, expects.questions) for q in qs])
    ends = list(accumulate(len(qs) for qs in (*asked, expects.questions)))
    loads, fed, heated, left, expected = (ranges.part(a, b) for a, b in pairwise(ends))
    return Bench(
        cell,
        circuit,
        found,
        bounder,
        plan.finish(ranges),
        expects,
        loads,
        fed,
        heated,
        unnamed.judge(left),
        expected,
        [],
        [],
    )


def judge(cell: Cell) -> Judgement:
    """Judge a cell by every rule.

    A rule that fails to run is reported in `not_run`; the others still speak.

    Args:
        cell: the resolved cell.

    Returns:
        Signals, findings and what did not run.
    """
    bench = lay_out(cell)
    findings: list[Finding] = []
    not_run: list[NotRun] = []
    for name, rule in RULES:
        try:
            findings += rule(bench)
        except (ArithmeticError, IndexError, KeyError, ValueError) as problem:
            not_run.append(NotRun(name, f"internal problem: {type(problem).__name__} {problem}"))
    not_run += _unsolved(bench)
    signals, findings, unsure = hold_back(cell, bench.signals, _without_echoes(bench, findings))
    not_run += unsure
    findings = [_accept(cell, f) for f in quieten(bench.circuit, signals, findings)]
    order = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}
    findings.sort(key=lambda f: (order[f.severity], f.where[0].line if f.where else 0, f.code))
    return Judgement(
        signals=tuple(signals),
        findings=tuple(findings),
        not_run=tuple(not_run),
        branches=tuple(bench.branches),
        states=len(bench.found.positions) + len(bench.levels.settled.positions),
        solves=bench.levels.ranges.solves,
        worst_residual_a=max(
            float(np.nanmax(bench.found.states.solution.residual_a, initial=0.0)),
            float(np.nanmax(bench.levels.settled.solution.residual_a, initial=0.0)),
            bench.levels.ranges.residual_a,
        ),
    )


def _unsolved(bench: Bench) -> list[NotRun]:
    out = []
    lost = int((~bench.found.states.solution.solved).sum())
    lost += int((~bench.levels.settled.solution.solved).sum())
    if lost:
        out.append(
            NotRun("solution", f"{lost} states could not be solved to 1 nA and are left out")
        )
    for cluster in bench.found.part.clusters:
        if not bench.found.complete[cluster.number]:
            names = ", ".join(bench.circuit.actors[a].name for a in cluster.actors[:5])
            names += f" and {len(cluster.actors) - 5} more" if len(cluster.actors) > 5 else ""
            out.append(
                NotRun(
                    "all states",
                    f"too many combinations of {names}: only those with two "
                    f"moved at a time were solved",
                )
            )
    return out


def _without_echoes(bench: Bench, findings: list[Finding]) -> list[Finding]:
    """Leave out wrong levels of signals that a graver finding already explains.

    A finding explains a signal when it is about one of the signal's own devices, or about the
    stretch of conductors its channel hangs on; another group of the same controller still
    speaks for itself.
    """
    cell, circuit = bench.cell, bench.circuit
    causes = [f for f in findings if f.code in CAUSES]
    controllers = {n for n, i in cell.items.items() if i.part.family == "controller"}
    blamed = {v for f in causes for k, v in f.about if k in ("item", "also")} - controllers
    stretches = {int(v) for f in causes for k, v in f.about if k == "stretch"}
    nothing_fed = any(f.code == "F406" for f in causes)
    label = rail_labels(circuit) if stretches else []

    def explained(signal: Signal) -> bool:
        channel = circuit.index_of.get(f"{signal.item}.{signal.channel.element}", -1)
        ends = circuit.elements[channel]
        hangs = bool(stretches) and bool({label[ends.tail], label[ends.head]} & stretches)
        return nothing_fed or bool(blamed.intersection(signal.devices)) or hangs

    turned = {f.get("item") for f in causes if f.code == "F203"}
    return [
        f
        for f in findings
        if not (f.code in ("F304", "F306") and f.get("item") in turned)
        if f.code not in ECHOES
        or (signal := cell.signals.get(f.get("signal"))) is None
        or not explained(signal)
    ]


def _accept(cell: Cell, finding: Finding) -> Finding:
    for accept in cell.accepts:
        if (
            accept.code == finding.code
            and accept.place in (finding.place, "")
            and (finding.severity is not Severity.NOTE)
        ):
            return replace(
                finding,
                severity=Severity.NOTE,
                accepted=accept.reason,
                message=f"{finding.message}. Accepted: {accept.reason}",
            )
    return finding
