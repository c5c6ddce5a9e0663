"""Large cells taken apart at the supply: one branch is bounded at a time.

Between the supply and its branches stand few nodes, the hub. What hangs on the hub falls into
parts that meet nowhere else. To bound a voltage in one part, every other part may be replaced
by a source of its own current, which lies between bounds found before: the true circuit is one
of those allowed, so the bound holds; it is as tight as the sag of the common feed lets it be.
The replacement draws its current from `KNEE_V` up only, so that it brings no voltage of its
own; it may be used where the hub surely keeps more than that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.behaviour import held_current
from ringout.circuit.curves import Curve, constant_current
from ringout.circuit.model import Circuit, IntArray
from ringout.circuit.network import Network, NetworkBuilder

KNEE_V = 1.0
BACKWARDS_A = 1e-6  # leaks may flow backwards; a part that feeds back more is not replaced
CONDUCTORS = frozenset({"core", "plug", "link", "bond"})


@dataclass(frozen=True)
class Part:
    """One part of the circuit and how it hangs on the hub.

    Args:
        elements: its element indices.
        inlets: hub node to `(element, sign)` of the elements that reach it; the sign is +1
            when positive current leaves the hub there. The hub node with most is left out:
            what flows in elsewhere flows out there.
        outlet: the hub node left out.
    """

    elements: tuple[int, ...]
    inlets: dict[int, list[tuple[int, int]]]
    outlet: int


@dataclass(frozen=True)
class Split:
    """A circuit as hub and parts.

    Args:
        part_of_element: (E,) part number, -1 for the hub's own elements.
        part_of_node: (N,) part number, -1 for hub nodes.
        parts: the parts.
        hub_elements: elements between hub nodes.
    """

    part_of_element: IntArray
    part_of_node: IntArray
    parts: tuple[Part, ...]
    hub_elements: tuple[int, ...]


def split_circuit(circuit: Circuit) -> Split:
    """Take a circuit apart at the supplies and the inlets of their protections."""
    hub = _hub(circuit)
    label = list(range(len(circuit.network.node_names)))

    def root(n: int) -> int:
        while label[n] != n:
            label[n] = label[label[n]]
            n = label[n]
        return n

    for element in circuit.elements:
        if element.tail not in hub and element.head not in hub:
            label[root(element.tail)] = root(element.head)
    numbers: dict[int, int] = {}
    members: list[list[int]] = []
    of_node = np.full(len(label), -1, dtype=np.int64)
    of_element = np.full(len(circuit.elements), -1, dtype=np.int64)
    for node in range(len(label)):
        if node not in hub:
            of_node[node] = numbers.setdefault(root(node), len(numbers))
    members = [[] for _ in numbers]
    hub_elements: list[int] = []
    for e, element in enumerate(circuit.elements):
        part = max(int(of_node[element.tail]), int(of_node[element.head]))
        of_element[e] = part
        (members[part] if part >= 0 else hub_elements).append(e)
    parts = tuple(_part(circuit, m, hub) for m in members)
    return Split(of_element, of_node, parts, tuple(hub_elements))


def _hub(circuit: Circuit) -> set[int]:
    hub = {0}
    for element in circuit.elements:
        if element.kind == "source":
            hub |= {element.tail, element.head}
        elif element.kind in ("protection", "fuse", "breaker"):
            hub.add(element.tail)
    families = {name: item.part.family for name, item in circuit.cell.items.items()}
    outs = {e.head for e in circuit.elements if e.kind in ("protection", "fuse", "breaker")}
    bar = {
        n
        for (item, _), n in circuit.node_of_net.items()
        if families[item] in ("supply", "protection", "terminal") and n not in outs
    }
    grown = True
    while grown:
        grown = False
        for element in circuit.elements:
            if element.kind not in CONDUCTORS:
                continue
            for here, there in ((element.tail, element.head), (element.head, element.tail)):
                if here in hub and there in bar and there not in hub:
                    hub.add(there)
                    grown = True
    return hub


def _part(circuit: Circuit, members: Sequence[int], hub: set[int]) -> Part:
    inlets: dict[int, list[tuple[int, int]]] = {}
    for e in members:
        element = circuit.elements[e]
        for node, sign in ((element.tail, 1), (element.head, -1)):
            if node in hub:
                inlets.setdefault(node, []).append((e, sign))
    outlet = max(inlets, key=lambda n: (len(inlets[n]), n), default=0)
    inlets.pop(outlet, None)
    return Part(tuple(members), inlets, outlet)


def _drawn(current_a: float) -> Curve:
    """Return a part's stand-in: its current from the knee up, or a trace of it backwards."""
    if current_a >= 0.0:
        return constant_current(current_a, KNEE_V)
    return held_current(current_a)


@dataclass(frozen=True)
class SubNetwork:
    """One part with the hub, every other part replaced by its current.

    Args:
        network: its arrays; curves are numbered anew.
        elements: (E',) indices in the whole circuit; replaced parts stand behind them.
        node: (N,) whole node to own node, -1 where it is not in here.
        curve: (C,) whole curve to own curve, -1 where it is not used.
        fixed_low: (R,) own curves of the replaced parts at their lowest current.
        fixed_high: (R,) likewise at their highest.
    """

    network: Network
    elements: IntArray
    node: IntArray
    curve: IntArray
    fixed_low: IntArray
    fixed_high: IntArray


def sub_network(
    circuit: Circuit,
    split: Split,
    part: int,
    bounds_a: dict[int, tuple[float, float]],
    used: NDArray[np.int64],
) -> SubNetwork:
    """Build the network of one part.

    Args:
        circuit: the whole.
        split: how it falls apart.
        part: the part to keep.
        bounds_a: element to lowest and highest current, for every inlet of the other parts.
        used: (K,) curves of the whole table that may be chosen.
    """
    builder = NetworkBuilder()
    node = np.full(len(circuit.network.node_names), -1, dtype=np.int64)
    node[0] = 0

    def own(n: int) -> int:
        if node[n] < 0:
            node[n] = builder.add_node(circuit.network.node_names[n])
        return int(node[n])

    elements = [*split.hub_elements, *split.parts[part].elements]
    for e in elements:
        element = circuit.elements[e]
        builder.add_element(element.name, own(element.tail), own(element.head))
    table = circuit.network.curves.curves
    curve = np.full(len(table), -1, dtype=np.int64)
    for c in np.unique(used).tolist():
        curve[c] = builder.add_curve(table[c])
    low, high = [], []
    for number, other in enumerate(split.parts):
        if number == part:
            continue
        for inlet, ends in other.inlets.items():
            least = sum(min(s * bounds_a[e][0], s * bounds_a[e][1]) for e, s in ends)
            most = sum(max(s * bounds_a[e][0], s * bounds_a[e][1]) for e, s in ends)
            builder.add_element(f"part {number}", own(inlet), own(other.outlet))
            low.append(builder.add_curve(_drawn(least)))
            high.append(builder.add_curve(_drawn(most)))
    return SubNetwork(
        builder.build(),
        np.array(elements, dtype=np.int64),
        node,
        curve,
        np.array(low, dtype=np.int64),
        np.array(high, dtype=np.int64),
    )
