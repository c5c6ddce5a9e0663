"""The cheapest cover against trying every set of looks."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringout.checkout.cover import cheapest_cover

LOOKS, FAULTS, GROUPS = 7, 5, 3


def by_trying(exposes, cost, group_of, group_cost, needs):
    """Return the least cost of any set of looks that meets every need."""
    best = np.inf
    for size in range(len(cost) + 1):
        for chosen in combinations(range(len(cost)), size):
            if all(set(need.tolist()) & set(chosen) for need in needs):
                entered = {int(group_of[k]) for k in chosen}
                total = sum(cost[k] for k in chosen) + sum(group_cost[g] for g in entered)
                best = min(best, total)
    return best


@st.composite
def problems(draw):
    cells = draw(st.lists(st.booleans(), min_size=LOOKS * FAULTS, max_size=LOOKS * FAULTS))
    exposes = np.array(cells).reshape(LOOKS, FAULTS)
    cost = np.array(draw(st.lists(st.integers(1, 40), min_size=LOOKS, max_size=LOOKS)), float)
    groups = draw(st.lists(st.integers(0, GROUPS - 1), min_size=LOOKS, max_size=LOOKS))
    group_cost = draw(st.lists(st.integers(0, 20), min_size=GROUPS, max_size=GROUPS))
    return exposes, cost, np.array(groups), np.array(group_cost, float)


@settings(max_examples=120, deadline=None)
@given(problems())
def test_no_set_of_looks_is_cheaper(problem):
    exposes, cost, group_of, group_cost = problem
    needs = [np.flatnonzero(exposes[:, f]) for f in range(FAULTS)]
    needs = [n for n in needs if len(n)]
    found = cheapest_cover(cost, group_of, group_cost, needs)
    assert found.optimal
    assert found.cost_s == pytest.approx(by_trying(exposes, cost, group_of, group_cost, needs))
    assert all(set(n.tolist()) & set(found.chosen) for n in needs)
    assert found.bound_s <= found.cost_s + 1e-6


def test_a_need_that_nothing_meets_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="no look"):
        cheapest_cover(np.ones(1), np.zeros(1, int), np.zeros(1), [np.array([], int)])
