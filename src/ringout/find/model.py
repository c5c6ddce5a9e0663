"""What was seen at the cell, who may have caused it, and what to measure next."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.circuit.faults import Fault
from ringout.findings.looks import Look

# How an observation speaks about the cell.
READING, WORD, TRIED, SWAPPED, PROVEN = "reading", "word", "tried", "swapped", "proven"
RAN = "ran"
TIMES = ("always", "sometimes", "moving", "warm")


@dataclass(frozen=True, slots=True)
class Observation:
    """One sentence of a person, understood.

    Args:
        text: the sentence as it was said.
        kind: `reading` (a meter's number), `word` (a level, load or lamp seen by eye),
            `tried` (something replaced, tightened, pressed on: with or without effect),
            `swapped` (two like things exchanged: the fault moved with them or stayed),
            `proven` (something shown good: another load worked on it, its wires were rung out),
            `ran` (the cell worked before, wired as it is).
        understood: the sentence in the tool's own words.
        look: what was looked at; None for tried, swapped, proven, ran.
        low: lowest value that agrees with the sentence, meter error included; V, ohm or, for
            words, 0 to 2.
        high: highest such value.
        about: items, cables, cores (`W1:BN`) or sockets a tried/swapped/proven speaks of.
        outcome: `cured`, `no change`, `moved`, `stayed`, `good`; empty for what was seen.
        when: `always`, `sometimes`, `moving` (only while the machine moves or is touched),
            `warm` (only after some time).
    """

    text: str
    kind: str
    understood: str
    look: Look | None = None
    low: float = 0.0
    high: float = 0.0
    about: tuple[str, ...] = ()
    outcome: str = ""
    when: str = "always"


@dataclass(frozen=True, slots=True)
class Culprit:
    """One suspect, or a group that these observations cannot tell apart.

    Args:
        faults: faults that behave alike in every look, most likely first.
        probability: share of all that is still possible, 0..1.
        why: one sentence: what speaks for it, with the numbers.
        against: sentences of observations that it does not explain.
        undecided: other suspects that no look of this model tells from it: they must be told
            apart by hand and eye, or exchanged one by one.
    """

    faults: tuple[Fault, ...]
    probability: float
    why: str
    against: tuple[str, ...] = ()
    undecided: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class NextLook:
    """The measurement that splits the suspects best for its cost.

    Args:
        look: what to look at.
        do: what to do, as one instruction.
        expect: (what is seen, the suspects that would show it), most likely first.
        seconds: what it costs.
        bits: how much it is expected to tell.
    """

    look: Look
    do: str
    expect: tuple[tuple[str, tuple[str, ...]], ...]
    seconds: float
    bits: float


@dataclass(frozen=True, slots=True)
class Found:
    """The answer to what was seen.

    Args:
        observations: as understood.
        contradictions: sentences: observations that exclude each other, or that no fault gives.
        culprits: most probable first.
        next: the best next look; None when nothing splits what is left.
        healthy: nothing seen differs from a cell without faults.
        notes: what the answer rests on that was not solved.
        bits: how much is still unknown, over all suspects; 0 when one is certain.
    """

    observations: tuple[Observation, ...]
    contradictions: tuple[str, ...]
    culprits: tuple[Culprit, ...]
    next: NextLook | None
    healthy: bool
    notes: tuple[str, ...] = ()
    bits: float = 0.0
