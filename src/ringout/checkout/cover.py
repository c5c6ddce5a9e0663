"""The cheapest set of looks that exposes every fault, with its proof."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringout.circuit.model import IntArray
from ringout.circuit.network import FloatArray

MOST_SECONDS = 120.0  # after that the best plan so far is taken, and said not to be proven
GAP = 1e-6


@dataclass(frozen=True, eq=False)
class Cover:
    """Chosen looks.

    Args:
        chosen: indices of candidates, ascending.
        cost_s: their seconds, states included.
        bound_s: no plan is cheaper than this.
        optimal: `cost_s` is proven least.
    """

    chosen: tuple[int, ...]
    cost_s: float
    bound_s: float
    optimal: bool


def cheapest_cover(
    cost_s: FloatArray,
    group_of: IntArray,
    group_cost_s: FloatArray,
    needs: Sequence[IntArray],
) -> Cover:
    """Return the cheapest looks that meet every need.

    A look costs its own seconds, and the first look of a group (a state the cell has to be put
    into) those of the group.

    Args:
        cost_s: (K,) seconds of each look.
        group_of: (K,) group of each look.
        group_cost_s: (G,) seconds of each group.
        needs: sets of looks of which at least one must be chosen.

    Raises:
        ValueError: a need no look meets.
    """
    if any(not len(n) for n in needs):
        raise ValueError("a need that no look meets")
    if not needs:
        return Cover((), 0.0, 0.0, True)
    kept = _undominated(cost_s, group_of, needs)
    return _solve(kept, cost_s, group_of, group_cost_s, _least_needs(needs, kept))


def _undominated(cost_s: FloatArray, group_of: IntArray, needs: Sequence[IntArray]) -> IntArray:
    """Return looks without those that another of the same group beats at no more cost."""
    meets = np.zeros((len(cost_s), len(needs)), dtype=np.bool_)
    for column, need in enumerate(needs):
        meets[need, column] = True
    kept: list[int] = []
    for group in np.unique(group_of):
        members = np.flatnonzero(group_of == group)
        members = members[meets[members].any(axis=1)]
        order = members[np.lexsort((members, cost_s[members], -meets[members].sum(axis=1)))]
        stay: list[int] = []
        for look in order.tolist():
            beaten = any(
                cost_s[s] <= cost_s[look] and not (meets[look] & ~meets[s]).any() for s in stay
            )
            if not beaten:
                stay.append(look)
        kept += stay
    return np.array(sorted(kept), dtype=np.int64)


def _least_needs(needs: Sequence[IntArray], kept: IntArray) -> list[frozenset[int]]:
    """Return needs in terms of kept looks, without those that a stricter one implies."""
    there = set(kept.tolist())
    sets = sorted({frozenset(there & set(n.tolist())) for n in needs}, key=len)
    strict: list[frozenset[int]] = []
    for need in sets:
        if not any(s <= need for s in strict):
            strict.append(need)
    return strict


def _solve(
    kept: IntArray,
    cost_s: FloatArray,
    group_of: IntArray,
    group_cost_s: FloatArray,
    needs: Sequence[frozenset[int]],
) -> Cover:
    import highspy

    class Quiet(highspy.Highs):
        """Says nothing: the first call of a new model, made on creation, prints a header."""

        def enableCallbacks(self) -> None:  # noqa: N802  # the library's name
            self.setOptionValue("output_flag", False)
            super().enableCallbacks()  # type: ignore[no-untyped-call, unused-ignore]

    model = Quiet()  # type: ignore[no-untyped-call, unused-ignore]
    model.setOptionValue("time_limit", MOST_SECONDS)
    model.setOptionValue("mip_rel_gap", GAP)
    groups = sorted({int(group_of[k]) for k in kept})
    column = {int(k): n for n, k in enumerate(kept)}
    entered = {g: len(kept) + n for n, g in enumerate(groups)}
    costs = [*(float(cost_s[k]) for k in kept), *(float(group_cost_s[g]) for g in groups)]
    model.addVars(len(costs), np.zeros(len(costs)), np.ones(len(costs)))
    indices = np.arange(len(costs), dtype=np.int32)
    model.changeColsCost(len(costs), indices, np.array(costs))
    integer = [highspy.HighsVarType.kInteger] * len(costs)
    model.changeColsIntegrality(len(costs), indices, np.array(integer))
    infinite = highspy.kHighsInf
    for need in needs:
        looks = np.array(sorted(column[k] for k in need), dtype=np.int32)
        model.addRow(1.0, infinite, len(looks), looks, np.ones(len(looks)))
        # a need that only one group meets enters it: tighter than look by look
        homes = {int(group_of[k]) for k in need}
        if len(homes) == 1 and group_cost_s[g := homes.pop()] > 0.0:
            model.addRow(1.0, infinite, 1, np.array([entered[g]], np.int32), np.ones(1))
    for k in kept.tolist():
        g = int(group_of[k])
        if group_cost_s[g] > 0.0:
            pair = np.array([entered[g], column[k]], dtype=np.int32)
            model.addRow(0.0, infinite, 2, pair, np.array([1.0, -1.0]))
    model.run()
    info = model.getInfo()
    values = np.array(model.getSolution().col_value[: len(kept)])
    chosen = tuple(int(k) for k in kept[values > 0.5])
    cost = float(sum(cost_s[k] for k in chosen))
    cost += float(sum(group_cost_s[g] for g in {int(group_of[k]) for k in chosen}))
    bound = float(info.mip_dual_bound)
    proven = model.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return Cover(chosen, cost, min(bound, cost), proven and cost - bound < 1e-3)
