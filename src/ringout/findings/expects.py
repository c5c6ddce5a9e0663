"""`expect` lines: what the file itself says must hold, checked at worst case."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ringout.base import Severity
from ringout.base.quantity import format_between
from ringout.cell.model import Cell, Condition, Expect, Terminal
from ringout.circuit.model import Circuit, IntArray
from ringout.findings.bounds import Question, Ranges, clusters_of_nodes
from ringout.findings.clusters import RAIL_KINDS, local_states, wake
from ringout.findings.groups import CAUSES
from ringout.findings.levels import LevelSurvey, level_element
from ringout.findings.model import Finding, Quantity, SignalResult
from ringout.findings.references import pole_labels, rail_labels
from ringout.findings.settle import settle_states
from ringout.findings.survey import Survey

SLACK_V = 0.05  # bounds are never tighter than what leaks can do; no meter minds this
SLACK_A = 1e-5


class ExpectPlan:
    """Everything that must be bounded to check the `expect` lines of a cell.

    Args:
        circuit: compiled cell.
        found: its survey.
    """

    def __init__(self, circuit: Circuit, found: Survey) -> None:
        self.circuit, self.found = circuit, found
        self.questions: list[Question] = []
        self._rows: list[tuple[Expect, int, int]] = []
        for expect in circuit.cell.expects:
            if expect.kind == "signal":
                continue
            asked = _questions(circuit, found, expect)
            begin = len(self.questions)
            self.questions += asked
            self._rows.append((expect, begin, len(self.questions)))

    def judge(self, ranges: Ranges, levels: LevelSurvey) -> list[Finding]:
        """Return a finding for every line that does not hold in every state it speaks of."""
        findings = [_judged(expect, ranges.part(begin, end)) for expect, begin, end in self._rows]
        findings += [
            _signal(self.circuit, levels, e)
            for e in self.circuit.cell.expects
            if e.kind == "signal"
        ]
        return [f for f in findings if f is not None]


def _named(circuit: Circuit, positions: IntArray) -> Mapping[str, str]:
    return {a.name: a.positions[int(positions[i])] for i, a in enumerate(circuit.actors)}


def _signal(circuit: Circuit, levels: LevelSurvey, expect: Expect) -> Finding | None:
    states = levels.by_name.get(expect.signal)
    if states is None:
        return None
    # what does not act on the signal may stand as the condition wants it
    leaves = list(expect.while_.leaves()) if expect.while_ is not None else []
    free = {
        p.actor: p.position
        for p in leaves
        if circuit.actor_index[p.actor] not in states.columns
        and circuit.actors[circuit.actor_index[p.actor]].moved_by == "person"
    }
    for row, positions in enumerate(states.positions):
        named = {**_named(circuit, positions), **free}
        if expect.while_ is not None and not expect.while_.holds(named):
            continue
        limit = states.limits.on_v if expect.wanted_on else states.limits.off_v
        if limit is None:
            continue
        good = states.v_low[row] >= limit if expect.wanted_on else states.v_high[row] <= limit
        if not good:
            return _failed(
                expect,
                f"{format_between(float(states.v_low[row]), float(states.v_high[row]), 'V')} while "
                f"{states.describe(circuit, row)}",
                (
                    Quantity("lowest", float(states.v_low[row]), "V"),
                    Quantity("highest", float(states.v_high[row]), "V"),
                ),
            )
    return None


def states_where(
    circuit: Circuit, found: Survey, condition: Condition | None, clusters: frozenset[int]
) -> tuple[IntArray, frozenset[int]]:
    """Return settled (S, A) states of these clusters in which a condition holds."""
    columns: set[int] = set()
    if condition is not None:
        for leaf in condition.leaves():
            column = circuit.actor_index[leaf.actor]
            columns.add(column)
            clusters |= {int(found.part.cluster_of_actor[column])} - {-1}
    free = {a for c in clusters for a in found.part.clusters[c].actors}
    positions, _ = local_states(circuit, sorted(columns | free))
    others = [a for a in range(len(circuit.actors)) if a not in columns | free]
    positions[:, others] = found.base[0, others]
    wake(circuit, positions)
    if condition is not None:
        keep = [condition.holds(_named(circuit, row)) for row in positions]
        positions = positions[np.array(keep, dtype=np.bool_)]
    if not len(positions):
        return positions, clusters
    settled = settle_states(circuit, positions, circuit.curves(positions))
    return settled.positions, clusters


def in_series(circuit: Circuit, conductor: int) -> int:
    """Return an element with the same current as a conductor, and with a voltage worth the name.

    A few milliohms of copper turn a millivolt into an ampere: where one conductor only leads
    on to a resistor, a contact's input or a load, the current is told far better there.
    """
    at: dict[int, list[int]] = {}
    for e, element in enumerate(circuit.elements):
        at.setdefault(element.tail, []).append(e)
        at.setdefault(element.head, []).append(e)
    for end in (circuit.elements[conductor].tail, circuit.elements[conductor].head):
        seen, node = conductor, end
        while len(at[node]) == 2 and node != 0:
            beyond = next((e for e in at[node] if e != seen), conductor)
            ends = circuit.elements[beyond]
            if beyond == conductor or ends.tail == ends.head:
                break
            if ends.kind not in RAIL_KINDS and circuit.cond_actor[beyond, 0] < 0:
                return beyond
            seen, node = beyond, ends.tail if ends.head == node else ends.head
    return conductor


def _questions(circuit: Circuit, found: Survey, expect: Expect) -> list[Question]:
    element = -1
    if expect.kind == "current":
        element = in_series(circuit, circuit.index_of[expect.conductor])
        a, b = circuit.elements[element].tail, circuit.elements[element].head
    else:
        assert expect.a is not None
        assert expect.b is not None
        a, b = circuit.node(expect.a), circuit.node(expect.b)
    clusters = clusters_of_nodes(circuit, found, (a, b))
    positions, clusters = states_where(circuit, found, expect.while_, clusters)
    return [Question(a, b, row, clusters, element) for row in positions]


def _judged(expect: Expect, ranges: Ranges) -> Finding | None:
    if not len(ranges.low):
        return _failed(expect, "no state in which that could be", ())
    low, high = float(np.min(ranges.low)), float(np.max(ranges.high))
    if expect.kind == "current":
        sizes = sorted((abs(low), abs(high)))
        low, high = 0.0 if low < 0.0 < high else sizes[0], sizes[1]
    slack = SLACK_V if expect.kind == "voltage" else SLACK_A
    if low >= expect.low - slack and high <= expect.high + slack:
        return None
    unit, scale = ("mA", 1000.0) if expect.kind == "current" else ("V", 1.0)
    return _failed(
        expect,
        format_between(low * scale, high * scale, unit),
        (Quantity("lowest", low * scale, unit), Quantity("highest", high * scale, unit)),
    )


def quieten(
    circuit: Circuit, signals: Sequence[SignalResult], findings: Sequence[Finding]
) -> list[Finding]:
    """Make a note of an expectation that fails for what is told as an error already.

    That is one of a signal that fails, or of a voltage at the channel of one.

    Args:
        circuit: the compiled cell.
        signals: every signal judged.
        findings: everything found.
    """
    if not any(f.code == "F901" for f in findings):
        return list(findings)
    errors = [f for f in findings if f.severity is Severity.ERROR and f.code != "F901"]
    told = {v: f.code for f in reversed(errors) for k, v in f.about if k == "signal"}
    label = rail_labels(circuit)
    poles = pole_labels(circuit, label)
    at: dict[int, str] = {}
    for s in signals:
        element = level_element(circuit, circuit.cell.signals[s.name])
        if s.verdict == "fails" and s.kind == "input" and element >= 0:
            ends = circuit.elements[element]
            at |= {label[n]: s.name for n in (ends.tail, ends.head) if label[n] not in poles}
    cause = next((f.code for f in errors if f.code in CAUSES), "")
    if cause:  # what such an error explains is not told of each signal
        told = {s.name: cause for s in signals if s.verdict == "fails"} | told
    out = []
    for found in findings:
        name = found.get("signal")
        if found.code == "F901" and not name:
            places = places_of(circuit.cell, found)
            name = next((n for t in places if (n := at.get(label[circuit.node(t)]))), "")
        again = found.code == "F901" and name in told
        text = f"{found.message}; {told.get(name)}, told of {name}, says why"
        out.append(replace(found, severity=Severity.NOTE, message=text) if again else found)
    return out


def places_of(cell: Cell, found: Finding) -> list[Terminal]:
    """Return the terminals an expectation that failed speaks of."""
    expects = (e for e in cell.expects if e.text == found.place)
    return [t for e in expects for t in (e.a, e.b) if t is not None]


def _failed(expect: Expect, got: str, numbers: tuple[Quantity, ...]) -> Finding:
    return Finding(
        "F901",
        Severity.ERROR,
        f"the file expects `{expect.text}`, but it is {got}",
        (expect.span,),
        expect.text,
        numbers,
        "the file",
        about=(("signal", expect.signal),) if expect.signal else (),
    )
