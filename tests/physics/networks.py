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


def spread(step, low, high):
    """Return one of 100 values from low to high, the same factor apart."""
    return float(f"{low * (high / low) ** (step / 99):.3g}")


def element(kind, x, y, z):
    """Return an element of a kind 0..19, its values found around a 24 V cell and some beyond."""
    volts, rise = spread(x, 0.1, 8.0), spread(y, 0.01, 10.0)
    amps = spread(z, 1e-3, 5.0) if z < 80 else None
    back = None if z % 2 else round(y / 50, 2)
    makers = (
        lambda: cv.resistor(spread(x, 1e-3, 1e6)),
        lambda: cv.open_circuit() if x < 50 else cv.limited(rise / 10, spread(z, 0.01, 5.0)),
        lambda: cv.diode(volts, rise),
        lambda: cv.clamp(volts, 10.0 + z / 2, rise / 10),
        lambda: cv.drop(volts, rise, amps, back),
        lambda: cv.constant_current(spread(z, 1e-4, 3.0), volts, back),
        lambda: cv.lamp_led(volts, 50.0 + 50.0 * y, back),
        lambda: cv.resistor(spread(x, 1.0, 1e4)),
        lambda: cv.source(1.0 + x / 2, rise / 10, amps, can_sink=bool(z % 3)),
        lambda: cv.source(24.0, 0.01, 5.0),
    )
    curve = makers[kind // 2]()
    return cv.mirrored(curve) if kind % 2 else curve


steps = st.integers(0, 99)


def curves():
    """Draw any kind of element."""
    return st.builds(element, st.integers(0, 19), steps, steps, steps)


@st.composite
def networks(draw, most_nodes=8):
    """Draw a network of any shape, with one supply, and one case of it."""
    count = draw(st.integers(2, most_nodes))
    node, kind = st.integers(0, count - 1), st.integers(0, 19)
    drawn = draw(st.lists(st.tuples(node, node, kind, steps, steps, steps), max_size=2 * count))
    elements = [("G", "n1", "PE", cv.source(24.0, 0.05, 5.0))]
    elements += [
        (f"e{k}", _name(a), _name(b), element(*values)) for k, (a, b, *values) in enumerate(drawn)
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
