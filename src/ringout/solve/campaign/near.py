"""Whole cases of a network as the reference engine gives them, each solved near a base state.

Base states are found as they are needed: when many cases are far from all that are known, one is
taken from their midst. What is near none goes to the reference engine.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.network import Network
from ringout.solve.campaign.cases import Change, Neighbourhood
from ringout.solve.campaign.engine import UNSOLVED, Campaign
from ringout.solve.newton import CERTIFICATE_A, Solution, solve_cases

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

MOST_CHANGES = 32  # elements in which a case may differ from its base
MOST_BASES = 16
_LEAST_ROWS = 16  # cases that are worth a base of their own
_MOST_TOGETHER = 24  # elements that change in one neighbourhood, if no case has more


class Near:
    """Solves cases of one network, again and again.

    Args:
        network: N nodes, E elements.
    """

    def __init__(self, network: Network) -> None:
        self.network = network
        self.campaign = Campaign(network, np.zeros((0, network.element_count), dtype=np.int64))

    def solve(self, curve_of: IntArray, start_v: FloatArray | None = None) -> Solution:
        """Solve a batch of cases; the same as `solve_cases` gives, within its certificate.

        Args:
            curve_of: (S, E) curve number of each element in each case.
            start_v: (S, N) or (N,) voltages the reference engine starts from; changes time only.

        Returns:
            The solution. A case that could not be solved is marked and holds NaN.

        Raises:
            ValueError: `curve_of` is not (S, E).
        """
        curve_of = np.asarray(curve_of, dtype=np.int64)
        if curve_of.ndim != 2 or curve_of.shape[1] != self.network.element_count:
            raise ValueError(f"curve_of must be (S, {self.network.element_count})")
        rows, nodes = len(curve_of), self.network.node_count
        out = Solution(
            np.full((rows, nodes), np.nan),
            np.full(curve_of.shape, np.nan),
            np.full(rows, np.inf),
            np.zeros(rows, dtype=np.bool_),
            np.zeros(rows, dtype=np.int64),
        )
        base_of = self._bases_for(curve_of)
        for base in np.unique(base_of[base_of >= 0]).tolist():
            self._solve_near(base, np.flatnonzero(base_of == base), curve_of, out)
        left = np.flatnonzero(~out.solved)  # near no base, or not certified
        if len(left):
            begin = start_v[left] if start_v is not None and start_v.ndim == 2 else start_v
            part = solve_cases(self.network, curve_of[left], start_v=begin)
            out.node_v[left], out.element_a[left] = part.node_v, part.element_a
            out.residual_a[left], out.solved[left] = part.residual_a, part.solved
            out.iterations[left] = part.iterations
        return out

    def _bases_for(self, curve_of: IntArray) -> IntArray:
        """Return (S,) the base of each case, -1 for none; make bases where many have none."""
        base_of = np.full(len(curve_of), -1)
        least = np.full(len(curve_of), MOST_CHANGES + 1)
        for number, base in enumerate(self.campaign.bases):
            differ = (curve_of != base.curve_of).sum(axis=1)
            nearer = differ < least
            base_of[nearer], least[nearer] = number, differ[nearer]
        far = np.flatnonzero(base_of < 0)
        while len(far) >= _LEAST_ROWS and len(self.campaign.bases) < MOST_BASES:
            # what most of them have, element by element, if most agree
            middle = np.sort(curve_of[far], axis=0)[len(far) // 2]
            differ = (curve_of[far] != middle).sum(axis=1)
            near = far[differ <= MOST_CHANGES]
            if len(near) < _LEAST_ROWS or not self.campaign.add_base(middle):
                break
            base_of[near] = len(self.campaign.bases) - 1
            far = far[differ > MOST_CHANGES]
        return base_of

    def _solve_near(self, base: int, rows: IntArray, curve_of: IntArray, out: Solution) -> None:
        """Solve cases near a base."""
        changes = _changes(curve_of[rows], self.campaign.bases[base].curve_of)
        areas, order = _areas(changes)
        compiled = self.campaign.compile(areas, base)
        row = rows[order]
        result = compiled.run_whole(row, out.node_v, out.element_a)
        out.residual_a[row] = result.residual_a
        good = (result.certificate != UNSOLVED) & (result.residual_a <= CERTIFICATE_A)
        out.solved[row] = good


def _changes(curve_of: IntArray, base_of: IntArray) -> list[list[Change]]:
    """Return (S) in which elements each case differs from the base, and their curves there."""
    row, element = np.nonzero(curve_of != base_of)
    pairs = list(zip(element.tolist(), curve_of[row, element].tolist(), strict=True))
    first = np.searchsorted(row, np.arange(len(curve_of) + 1)).tolist()
    return [pairs[a:b] for a, b in pairwise(first)]


def _areas(changes: Sequence[list[Change]]) -> tuple[list[Neighbourhood], IntArray]:
    """Return neighbourhoods of cases that change much the same, and the order they put cases in.

    Cases that follow each other are tried together; so are those that change the same elements.
    """
    alike: dict[frozenset[int], list[int]] = {}
    for number, case in enumerate(changes):
        alike.setdefault(frozenset(e for e, _ in case), []).append(number)
    groups: list[tuple[set[int], list[int]]] = []
    for elements, members in alike.items():
        if groups:
            taken, cases = groups[-1]
            if not elements or (elements & taken and len(elements | taken) <= _MOST_TOGETHER):
                taken |= elements
                cases += members
                continue
        groups.append((set(elements), list(members)))
    order = [number for _, members in groups for number in members]
    areas = [Neighbourhood([changes[k] for k in members]) for _, members in groups]
    return areas, np.array(order, dtype=np.int64)
