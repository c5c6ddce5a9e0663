"""Networks for the tests of the numeric core: written down by name, or drawn at random."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st

from ringout.circuit import curves as cv
from ringout.circuit.network import NetworkBuilder

LEAK_S = 1e-9


def wired(*elements, node_names=()):
    """Return network, one case (E,), and node numbers, from (name, tail, head, curve)."""
    builder = NetworkBuilder()
    nodes = {"PE": 0}
    for name in node_names:
        nodes[name] = builder.add_node(name)
    chosen = []
    for name, tail, head, curve in elements:
        for end in (tail, head):
            if end not in nodes:
                nodes[end] = builder.add_node(end)
        builder.add_element(name, nodes[tail], nodes[head])
        chosen.append(builder.add_curve(curve))
    return builder.build(), np.array(chosen, dtype=np.int64), nodes


def balance(network, curve_of, node_v):
    """Return the worst imbalance of currents, added up here from the curves themselves."""
    leaving = LEAK_S * np.array(node_v, dtype=float)
    for e, curve in enumerate(curve_of):
        a, b = int(network.tail[e]), int(network.head[e])
        current = cv.value(network.curves.curves[int(curve)], node_v[a] - node_v[b])
        leaving[a] += current
        leaving[b] -= current
    return float(np.abs(leaving[1:]).max(initial=0.0))


def between(low, high):
    """Draw a number whose logarithm is spread evenly, to three digits."""
    exponents = st.floats(np.log10(low), np.log10(high), allow_nan=False)
    return exponents.map(lambda e: float(f"{10**e:.3g}"))


def curves():
    """Draw any kind of element, with values found around a 24 V cell and some beyond."""
    volts = st.floats(0.1, 8.0).map(lambda v: round(v, 2))
    maybe_v = st.none() | st.floats(0.0, 2.0).map(lambda v: round(v, 2))
    plain = st.one_of(
        between(1e-3, 1e6).map(cv.resistor),
        st.just(cv.open_circuit()),
        st.builds(cv.diode, volts, between(0.01, 10.0)),
        st.builds(cv.clamp, volts, st.floats(10.0, 60.0), between(0.01, 1.0)),
        st.builds(cv.drop, volts, between(0.01, 10.0), st.none() | between(0.01, 2.0), maybe_v),
        st.builds(cv.constant_current, between(1e-4, 3.0), volts, maybe_v),
        st.builds(cv.lamp_led, volts, between(50.0, 5e3), st.none() | volts),
        st.builds(cv.limited, between(1e-3, 1.0), between(0.01, 5.0)),
        st.builds(
            cv.source,
            st.floats(1.0, 50.0),
            between(1e-3, 1.0),
            st.none() | between(0.01, 20.0),
            can_sink=st.booleans(),
        ),
    )
    return st.one_of(plain, plain.map(cv.mirrored))


@st.composite
def networks(draw, most_nodes=8, curve=None, least_nodes=2):
    """Draw a network of any shape, with one supply, and one case of it."""
    count = draw(st.integers(least_nodes, most_nodes))
    node = st.integers(0, count - 1)
    edges = draw(st.lists(st.tuples(node, node), min_size=1, max_size=3 * count))
    drawn = [draw(curve if curve is not None else curves()) for _ in edges]
    elements = [("G", "n1", "PE", cv.source(24.0, 0.05, 5.0))]
    elements += [
        (f"e{k}", _name(a), _name(b), c)
        for k, ((a, b), c) in enumerate(zip(edges, drawn, strict=True))
    ]
    network, case, _ = wired(*elements, node_names=[_name(k) for k in range(1, count)])
    return network, case


def _name(k):
    return f"n{k}" if k else "PE"


@st.composite
def series_parallel(draw, most_elements=7):
    """Draw edges of a series-parallel graph between node 1 and PE, as (tail, head) pairs."""
    edges = [(1, 0)]
    nodes = 2
    for _ in range(draw(st.integers(1, most_elements - 1))):
        k = draw(st.integers(0, len(edges) - 1))
        a, b = edges[k]
        if draw(st.booleans()):
            edges.append((a, b) if draw(st.booleans()) else (b, a))
        else:
            edges[k : k + 1] = [(a, nodes), (nodes, b)]
            nodes += 1
    return nodes, edges
