"""One step of a checkout on the screen: what was read judged against what it must show."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass

from ringout.checkout import Checkout, Step
from ringout.find.words.sentence import UnclearError
from ringout.find.words.value import OPEN, READINGS, read_value
from ringout.findings.looks import LAMPS, LOADS
from ringout.web.runs import FAIL, PASS, Entry, Run, now_words
from ringout.web.seen import with_unit

UNITS = {"ohm": ("Ω", "kΩ", "MΩ"), "V": ("V", "mV")}
INPUT_WORDS = ("off", "on")
HEDGED = ("about", "over", "under")
MOST_TYPED = 40
SHY = 1e-9
PHASE_WORDS = {
    "dead": "Dead: no power",
    "power": "Power in stages: everything at rest",
    "function": "Function: one thing moved at a time",
}


@dataclass(frozen=True, slots=True)
class Judged:
    """What was read, judged: in words, the verdict, and the sentences a search goes by."""

    seen: str
    verdict: str
    evidence: tuple[str, ...] = ()


def check_of(step: Step) -> str:
    """Return what tells a step from any other."""
    return hashlib.sha256(f"{step.do}\n{step.expect}".encode()).hexdigest()[:16]


def judge_reading(step: Step, text: str, unit: str) -> Judged | str:
    """Judge the number on the display against the limits of a step.

    Args:
        step: a step with limits.
        text: what was typed: a number, with a unit or without, or `open`.
        unit: unit of a bare number.

    Returns:
        The verdict, or a sentence that says what cannot be understood.
    """
    said = " ".join(text.split())
    if not said:
        return "Type what the display shows, or press Open."
    if len(said) > MOST_TYPED:
        return "That is longer than a display shows."
    if said.casefold().startswith(HEDGED):
        return f"`{said}`: type the one number the display shows."
    said = with_unit(said, unit if unit in UNITS[step.unit] else UNITS[step.unit][0])
    try:
        shown = read_value(said, (0, len(said)))
    except UnclearError as problem:
        return f"{problem.message}{f' ({problem.fix})' if problem.fix else ''}."
    opened = READINGS.get(said.casefold()) == OPEN
    ohms = shown.quantity == "ohms"
    if ohms != (step.unit == "ohm"):
        return f"This step reads {'ohms' if step.unit == 'ohm' else 'volts'}, not `{said}`."
    if not opened and (
        said.casefold() in READINGS or shown.words.startswith(HEDGED) or shown.low == shown.high
    ):
        return f"`{said}`: type the one number the display shows."
    value = math.inf if opened else shown.typ
    room = SHY * max(1.0, abs(value)) if math.isfinite(value) else 0.0
    good = step.low - room <= value <= step.high + room
    sentence = f"{step.a} to {step.b} = {shown.words}{_while(step)}"
    return Judged(shown.words, PASS if good else FAIL, (sentence,))


def judge_glance(step: Step, words: Mapping[str, str]) -> Judged | str:
    """Judge what was seen by eye.

    Args:
        step: a step without limits.
        words: name to what was seen, of all that is looked at; what is missing is as expected.
    """
    odd = []
    for name, expected in step.levels:
        word = words.get(name, expected)
        if word not in glance_choices(step, expected):
            return f"`{word}` is nothing {name} can show."
        if word != expected:
            odd.append((name, word))
    if not odd:
        return Judged("as expected", PASS, tuple(f"{n} {w}{_while(step)}" for n, w in step.levels))
    seen = ", ".join(f"{n} {w}" for n, w in odd)
    return Judged(seen, FAIL, tuple(f"{n} {w}{_while(step)}" for n, w in odd))


def glance_choices(step: Step, expected: str) -> tuple[str, ...]:
    """Return what may be seen instead."""
    if step.kind == "inputs":
        return INPUT_WORDS
    return LAMPS if expected in LAMPS else LOADS


def _while(step: Step) -> str:
    words = " and ".join(f"{a} {p}" for a, p in step.state)
    return f" while {words}" if words else ""


def entry_of(number: int, step: Step, judged: Judged) -> Entry:
    """Return an entry of the run."""
    return Entry(number, check_of(step), judged.seen, judged.verdict, judged.evidence, now_words())


def results(checkout: Checkout, run: Run | None) -> dict[int, Entry]:
    """Return step to what was seen there, where the step is still the one it was."""
    if run is None:
        return {}
    return {
        n: e
        for n, e in run.last.items()
        if 1 <= n <= len(checkout.steps) and e.check == check_of(checkout.steps[n - 1])
    }


def next_open(checkout: Checkout, done: Mapping[int, Entry], after: int = 0) -> int:
    """Return the next step nothing was entered for, going round once; 0 when all are done."""
    count = len(checkout.steps)
    order = [*range(after + 1, count + 1), *range(1, after + 1)]
    return next((n for n in order if n not in done), 0)


def evidence_of(done: Mapping[int, Entry], most: int = 12) -> list[str]:
    """Return the sentences of all that failed, the latest first."""
    failed = sorted((e for e in done.values() if e.verdict == FAIL), key=lambda e: e.at)
    return [s for e in reversed(failed) for s in e.evidence][:most]


def unsafe_to_power(checkout: Checkout, done: Mapping[int, Entry]) -> list[int]:
    """Return the dead steps that failed or were not done: power must wait for them."""
    return [
        n
        for n, step in enumerate(checkout.steps, 1)
        if step.phase == "dead" and (n not in done or done[n].verdict == FAIL)
    ]
