"""Walks a checkout as a person would, on cells with faults solved by the reference engine."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from ringout.cell.model import Cell
from ringout.checkout import Checkout, Step
from ringout.circuit.faults import Fault
from ringout.findings.effects import lay_out
from ringout.findings.looks import Look, Predictor, Seen

IN_DOUBT = 1.0  # an input in its undefined band may show what is wanted


def looks_of(step: Step, kinds: dict[str, str]) -> Iterator[tuple[Look, str]]:
    """Yield each look of a step with the word that must be seen; empty for a meter."""
    if step.kind in ("ohms", "volts"):
        powered = step.kind == "volts"
        yield Look(step.kind, step.a, step.b, state=step.state, powered=powered), ""
        return
    for name, word in step.levels:
        yield Look(kinds[name], what=name, state=step.state), word


def unexpected(step: Step, look: Look, word: str, seen: Seen) -> np.ndarray:
    """Return (F,) whether a person sees something else than the step says."""
    if look.by_meter:
        return ~((seen.typ >= step.low) & (seen.typ <= step.high))
    wanted = look.words.index(word)
    differs = seen.typ != wanted
    if look.kind == "level":
        differs &= seen.typ != IN_DOUBT
    return differs


class Walker:
    """Walks a checkout of one cell.

    Args:
        cell: the cell.
        checkout: its procedure.
    """

    def __init__(self, cell: Cell, checkout: Checkout) -> None:
        self.checkout = checkout
        self.predictor = Predictor(cell)
        watched = lay_out(cell).watched
        self.kinds = {
            w.name: "level" if w.kind == "level" else "lamp" if w.by_current else "shows"
            for w in watched
        }

    def stops_at(self, faults: Sequence[Fault]) -> list[int]:
        """Return the number of the step at which each fault is noticed, 0 for never."""
        stop = [0] * len(faults)
        left = list(range(len(faults)))
        for number, step in enumerate(self.checkout.steps, 1):
            if not left:
                break
            found = np.zeros(len(left), dtype=np.bool_)
            for look, word in looks_of(step, self.kinds):
                seen = self.predictor.see(look, [faults[k] for k in left], spread=False)
                found |= unexpected(step, look, word, seen)
            for k, noticed in zip(left, found, strict=True):
                stop[k] = number if noticed else 0
            left = [k for k, noticed in zip(left, found, strict=True) if not noticed]
        return stop
