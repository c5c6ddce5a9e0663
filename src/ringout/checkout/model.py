"""The procedure as data: candidates, steps and what they expose."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from ringout.cell.model import Terminal
from ringout.circuit.faults import Fault
from ringout.findings.model import NotRun

DEAD, POWER, FUNCTION = "dead", "power", "function"
PHASES = (DEAD, POWER, FUNCTION)
OHMS, VOLTS, INPUTS, LOAD = "ohms", "volts", "inputs", "load"


@dataclass(frozen=True, slots=True)
class Candidate:
    """One look that a checkout may hold.

    Args:
        phase: `dead`, `power` or `function`.
        kind: `ohms`, `volts`, `inputs` (all inputs of one controller at a glance), `load`.
        state: index of the state it is done in.
        cost_s: seconds for the look alone.
        a: red probe; None for a glance.
        b: black probe.
        what: controller for `inputs`, load for `load`.
        must: it is done in any case, whatever it exposes: that a supply has its voltage.
    """

    phase: str
    kind: str
    state: int
    cost_s: float
    a: Terminal | None = None
    b: Terminal | None = None
    what: str = ""
    must: bool = False


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the procedure.

    Args:
        phase: `dead`, `power` or `function`.
        kind: kind of look.
        state: (actor, position) pairs that differ from rest.
        do: what to do, as one instruction.
        expect: what must be seen, with the meter's error.
        low: lowest good reading, as printed; NaN for a glance.
        high: highest good reading, `inf` for open.
        unit: `ohm`, `V` or empty.
        levels: for a glance (name, what must be seen) of everything looked at.
        if_not: what it means if something else is seen.
        exposes: faults no earlier step exposes.
        catches: how many faults this step exposes, those of earlier steps included.
        seconds: what it costs, moving the cell into its state included.
        a: red probe.
        b: black probe.
        what: controller or load of a glance.
        caught: the faults `catches` counts.
        kept: it was done before and nothing about it changed; it need not be done again.
    """

    phase: str
    kind: str
    state: tuple[tuple[str, str], ...]
    do: str
    expect: str
    low: float
    high: float
    unit: str
    levels: tuple[tuple[str, str], ...]
    if_not: str
    exposes: tuple[Fault, ...]
    catches: int
    seconds: float
    a: Terminal | None = None
    b: Terminal | None = None
    what: str = ""
    caught: tuple[Fault, ...] = ()
    kept: bool = False

    @property
    def key(self) -> str:
        """Return what is looked at, where and in which state: the same in every revision."""
        where = [str(t) for t in (self.a, self.b) if t is not None]
        return look_key(self.phase, self.kind, self.state, where, self.what)


@dataclass(frozen=True, slots=True)
class Kept:
    """What a step that was done and found right has shown.

    Args:
        low: lowest good reading, as printed; NaN for a glance.
        high: highest.
        levels: for a glance (name, what must be seen).
        caught: marks of the faults it exposes.
    """

    low: float
    high: float
    levels: tuple[tuple[str, str], ...]
    caught: frozenset[str]


def look_key(
    phase: str, kind: str, state: Sequence[tuple[str, str]], where: Sequence[str], what: str
) -> str:
    """Return the name of a look: its place, kind, phase and state."""
    words = [phase, kind, *where, *([what] if what else [])]
    return " ".join([*words, *(["while", *(f"{a}={p}" for a, p in state)] if state else [])])


def fault_mark(fault: Fault) -> str:
    """Return a name for a fault that changes when what it says of the wiring changes."""
    return f"{fault.id} {hashlib.sha256(fault.text.encode()).hexdigest()[:8]}"


@dataclass(frozen=True, slots=True)
class Unexposed:
    """A fault no step can expose, or that can do harm before one exposes it.

    Args:
        fault: the fault.
        why: the reason, one sentence.
        step: number of the step that exposes it all the same; 0 for none.
        by_eye: what to look at by eye instead; empty when nothing can be seen.
    """

    fault: Fault
    why: str
    step: int = 0
    by_eye: str = ""


@dataclass(frozen=True)
class Checkout:
    """The procedure for a cell.

    Args:
        steps: in the order they are done.
        faults: faults looked at.
        exposed: how many the steps expose.
        not_exposable: faults that nothing of this procedure's kind can expose.
        harm_before_power: faults that may do harm before a step exposes them.
        optimal: the cost is proven least.
        bound_s: proven lower bound of the cost.
        cost_s: seconds of all steps.
        solved: states solved.
        not_run: what could not be solved.
        unseen: (name, word) levels of signals that no step shows for certain.
        seconds: (name, seconds) the parts of the calculation took.
    """

    steps: tuple[Step, ...]
    faults: int
    exposed: int
    not_exposable: tuple[Unexposed, ...]
    harm_before_power: tuple[Unexposed, ...]
    optimal: bool
    bound_s: float
    cost_s: float
    solved: int
    not_run: tuple[NotRun, ...] = ()
    unseen: tuple[tuple[str, str], ...] = ()
    seconds: tuple[tuple[str, float], ...] = ()

    @property
    def unguarded(self) -> tuple[Unexposed, ...]:
        """Return faults that may do harm and that neither a dead reading nor an eye finds."""
        return tuple(u for u in self.harm_before_power if not u.by_eye)
