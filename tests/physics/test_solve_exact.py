"""Linear networks against rational arithmetic, and the elimination itself."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.circuit import curves as cv
from ringout.solve import solve_cases
from ringout.solve.order import assemble, compile_plan, factorise, leaving, solve
from tests.physics.networks import wired


def exact_voltages(count, resistors, injected):
    """Solve the node equations in fractions, with 1 nS from every node to PE."""
    size = count - 1
    rows = [[Fraction(0)] * (size + 1) for _ in range(size)]
    for k in range(size):
        rows[k][k] += Fraction(1, 10**9)
        rows[k][size] = injected[k]
    for a, b, ohm in resistors:
        g = Fraction(1) / ohm
        for i, j in ((a, b), (b, a)):
            if i:
                rows[i - 1][i - 1] += g
                if j:
                    rows[i - 1][j - 1] -= g
    for k in range(size):
        for other in range(size):
            if other != k and rows[other][k]:
                factor = rows[other][k] / rows[k][k]
                rows[other] = [x - factor * y for x, y in zip(rows[other], rows[k], strict=True)]
    return [Fraction(0), *(rows[k][size] / rows[k][k] for k in range(size))]


ohms = st.integers(-3, 6).flatmap(
    lambda e: st.integers(1, 9).map(lambda m: Fraction(m) * Fraction(10) ** e)
)


@given(
    count=st.integers(2, 7),
    edges=st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6), ohms), max_size=14),
    volts=st.integers(1, 48),
)
def test_linear_networks_agree_with_fractions(count, edges, volts):
    edges = [(a % count, b % count, r) for a, b, r in edges if a % count != b % count]
    resistors = [(1, 0, Fraction(1, 2)), *edges]  # the supply's own half ohm comes first
    injected = [Fraction(volts) * 2] + [Fraction(0)] * (count - 2)
    expected = exact_voltages(count, resistors, injected)
    name = ["PE", *(f"n{k}" for k in range(1, count))]
    network, case, _ = wired(
        ("G", "n1", "PE", cv.source(float(volts), 0.5, can_sink=True)),
        *((f"R{k}", name[a], name[b], cv.resistor(float(r))) for k, (a, b, r) in enumerate(edges)),
        node_names=name[1:],
    )
    solution = solve_cases(network, case[None, :])
    assert solution.solved[0]
    assert solution.node_v[0] == pytest.approx([float(v) for v in expected], rel=1e-9, abs=1e-9)


# Conductances over 16 decades: what a dense solver with pivoting loses here, star-mesh keeps,
# because it only ever adds. Source of the exact figures: the fractions above.
@given(
    edges=st.lists(
        st.tuples(st.integers(0, 5), st.integers(0, 5), st.integers(-4, 12)),
        min_size=3,
        max_size=12,
    )
)
def test_elimination_keeps_every_digit(edges):
    edges = [(a, b, e) for a, b, e in edges if a != b]
    tail = np.array([a for a, _, _ in edges], dtype=np.int64)
    head = np.array([b for _, b, _ in edges], dtype=np.int64)
    slope = np.array([[10.0**-e] for _, _, e in edges]).reshape(-1, 1)
    plan = compile_plan(6, tail, head)
    factor = factorise(plan, assemble(plan, slope, 1e-9))
    injected = np.array([[0.0], [1.0], [0.0], [2.0], [0.0], [3.0]])
    found = solve(factor, injected)[:, 0]
    exact = exact_voltages(
        6,
        [(a, b, Fraction(10) ** e) for a, b, e in edges],
        [Fraction(int(x)) for x in injected[1:, 0]],
    )
    assert found == pytest.approx([float(v) for v in exact], rel=1e-11)


def test_several_cases_are_eliminated_side_by_side():
    tail, head = np.array([1, 2, 3, 1]), np.array([2, 3, 0, 3])
    plan = compile_plan(4, tail, head)
    rng = np.random.default_rng(1)
    slopes = rng.uniform(0.1, 2.0, (4, 5))
    injected = rng.normal(size=(4, 5))
    injected[0] = 0.0
    factor = factorise(plan, assemble(plan, slopes.copy(), 0.01))
    v = solve(factor, injected)
    back = leaving(plan, slopes * (v[tail] - v[head])) + 0.01 * v
    assert back[1:] == pytest.approx(injected[1:], abs=1e-12)
    some = np.array([3, 0])
    assert solve(factor.take(some), injected[:, some]) == pytest.approx(v[:, some], abs=1e-15)
