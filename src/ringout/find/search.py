"""From observations to culprits and the next look."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringout.cell.model import Cell
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import single_faults
from ringout.find.evidence import Evidence, Witness
from ringout.find.model import Found, Observation
from ringout.find.next import Chooser
from ringout.find.rank import contradictions, culprits, posterior, with_groups
from ringout.find.suspects import Suspects, pairs_of_suspects, suspects_of

PAIRED = 24  # single suspects that are tried in pairs when none explains everything
MOST_PAIRS = 200


@dataclass(frozen=True, eq=False)
class _Answer:
    suspects: Suspects
    evidence: Evidence


class Finder:
    """Finds culprits in one cell; questions about the same cell share what is solved.

    Args:
        cell: the cell as drawn.
    """

    def __init__(self, cell: Cell) -> None:
        self.cell = cell
        self.witness = Witness(cell)
        self.singles = suspects_of(single_faults(compile_circuit(cell)))
        self._chooser: Chooser | None = None

    def find(self, observations: Sequence[Observation], *, measure: bool = True) -> Found:
        """Return culprits, contradictions and the next look.

        Args:
            observations: what was seen, understood.
            measure: also look for the next measurement.
        """
        observations = tuple(observations)
        evidence = self.witness.weigh(observations, self.singles)
        answer = _Answer(self.singles, evidence)
        healthy = bool(evidence.agrees[:, 0].all())
        against: tuple[str, ...] = ()
        notes = []
        if not evidence.agrees[:, 1:].all(axis=0).any() and observations:
            evidence = self.witness.weigh(observations, self.singles, whole=True)
            answer = _Answer(self.singles, evidence)
            against = contradictions(observations, evidence, self.singles)
            paired = self._in_pairs(observations, evidence)
            if paired is not None:
                answer = paired
                notes.append("No single fault explains everything; pairs of faults do.")
        share = posterior(answer.evidence, answer.suspects)
        found = culprits(observations, answer.evidence, answer.suspects, share)
        if healthy and observations:
            found = ()  # nobody is suspect of what a whole cell shows
        following = None
        if measure and len(found) > 1:
            if self._chooser is None:
                self._chooser = Chooser(self.cell, self.witness.predictor)
            choice = self._chooser.choose(observations, answer.suspects, share)
            following = choice.next
            found = with_groups(found, answer.suspects, choice.alike)
        left = share[share > 0.0]
        bits = float(-(left * np.log2(left)).sum())
        return Found(observations, against, found, following, healthy, tuple(notes), bits)

    def _in_pairs(self, observations: Sequence[Observation], evidence: Evidence) -> _Answer | None:
        """Return pairs of suspects when they explain what no single one does."""
        odd = [row for row in range(len(observations)) if not evidence.agrees[row, 0]]
        if len(odd) < 2:
            return None
        explains = evidence.agrees[odd][:, 1:].sum(axis=0)
        prior = np.array(self.singles.prior[1:])
        order = np.lexsort((-prior, -explains))[:PAIRED]
        chosen = [self.singles.members[k + 1][0] for k in order if explains[k]]
        # pairs that between them explain everything come first
        pairs = pairs_of_suspects(chosen, MOST_PAIRS)
        if len(pairs.members) < 2:
            return None
        found = self.witness.weigh(observations, pairs)
        if not found.agrees[:, 1:].all(axis=0).any():
            return None
        return _Answer(pairs, found)


def find_culprits(
    cell: Cell, observations: Sequence[Observation], *, measure: bool = True
) -> Found:
    """Return culprits, contradictions and the next look for one cell; see `Finder`."""
    return Finder(cell).find(observations, measure=measure)
