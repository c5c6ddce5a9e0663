"""What a fault does to the cell, as data with its numbers."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.circuit.faults import Fault
from ringout.findings.model import NotRun, Quantity

HARM, TRIPS, LEVEL, MOVES = "harm", "trips", "level", "moves"
EFFECT_KINDS = (HARM, TRIPS, LEVEL, MOVES)


@dataclass(frozen=True, slots=True)
class Effect:
    """One thing a fault does.

    Args:
        kind: `harm` (a part is over what it stands), `trips` (protection opens or a supply or
            output goes to its limit), `level` (a signal reads otherwise), `moves` (a load
            works, glows or rests though it should not).
        what: signal, item or element it happens to.
        state: the state in words.
        before: what it is in the healthy cell.
        after: what it is with the fault.
        numbers: the figures.
        text: one plain sentence.
    """

    kind: str
    what: str
    state: str
    before: str
    after: str
    numbers: tuple[Quantity, ...]
    text: str


@dataclass(frozen=True, slots=True)
class FaultEffects:
    """A fault with everything it does in the states of the parts of the circuit it touches.

    Args:
        fault: the fault.
        effects: what it does, harm first; empty when nothing tells.
        why: for a latent fault, why nothing tells and why it still matters; else empty.
        states: number of states looked at.
        moved_v: largest change of any voltage in them.
    """

    fault: Fault
    effects: tuple[Effect, ...]
    why: str
    states: int
    moved_v: float

    @property
    def harm(self) -> bool:
        """Return whether it can damage something."""
        return any(e.kind == HARM for e in self.effects)

    @property
    def latent(self) -> bool:
        """Return whether no signal, load or protection tells of it."""
        return not any(e.kind in (LEVEL, MOVES, TRIPS) for e in self.effects)

    @property
    def kind(self) -> str:
        """Return the gravest kind of effect, `latent` for none."""
        kinds = {e.kind for e in self.effects}
        return next((k for k in EFFECT_KINDS if k in kinds), "latent")


@dataclass(frozen=True)
class FaultTable:
    """Every fault of a cell and what it does.

    Args:
        rows: one per fault, or per pair of faults.
        solved: states solved.
        worst_residual_a: worst imbalance of currents of any of them.
        pairs_left: pairs that were not tried because they lie in different neighbourhoods.
        pairs_excluded: pairs that cannot be there together (same conductor).
        not_run: what could not be solved.
    """

    rows: tuple[FaultEffects, ...]
    solved: int
    worst_residual_a: float
    pairs_left: int = 0
    pairs_excluded: int = 0
    not_run: tuple[NotRun, ...] = ()
