"""One step of a checkout on the screen: what was picked, what it is evidence of, what is next."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

from ringout.checkout import Checkout, Step
from ringout.findings.looks import LAMPS, LOADS
from ringout.records import Read, Reading, StepState, UnclearReadingError
from ringout.records.model import RIGHT, WRONG
from ringout.records.paper import minute

UNITS = {"ohm": ("Ω", "kΩ", "MΩ"), "V": ("V", "mV")}
INPUT_WORDS = ("off", "on")
PHASE_WORDS = {
    "dead": "Dead: no power",
    "power": "Power in stages: everything at rest",
    "function": "Function: one thing moved at a time",
}
LEVELS = "levels"  # in the detail of a reading: name to what was seen, of all that differs


@dataclass(frozen=True, slots=True)
class Entry:
    """What counts at one step.

    Args:
        step: its number.
        seen: what was read, in words.
        verdict: `right` or `wrong`.
        evidence: sentences for the search of a culprit.
        who: who entered it.
        at: when, UTC.
        minute: when, as it is shown.
        record: its number in the chain of records.
        disputed: two people did not see the same.
        before: readings of the same step that no longer count, in words.
    """

    step: int
    seen: str
    verdict: str
    evidence: tuple[str, ...]
    who: str
    at: str
    minute: str
    record: int
    disputed: bool
    before: tuple[str, ...]


def read_picked(step: Step, words: Mapping[str, str]) -> Read:
    """Judge what was seen by eye, picked from what each thing can show.

    Args:
        step: a step without limits.
        words: name to what was seen, of all that is looked at; what is missing is as expected.

    Raises:
        UnclearReadingError: nothing there can show that.
    """
    odd = {}
    for name, expected in step.levels:
        word = words.get(name, expected)
        if word not in glance_choices(step, expected):
            message = f"`{word}` is nothing {name} can show"
            raise UnclearReadingError(message, "pick one of the list")
        if word != expected:
            odd[name] = word
    if not odd:
        return Read("as expected", None, RIGHT)
    seen = ", ".join(f"{n} {w}" for n, w in odd.items())
    return Read(seen, None, WRONG, json.dumps({LEVELS: odd}, ensure_ascii=False, sort_keys=True))


def glance_choices(step: Step, expected: str) -> tuple[str, ...]:
    """Return what may be seen instead."""
    if step.kind == "inputs":
        return INPUT_WORDS
    return LAMPS if expected in LAMPS else LOADS


def evidence_of(step: Step, read: Read | Reading) -> tuple[str, ...]:
    """Return what was seen at a step as sentences of the search; none where it was said freely."""
    if step.unit:
        return (f"{step.a} to {step.b} = {read.text}{_while(step)}",)
    if read.verdict == RIGHT:
        return tuple(f"{n} {w}{_while(step)}" for n, w in step.levels)
    told = json.loads(read.detail) if read.detail else {}
    return tuple(f"{n} {w}{_while(step)}" for n, w in told.get(LEVELS, {}).items())


def _while(step: Step) -> str:
    words = " and ".join(f"{a} {p}" for a, p in step.state)
    return f" while {words}" if words else ""


def entries_of(checkout: Checkout, states: Mapping[int, StepState]) -> dict[int, Entry]:
    """Return step to what counts there, of all that were read."""
    return {
        n: _entry(n, checkout.steps[n - 1], state, state.last)
        for n, state in states.items()
        if state.last is not None
    }


def _entry(number: int, step: Step, state: StepState, last: Reading) -> Entry:
    return Entry(
        number,
        last.text,
        last.verdict,
        evidence_of(step, last),
        last.who,
        last.at,
        minute(last.at),
        last.record,
        state.disputed,
        tuple(f"{r.text}, {r.verdict}: {r.who}, {minute(r.at)}" for r in state.readings[:-1]),
    )


def next_open(checkout: Checkout, done: Mapping[int, Entry], after: int = 0) -> int:
    """Return the next step nothing was entered for, going round once; 0 when all are done."""
    count = len(checkout.steps)
    order = [*range(after + 1, count + 1), *range(1, after + 1)]
    return next((n for n in order if n not in done), 0)


def all_evidence(done: Mapping[int, Entry], most: int = 12) -> list[str]:
    """Return the sentences of all that failed, the latest first."""
    failed = sorted((e for e in done.values() if e.verdict == WRONG), key=lambda e: e.record)
    return [s for e in reversed(failed) for s in e.evidence][:most]


def unsafe_to_power(checkout: Checkout, done: Mapping[int, Entry]) -> list[int]:
    """Return the dead steps that failed or were not done: power must wait for them."""
    return [
        n
        for n, step in enumerate(checkout.steps, 1)
        if step.phase == "dead" and (n not in done or done[n].verdict == WRONG)
    ]
