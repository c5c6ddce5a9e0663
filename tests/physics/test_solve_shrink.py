"""Conductors taken out of a worst case: it stays a worst case, and more of it is proven."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.circuit import curves as cv
from ringout.solve import solve_cases, worst_case
from tests.physics.networks import wired

ROUNDING_V = 1e-7


def three(make, typ, part):
    made = [make(typ * f) for f in (1.0 - part, 1.0, 1.0 + part)]
    return cv.lower(made), made[1], cv.upper(made)


def any_of(*made):
    return cv.lower(made), made[1], cv.upper(made)


def wire(ohm):
    return three(cv.resistor, ohm, 0.15)


def network_of(names, parts):
    network, case, _ = wired(
        *(
            (f"{corner}{k}", a, b, curves[corner])
            for corner in range(3)
            for k, (a, b, curves) in enumerate(parts)
        ),
        ("open", "PE", "PE", cv.open_circuit()),
        node_names=names,
    )
    count = len(parts)
    idle = np.full(2 * count + 1, network.curves.curves.index(cv.open_circuit()))
    return network, [np.concatenate([case[c * count :][:count], idle]) for c in range(3)]


def ask(network, choices, p, q, direction):
    low, typ, high = (c[None, :] for c in choices)
    at = np.array([[network.node_names.index(p), network.node_names.index(q)]])
    return worst_case(network, low, high, typ, at, np.array([direction]))


# A chain of three closed contacts with an input on every node and a coil at its end, the input
# common on the far side of a wire: the signs of a dozen elements depend on that wire, though
# it drops no more than 0.3 mV. By hand: 24 V +- 1 % less what the input, the others and the
# coil drop over the joints, under 10 mV altogether (23.95 mA over 5 joints of 20 mOhm: 2.4 mV).
def test_inputs_along_a_chain_of_contacts():
    joint = wire(0.02)
    source = [cv.source(24.0 * f, 0.01, 5.5) for f in (0.99, 1.0, 1.01)]
    sink = three(lambda a: cv.constant_current(a, 3.0), 0.0043, 0.1)
    coil = three(cv.resistor, 2200.0, 0.1)
    parts = [("plus", "zero", (cv.lower(source), source[1], cv.upper(source)))]
    parts += [("zero", "PE", joint), ("zero", "com", joint)]
    before = "plus"
    for k in range(1, 4):
        parts += [(before, f"c{k}", joint), (f"c{k}", f"n{k}", joint)]
        parts += [(f"n{k}", f"i{k}", joint), (f"i{k}", "com", sink)]
        before = f"n{k}"
    parts += [("n3", "a1", joint), ("a1", "a2", coil), ("a2", "zero", joint)]
    names = ["plus", "zero", "com", "a1", "a2"]
    names += [f"{n}{k}" for k in range(1, 4) for n in "cni"]
    network, choices = network_of(names, parts)
    for k in range(1, 4):
        low, high = (
            ask(network, choices, f"i{k}", "com", -1),
            ask(network, choices, f"i{k}", "com", 1),
        )
        assert low.proven[0]
        assert high.proven[0]
        assert 24.0 * 0.99 - 0.02 <= low.value_v[0] <= 24.0 * 0.99
        assert 24.0 * 1.01 - 0.02 <= high.value_v[0] <= 24.0 * 1.01 + 0.02


# A wire that carries amperes may not be taken out: 2 A over 0.5 Ohm are 1 V.
def test_a_wire_with_a_real_drop_is_not_taken_out():
    source = cv.source(24.0, 0.01, 5.0)
    parts = [
        ("plus", "zero", (source,) * 3),
        ("zero", "PE", wire(0.001)),
        ("plus", "b", wire(0.5)),
        ("b", "c", three(cv.resistor, 10.0, 0.1)),
        ("c", "zero", wire(0.5)),
        ("b", "d", three(cv.resistor, 5000.0, 0.1)),
        ("d", "com", three(cv.resistor, 5000.0, 0.1)),
        ("com", "c", wire(0.5)),
        ("com", "zero", wire(0.5)),
    ]
    network, choices = network_of(["plus", "zero", "b", "c", "d", "com"], parts)
    bound = ask(network, choices, "d", "com", 1)
    assert bound.gap_v[0] > 0.02 or not bound.proven[0]


KINDS = (
    lambda: three(cv.resistor, 470.0, 0.2),
    lambda: three(cv.resistor, 6800.0, 0.2),
    lambda: three(lambda a: cv.constant_current(a, 2.0), 0.004, 0.2),
    lambda: three(lambda v: cv.diode(v, 1.0), 0.7, 0.2),
    lambda: three(lambda r: cv.lamp_led(2.0, r), 1000.0, 0.2),
    lambda: any_of(cv.open_circuit(), cv.resistor(2000.0), cv.resistor(5.0)),
)


@st.composite
def cells(draw):
    """Loads between nodes that are joined by short wires, in no order at all."""
    count = draw(st.integers(3, 7))
    names = ["plus", "zero", *(f"n{k}" for k in range(count))]
    node = st.sampled_from(names)
    source = [cv.source(24.0 * f, 0.05, 3.0) for f in (0.97, 1.0, 1.03)]
    parts = [("plus", "zero", (cv.lower(source), source[1], cv.upper(source)))]
    parts.append(("zero", "PE", wire(0.01)))
    made = st.one_of(
        st.sampled_from((0.01, 0.05, 0.3)).map(wire), st.sampled_from(KINDS).map(lambda m: m())
    )
    parts += draw(st.lists(st.tuples(node, node, made), min_size=4, max_size=12))
    p = draw(node)
    return names, parts, p, draw(node.filter(lambda n: n != p)), draw(st.sampled_from((1, -1)))


@given(cells(), st.integers(0, 2**32 - 1))
def test_no_admissible_curves_go_beyond_a_bound_with_wires_taken_out(drawn, seed):
    names, parts, p, q, direction = drawn
    network, choices = network_of(names, parts)
    bound = ask(network, choices, p, q, direction)
    random = np.random.default_rng(seed)
    stacked = np.array(choices)
    cases = stacked[random.integers(0, 3, (300, stacked.shape[1])), np.arange(stacked.shape[1])]
    solved = solve_cases(network, cases)
    a, b = network.node_names.index(p), network.node_names.index(q)
    most = direction * np.nanmax(direction * (solved.node_v[:, a] - solved.node_v[:, b]))
    if bound.proven[0]:
        excess = direction * (bound.value_v[0] - most)
        assert excess >= -ROUNDING_V


def test_most_bounds_between_short_wires_are_proven():
    """The middle of a bridge whose arms are joined to the rails by short wires is decided."""
    source = cv.source(24.0, 0.01, 5.0)
    parts = [
        ("plus", "zero", (source,) * 3),
        ("zero", "PE", wire(0.01)),
        ("plus", "up", wire(0.02)),
        ("zero", "down", wire(0.02)),
        ("up", "mid", three(cv.resistor, 1000.0, 0.1)),
        ("mid", "zero", three(cv.resistor, 3000.0, 0.1)),
        ("plus", "down", three(cv.resistor, 500.0, 0.5)),
        ("up", "down", three(cv.resistor, 400.0, 0.5)),
    ]
    network, choices = network_of(["plus", "zero", "up", "down", "mid"], parts)
    bound = ask(network, choices, "mid", "down", 1)
    # By hand: 24 V x 3300 / (3300 + 900); 48 to 144 mA over some 20 mOhm make 3 mV of doubt.
    assert bound.proven[0]
    assert bound.value_v[0] == pytest.approx(24.0 * 3300 / 4200, abs=0.02)
