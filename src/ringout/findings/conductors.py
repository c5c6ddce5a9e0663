"""Conductors against what protects them: does the branch open before the copper is too hot."""

from __future__ import annotations

import heapq
from functools import lru_cache

from ringout.base import Severity
from ringout.circuit.model import Circuit
from ringout.findings.model import Finding, Quantity
from ringout.findings.protection import opening_a
from ringout.tables.ampacity import current_capacity_a

ROUND_KINDS = ("core", "plug", "link", "bond", "protection", "fuse", "breaker")


@lru_cache(maxsize=256)
def capacity_a(area_mm2: float, ambient_c: float, loaded: int) -> float | None:
    """Return what a core of a cable in conduit carries without end; None outside the tables.

    Thin cores are rated as pairs of electronics, the only table that goes down to them.

    Source:
        iec-60204-1
    """
    use = "signal" if area_mm2 < 0.75 else "power"
    pairs = max(1, loaded // 2) if use == "signal" else loaded
    return current_capacity_a(area_mm2, ambient_c=max(ambient_c, 30.0), loaded_cores=pairs, use=use)


def held_back_a(circuit: Circuit) -> dict[int, tuple[float, int]]:
    """Return, for every node a + pole reaches, the current that can flow on and what holds it.

    What holds it is the weakest protection or supply limit on the way; infinite where nothing
    does. Values are the currents from which a protection surely opens.
    """
    best: dict[int, tuple[float, int]] = {}
    heap: list[tuple[float, int, int]] = []
    for e, element in enumerate(circuit.elements):
        if element.kind == "source" and element.spec is not None:
            limit = element.spec.values.get("limit")
            heap.append((-(limit.high if limit is not None else float("inf")), e, element.tail))
    heapq.heapify(heap)
    near: dict[int, list[tuple[int, int]]] = {}
    for e, element in enumerate(circuit.elements):
        if element.kind in ROUND_KINDS:
            near.setdefault(element.tail, []).append((e, element.head))
            near.setdefault(element.head, []).append((e, element.tail))
    returns = {e.head for e in circuit.elements if e.kind == "source"} | {0}
    while heap:
        minus, holder, node = heapq.heappop(heap)
        if node in best or node in returns:
            continue
        best[node] = (-minus, holder)
        for e, other in near.get(node, ()):
            here, by = -minus, holder
            if circuit.elements[e].kind in ("protection", "fuse", "breaker"):
                opens = opening_a(circuit, e)[0]
                here, by = min((here, by), (opens, e))
            if other not in best:
                heapq.heappush(heap, (-here, by, other))
    return best


def judge_conductors(circuit: Circuit) -> list[Finding]:
    """Return cables whose cores may carry more, for longer, than their copper stands."""
    held = held_back_a(circuit)
    loaded: dict[str, int] = {}
    for element in circuit.elements:
        if element.kind == "core" and element.join is not None and element.tail in held:
            loaded[element.join.cable] = loaded.get(element.join.cable, 0) + 2
    worst: dict[int, list[tuple[str, float, float]]] = {}
    ambient = circuit.cell.ambient_c.high
    for element in circuit.elements:
        join = element.join
        if element.kind != "core" or join is None or element.tail not in held:
            continue
        if element.head not in held:
            continue
        core = circuit.cell.cables[join.cable].core(join.core)
        flow, holder = min(held[element.tail], held[element.head])
        may = None if core is None else capacity_a(core.area_mm2, ambient, loaded[join.cable])
        if may is not None and flow > may:
            worst.setdefault(holder, []).append((join.cable, flow, may))
    return [_finding(circuit, holder, cables) for holder, cables in worst.items()]


def _finding(circuit: Circuit, holder: int, cables: list[tuple[str, float, float]]) -> Finding:
    element = circuit.elements[holder]
    names = list(dict.fromkeys(c for c, _, _ in cables))
    flow = max(f for _, f, _ in cables)
    may = min(m for _, _, m in cables)
    shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
    what = "the supply's limit" if element.kind == "source" else "it surely opens only"
    return Finding(
        "F503",
        Severity.WARNING,
        f"{element.name} does not protect {shown}: {what} from {flow:.2f} A, the thinnest core "
        f"there carries {may:.2f} A without end at {circuit.cell.ambient_c.high:.0f} °C",
        (element.span, *(circuit.cell.cables[n].part_span for n in names[:3])),
        element.name,
        (Quantity("flows for long", flow, "A"), Quantity("carries", may, "A")),
        "iec-60204-1",
        about=(("element", element.name), ("cable", names[0])),
    )
