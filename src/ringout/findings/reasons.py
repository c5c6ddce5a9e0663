"""Why a point stands at its voltage: the way from the supply, and what is lost on it."""

from __future__ import annotations

import heapq

import numpy as np

from ringout.circuit.model import TYP, Circuit, IntArray

TOLD_DROP_V = 0.2
LEAST_WAY_S = 2e-8  # what passes more than 20 nA at 1 V is a way, however weak


def explain(
    circuit: Circuit,
    positions: IntArray,
    node_v: np.ndarray,
    probes: tuple[tuple[int, str], tuple[int, str]],
) -> str:
    """Return one sentence on a voltage reading.

    Args:
        circuit: compiled cell with the meter as its last element.
        positions: (A,) the state.
        node_v: (N,) node voltages with the meter in place.
        probes: node and name of the place of the red and of the black probe.
    """
    curves = circuit.curves(positions[None, :], TYP)
    return "; ".join(
        _stand(circuit, curves[0], float(node_v[node]), node, f"{colour} on {place}", node_v)
        for (node, place), colour in zip(probes, ("red", "black"), strict=True)
    )


def _stand(
    circuit: Circuit, curve_of: IntArray, volts: float, node: int, name: str, node_v: np.ndarray
) -> str:
    way = path_from_supply(circuit, curve_of, node)
    if way is None:
        return f"{name} is joined to no supply ({volts:.2f} V to earth)"
    pole, elements = way
    drops = []
    for e in elements:
        element = circuit.elements[e]
        lost = abs(float(node_v[element.tail] - node_v[element.head]))
        if lost >= TOLD_DROP_V:
            drops.append(f"{element.name} {lost:.1f} V")
    words = [circuit.elements[e].name for e in elements if _told(circuit, e)]
    via = f" through {', '.join(words)}" if words else ""
    lost_text = f", losing {', '.join(drops)}" if drops else ""
    return f"{name} ({volts:.2f} V to earth) comes from {pole}{via}{lost_text}"


def _told(circuit: Circuit, e: int) -> bool:
    join = circuit.elements[e].join
    return join is None or bool(join.cable)


def path_from_supply(
    circuit: Circuit, curve_of: IntArray, node: int
) -> tuple[str, list[int]] | None:
    """Return the supply pole a node hangs on and the elements from there, least resistance first.

    Elements that pass next to nothing are no way.
    """
    table = circuit.network.curves
    cost: list[float] = []
    for e in range(len(circuit.elements)):
        curve = table.curves[int(curve_of[e])]
        slope = max(curve.slope_s)
        cost.append(1.0 / slope if slope > LEAST_WAY_S else np.inf)
    poles = {}
    for element in circuit.elements:
        if element.kind == "source":
            poles[element.tail] = f"{element.item} +"
            poles[element.head] = f"{element.item} 0 V"
    near: dict[int, list[tuple[int, int]]] = {}
    for e, element in enumerate(circuit.elements[:-1]):
        if element.kind != "source" and np.isfinite(cost[e]):
            near.setdefault(element.tail, []).append((e, element.head))
            near.setdefault(element.head, []).append((e, element.tail))
    best: dict[int, float] = {node: 0.0}
    came: dict[int, tuple[int, int]] = {}
    heap: list[tuple[float, int]] = [(0.0, node)]
    while heap:
        far, here = heapq.heappop(heap)
        if here in poles:
            pole, path = poles[here], []
            while here != node:
                e, here = came[here]
                path.append(e)
            return pole, path
        if far > best.get(here, np.inf):
            continue
        for e, other in near.get(here, ()):
            if far + cost[e] < best.get(other, np.inf):
                best[other] = far + cost[e]
                came[other] = (e, here)
                heapq.heappush(heap, (best[other], other))
    return None
