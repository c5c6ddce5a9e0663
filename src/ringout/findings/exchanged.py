"""Two signals of one kind that have each other's channel: one mistake, told once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from ringout.base import Severity
from ringout.circuit.model import BoolArray, Circuit
from ringout.findings.groups import LEVELS
from ringout.findings.levels import LevelSurvey, SignalStates, channel_actor, wanted
from ringout.findings.model import Finding, SignalResult


def with_exchanged(
    circuit: Circuit, levels: LevelSurvey, results: list[SignalResult], findings: list[Finding]
) -> list[Finding]:
    """Tell of pairs of signals that are exchanged, in the place of what each does wrong.

    Two signals are exchanged when the level of each, at typical values and in every state, is
    what the other one is to be, and not what it is to be itself.

    Args:
        circuit: the compiled cell.
        levels: the level of every signal in every state.
        results: every signal judged.
        findings: the findings on levels.

    Returns:
        The findings, with one on each pair instead of those it explains.
    """
    wrong = [
        states
        for r in results
        if r.verdict == "fails" and (states := levels.by_name.get(r.name)) is not None
        if not _follows(states, states.wanted_on)
    ]
    pairs: dict[str, str] = {}
    told = []
    for a, b in _candidates(circuit, wrong):
        if a.signal.name in pairs or b.signal.name in pairs:
            continue
        if _stands_for(circuit, a, b) and _stands_for(circuit, b, a):
            pairs |= {a.signal.name: b.signal.name, b.signal.name: a.signal.name}
            told.append(_finding(a, b))
    return [f for f in findings if not _explained(f, pairs)] + told


def _candidates(
    circuit: Circuit, wrong: list[SignalStates]
) -> Iterator[tuple[SignalStates, SignalStates]]:
    """Yield pairs of one controller and kind of which each hangs on what moves the other."""
    moves = [_moved_by(circuit, states) for states in wrong]
    hang: dict[int, list[int]] = {}
    for n, states in enumerate(wrong):
        for column in states.columns:
            hang.setdefault(column, []).append(n)
    for n, a in enumerate(wrong):
        near = {m for column in moves[n] for m in hang.get(column, ()) if m > n}
        for m in sorted(near):
            b = wrong[m]
            alike = a.signal.item == b.signal.item
            alike &= (a.signal.on is None) == (b.signal.on is None)
            if alike and moves[n] <= set(b.columns) and moves[m] <= set(a.columns):
                yield a, b


def _moved_by(circuit: Circuit, states: SignalStates) -> set[int]:
    """Return the actors a signal follows that no circuit moves: persons and commands."""
    if states.signal.on is None:
        return {circuit.actor_index[channel_actor(circuit, states.signal)]}
    leaves = {circuit.actor_index[leaf.actor] for leaf in states.signal.on.leaves()}
    return {column for column in leaves if circuit.actors[column].moved_by == "person"}


def _explained(finding: Finding, pairs: Mapping[str, str]) -> bool:
    return finding.code in LEVELS and finding.get("signal") in pairs


def _follows(states: SignalStates, want: BoolArray) -> bool:
    """Return whether the typical level is on exactly where `want` says; both must occur."""
    on_v, off_v = states.limits.on_v, states.limits.off_v
    rows = ~states.taken
    if on_v is None or off_v is None or not states.complete:
        return False
    on, off = states.v_typ[rows & want], states.v_typ[rows & ~want]
    return bool(on.size and off.size and np.all(on >= on_v) and np.all(off <= off_v))


def _stands_for(circuit: Circuit, a: SignalStates, b: SignalStates) -> bool:
    """Return whether what is measured as `a` is what `b` is to be, in all states of both."""
    want = [wanted(circuit, b.signal, row) for row in a.positions]
    return _follows(a, np.array(want, dtype=np.bool_))


def _finding(a: SignalStates, b: SignalStates) -> Finding:
    first, second = a.signal, b.signal
    here, there = first.channel_name, second.channel_name
    if first.on is not None:
        what = f"{here} is on while {second.on}, {there} while {first.on}"
    else:
        what = f"{here} works {second.drives}, {there} works {first.drives}"
    return Finding(
        "F111",
        Severity.ERROR,
        f"{first.name} and {second.name} are exchanged ({here} <-> {there}): {what}",
        (first.channel_span, second.channel_span),
        here,
        source="common practice",
        about=(("signal", first.name), ("signal", second.name)),
    )
