"""Guaranteed worst cases: never beaten by any admissible curves, and no wider than they must be."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.circuit import curves as cv
from ringout.solve import adjoint_v, solve_cases, worst_case
from ringout.solve.structure import Structure
from tests.physics.networks import series_parallel, wired

ROUNDING_V = 1e-7


def tolerant(kind, flip):
    """Return lower, typical and upper curve of an element with 20 % tolerance."""
    makers = (
        lambda f: cv.resistor(100.0 * f),
        lambda f: cv.resistor(1000.0 * f),
        lambda f: cv.diode(0.7 * f, 1.0),
        lambda f: cv.constant_current(0.01 * f, 2.0),
        lambda f: cv.lamp_led(2.0, 1000.0 * f),
        lambda f: cv.drop(1.0, 5.0, 0.1 * f),
    )
    made = [makers[kind](f) for f in (0.8, 1.0, 1.2)]
    low, typ, high = cv.lower(made), made[1], cv.upper(made)
    return (cv.mirrored(high), cv.mirrored(typ), cv.mirrored(low)) if flip else (low, typ, high)


def supply():
    made = [cv.source(24.0 * f, 0.5, 5.0) for f in (0.9, 1.0, 1.1)]
    return cv.lower(made), made[1], cv.upper(made)


def boxed(node_count, parts):
    """Return network and (3, E) curves, from (tail, head, (lower, typical, upper))."""
    name = ["PE", *(f"n{k}" for k in range(1, node_count))]
    network, case, _ = wired(
        *(
            (f"{corner}{k}", name[a], name[b], curves[corner])
            for corner in range(3)
            for k, (a, b, curves) in enumerate(parts)
        ),
        node_names=name[1:],
    )
    # The elements were laid down three times to collect their curves; one set is enough.
    count = len(parts)
    rest = np.full(2 * count, opened(network))
    choices = [np.concatenate([case[c * count : (c + 1) * count], rest]) for c in range(3)]
    return network, np.array(choices), count


def opened(network):
    return network.curves.curves.index(cv.open_circuit())


@st.composite
def boxes(draw, shape):
    if shape == "series-parallel":
        nodes, edges = draw(series_parallel())
        # Between the ends of an element the block stays series-parallel.
        p, q = draw(st.sampled_from(edges))
    else:
        nodes = draw(st.integers(3, 5))
        node = st.integers(0, nodes - 1)
        edges = draw(st.lists(st.tuples(node, node), min_size=3, max_size=7))
        p = draw(node)
        q = draw(node.filter(lambda n: n != p))
    kinds = [(draw(st.integers(0, 5)), draw(st.booleans())) for _ in edges]
    parts = [(1, 0, supply())]
    parts += [(a, b, tolerant(*kind)) for (a, b), kind in zip(edges, kinds, strict=True)]
    parts.append((0, 0, (cv.open_circuit(),) * 3))
    network, choices, count = boxed(nodes, parts)
    return network, choices, count, (p, q), draw(st.sampled_from((1, -1)))


def ask(network, choices, target, direction, own=-1):
    low, typ, high = choices
    return worst_case(
        network,
        low[None, :],
        high[None, :],
        typ[None, :],
        np.array([target]),
        np.array([direction]),
        np.array([own]),
    )


def vertices(choices, count):
    free = [e for e in range(count) if choices[0, e] != choices[2, e]]
    cases = np.repeat(choices[1][None, :], 2 ** len(free), axis=0)
    for row, picks in enumerate(product((0, 2), repeat=len(free))):
        for e, pick in zip(free, picks, strict=True):
            cases[row, e] = choices[pick, e]
    return cases


def best(network, cases, target, direction):
    v = solve_cases(network, cases).node_v
    assert not np.isnan(v).any()
    return direction * (direction * (v[:, target[0]] - v[:, target[1]])).max()


@given(boxes("series-parallel"))
def test_series_parallel_bound_is_the_best_vertex(drawn):
    network, choices, count, target, direction = drawn
    bound = ask(network, choices, target, direction)
    assert bound.proven[0]
    assert bound.gap_v[0] == 0.0
    found = best(network, vertices(choices, count), target, direction)
    excess = direction * (bound.value_v[0] - found)
    assert -ROUNDING_V <= excess <= 2.0 * bound.slack_v[0] + 1e-5


@given(boxes("any"), st.integers(0, 2**32 - 1))
def test_no_admissible_curves_go_beyond_a_proven_bound(drawn, seed):
    network, choices, count, target, direction = drawn
    bound = ask(network, choices, target, direction)
    random = np.random.default_rng(seed)
    picks = random.integers(0, 3, (40, choices.shape[1]))
    samples = choices[picks, np.arange(choices.shape[1])]
    found = best(network, np.concatenate([vertices(choices, count), samples]), target, direction)
    excess = direction * (bound.value_v[0] - found)
    if bound.proven[0]:
        assert excess >= -ROUNDING_V
        assert excess <= bound.gap_v[0] + 2.0 * bound.slack_v[0] + 1e-5


@given(boxes("any"), st.data())
def test_no_admissible_curves_give_more_current(drawn, data):
    network, choices, count, _, direction = drawn
    ends = [(int(network.tail[e]), int(network.head[e])) for e in range(count)]
    own = data.draw(st.sampled_from([e for e in range(count) if ends[e][0] != ends[e][1]]))
    turned = data.draw(st.booleans())
    target = ends[own][::-1] if turned else ends[own]
    bound = ask(network, choices, target, direction, own)
    current = solve_cases(network, vertices(choices, count)).element_a[:, own]
    current = -current if turned else current
    if bound.proven[0]:
        assert direction * bound.value_a[0] >= (direction * current).max() - 1e-9


# A divider by hand: 24 V, 1k on top and 3k below, each +-20 %.
def test_divider_by_hand():
    top = [cv.resistor(r) for r in (1200.0, 1000.0, 800.0)]
    below = [cv.resistor(r) for r in (3600.0, 3000.0, 2400.0)]
    parts = [
        (1, 0, (cv.source(24.0, 0.001),) * 3),
        (1, 2, (cv.lower(top), top[1], cv.upper(top))),
        (2, 0, (cv.lower(below), below[1], cv.upper(below))),
        (0, 0, (cv.open_circuit(),) * 3),
    ]
    network, choices, _ = boxed(3, parts)
    high = ask(network, choices, (2, 0), 1)
    low = ask(network, choices, (2, 0), -1)
    assert high.proven[0]
    assert low.proven[0]
    assert high.value_v[0] == pytest.approx(24.0 * 3600 / 4400, abs=1e-3)
    assert low.value_v[0] == pytest.approx(24.0 * 2400 / 3600, abs=1e-3)
    most = ask(network, choices, (1, 2), 1, own=1)
    assert most.value_a[0] == pytest.approx(24.0 / 3200, rel=1e-4)


def test_a_floating_target_says_how_little_is_known():
    parts = [
        (1, 0, supply()),
        (1, 2, (cv.open_circuit(),) * 3),
        (2, 0, (cv.diode(1.5, 100.0),) * 3),
        (0, 0, (cv.open_circuit(),) * 3),
    ]
    network, choices, _ = boxed(3, parts)
    # By hand: an idle diode on an idle wire lies anywhere below its 1.5 V; 1 nS decides.
    assert ask(network, choices, (2, 0), 1).value_v[0] == pytest.approx(1.5, abs=1e-3)
    assert ask(network, choices, (2, 0), -1).value_v[0] < 0.0


# -- signs ---------------------------------------------------------------------------------


def test_the_middle_of_a_bridge_is_not_decided():
    tail, head = np.array([1, 1, 2, 3, 2]), np.array([2, 3, 0, 0, 3])
    signs = Structure(4, tail, head, np.ones(5, dtype=bool)).signs(1, 0)
    assert signs.decided.tolist() == [True, True, True, True, False]
    assert signs.sign.tolist() == [1, 1, 1, 1, 0]


def test_what_hangs_on_one_node_has_no_effect():
    tail, head = np.array([1, 1, 2, 3]), np.array([0, 2, 3, 1])
    signs = Structure(4, tail, head, np.ones(4, dtype=bool)).signs(1, 0)
    assert signs.sign.tolist() == [1, 0, 0, 0]
    assert signs.decided.all()


def test_nodes_apart_are_not_joined():
    tail, head = np.array([1, 2]), np.array([0, 3])
    assert not Structure(4, tail, head, np.ones(2, dtype=bool)).signs(1, 2).joined


@given(series_parallel(most_elements=14))
def test_series_parallel_signs_are_all_decided(drawn):
    nodes, edges = drawn
    tail, head = (np.array([e[i] for e in edges]) for i in range(2))
    signs = Structure(nodes, tail, head, np.ones(len(edges), dtype=bool)).signs(1, 0)
    assert signs.decided.all()
    assert (signs.sign != 0).all()


@st.composite
def graphs(draw):
    nodes = draw(st.integers(3, 9))
    node = st.integers(0, nodes - 1)
    edges = draw(st.lists(st.tuples(node, node), min_size=3, max_size=18))
    p = draw(node)
    return nodes, edges, p, draw(node.filter(lambda n: n != p))


@given(graphs(), st.integers(0, 2**32 - 1))
def test_decided_signs_hold_for_any_conductances(drawn, seed):
    nodes, edges, p, q = drawn
    name = ["PE", *(f"n{k}" for k in range(1, nodes))]
    random = np.random.default_rng(seed)
    kinds = [cv.resistor(float(r)) for r in 10.0 ** np.linspace(-2, 4, 40)]
    network, _, _ = wired(
        *((f"e{k}", name[a], name[b], kinds[k]) for k, (a, b) in enumerate(edges)),
        *((f"kind{k}", "PE", "PE", curve) for k, curve in enumerate(kinds)),
        node_names=name[1:],
    )
    counted = np.zeros(network.element_count, dtype=bool)
    counted[: len(edges)] = True
    signs = Structure(nodes, network.tail, network.head, counted).signs(p, q)
    cases = random.integers(0, len(kinds), (60, network.element_count))
    flat = np.zeros((60, nodes))
    lam = adjoint_v(network, cases, flat, np.repeat([[p, q]], 60, axis=0))
    if not signs.joined:
        assert (lam[:, p] - lam[:, q]).min() > 1e8
        return
    across = lam[:, network.tail] - lam[:, network.head]
    limit = 1e-4 * (lam[:, p] - lam[:, q])[:, None] + 1e-9
    for e in np.flatnonzero(signs.decided[: len(edges)]):
        if signs.sign[e]:
            assert (signs.sign[e] * across[:, e] >= -limit[:, 0]).all()
        else:
            assert (np.abs(across[:, e]) <= limit[:, 0]).all()


# Two rails with three-wire sensors between them: each sensor is a bridge of its own, and only
# the middles of the bridges stay undecided.
def test_signs_of_a_cell_with_many_sensors():
    tail, head, names = [], [], []

    def edge(name, a, b):
        names.append(name)
        tail.append(a)
        head.append(b)

    plus, zero = 1, 2
    edge("supply", plus, zero)
    for k in range(12):
        brown, white, blue = (3 + 3 * k + i for i in range(3))
        edge("wire", plus, brown)
        edge("electronics", brown, blue)
        edge("output", brown, white)
        edge("light", white, blue)
        edge("return", blue, zero)
        edge("input", white, zero)
    signs = Structure(3 + 36, np.array(tail), np.array(head), np.ones(len(tail), dtype=bool)).signs(
        4, zero
    )
    undecided = [names[e] for e in np.flatnonzero(~signs.decided)]
    assert undecided == ["electronics"] + ["light"] * 11
