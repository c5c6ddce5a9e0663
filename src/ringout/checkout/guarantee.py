"""Powered readings of chosen looks: guaranteed limits in the healthy cell."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from ringout.checkout.claims import Claims, Good
from ringout.checkout.limits import printed_limits
from ringout.checkout.model import VOLTS
from ringout.findings.bounds import Bounder, Question
from ringout.findings.effects import Laid
from ringout.findings.looks.display import meter_error
from ringout.findings.settle import settle_states


class Guarantee:
    """Widens the limits of looks to what the healthy cell can show at all.

    The hull of a few corners of tolerance is quick and all that faults need; but a healthy cell
    must never be turned away. So what is chosen is bounded, and chosen anew where it then no
    longer exposes what it was chosen for. A look that was not chosen only exposes less when
    bounded, so the last choice is the cheapest with all limits guaranteed.

    Args:
        laid: the cell laid out for faults.
    """

    def __init__(self, laid: Laid) -> None:
        self.laid = laid
        self.bounder = Bounder(laid.circuit, laid.found)
        self.proven: dict[int, bool] = {}

    def widen(self, claims: Claims, looks: Iterable[int]) -> Claims:
        """Return claims in which these looks have guaranteed limits; the same if they had."""
        new = [k for k in looks if k in claims.readings and k not in self.proven]
        if not new:
            return claims
        circuit = self.laid.circuit
        positions = claims.states[[claims.candidates[k].state for k in new]]
        settled = settle_states(circuit, positions, circuit.curves(positions)).positions
        everything = frozenset(range(len(self.laid.found.part.clusters)))
        questions = []
        for k, state in zip(new, settled, strict=True):
            a, b = claims.candidates[k].a, claims.candidates[k].b
            assert a is not None
            assert b is not None
            questions.append(Question(circuit.node(a), circuit.node(b), state, everything))
        ranges = self.bounder.ask(questions)
        low = ranges.low - meter_error(ranges.low, VOLTS)
        high = ranges.high + meter_error(ranges.high, VOLTS)
        good, exposes = list(claims.good), claims.exposes.copy()
        for at, k in enumerate(new):
            shown = claims.readings[k]
            self.proven[k] = bool(ranges.proven[at])
            least = np.fmin(shown.healthy[0], low[at])
            most = np.fmax(shown.healthy[1], high[at])
            good[k] = Good(*printed_limits(float(least), float(most), VOLTS))
            exposes[k] = shown.exposed(good[k], exposes.shape[1])
        return replace(claims, good=tuple(good), exposes=exposes)
