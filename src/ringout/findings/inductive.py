"""Coils switched by semiconductors: where the coil current goes when the output turns off."""

from __future__ import annotations

import numpy as np

from ringout.base import Severity
from ringout.circuit.compile import highest_source_v
from ringout.circuit.faults.inside import SUPPRESSORS
from ringout.circuit.model import TYP, Circuit, Element
from ringout.findings.clusters import describe, islands
from ringout.findings.model import Finding, Quantity
from ringout.findings.survey import Survey
from ringout.solve import solve_cases
from ringout.tables.suppress import decay_s

HARMLESS_V = 75.0  # a semiconductor output survives this much; common practice (TVS at 36..60 V)


def judge_coils(circuit: Circuit, found: Survey) -> list[Finding]:
    """Return coils whose turn-off voltage no part of the circuit limits.

    The coil is replaced by a source of its own current, as an inductor is at the instant of
    switching off, and the circuit solved with the output off: where a diode or suppressor
    takes the current, the voltage stays low; where nothing does, it rises without limit.
    """
    coils = _driven_coils(circuit, found)
    rows = [(coil, row) for coil, (cluster, _) in coils.items() for row in found.rows_of(cluster)]
    if not rows:
        return []
    way = {coil: int(_backwards(found, coil, cluster)) for coil, (cluster, _) in coils.items()}
    node_v, node_half_v = (_held_v(circuit, found, rows, way, part) for part in (0, 1))
    findings: list[Finding] = []
    for coil, (cluster, island) in coils.items():
        ends = circuit.elements[coil]
        mine = [at for at, (c, _) in enumerate(rows) if c == coil]
        volts = _kick_v(node_v[mine], ends, way[coil])
        worst = int(np.argmax(volts))
        if volts[worst] >= HARMLESS_V:
            state = found.positions[rows[mine[worst]][1]]
            quenched = any(circuit.elements[e].kind in SUPPRESSORS for e in island)
            everywhere = bool((volts >= HARMLESS_V).all()) or not quenched
            actors = found.part.clusters[cluster].actors
            when = "" if everywhere else describe(circuit, state, actors)
            findings.append(_finding(circuit, coil, island, when))
        else:
            half_v = float(_kick_v(node_half_v[mine], ends, way[coil])[worst])
            findings += _release(circuit, coil, float(volts[worst]), half_v)
    return findings


def _held_v(
    circuit: Circuit, found: Survey, rows: list[tuple[int, int]], way: dict[int, int], part: int
) -> np.ndarray:
    """Return (rows, N) voltages while each row's coil holds its current, or half of it."""
    curves = circuit.curves(found.positions[[row for _, row in rows]], TYP)
    curves[:, found.cut] = circuit.off_curve[TYP][found.cut]
    for at, (coil, _) in enumerate(rows):
        curves[at, coil] = circuit.held_curve[way[coil], part, coil]
    return solve_cases(circuit.network, curves).node_v


def _kick_v(node_v: np.ndarray, ends: Element, way: int) -> np.ndarray:
    """Return the voltage against the current; along it the coil is simply fed.

    What is too high to be balanced is infinite: nothing takes the current.
    """
    volts = node_v[:, ends.head] - node_v[:, ends.tail]
    volts = np.where(np.isnan(volts), np.inf, np.maximum(-volts if way else volts, 0.0))
    return np.asarray(volts)


def _backwards(found: Survey, coil: int, cluster: int) -> bool:
    """Return whether the coil's current flows from its head to its tail when it is fed."""
    amps = found.states.solution.element_a[found.rows_of(cluster), coil]
    amps = amps[np.isfinite(amps)]
    return bool(amps.size) and float(amps[np.argmax(np.abs(amps))]) < 0.0


def _driven_coils(circuit: Circuit, found: Survey) -> dict[int, tuple[int, tuple[int, ...]]]:
    """Return coils that a semiconductor output switches: cluster, and what hangs together with it.

    A coil behind the contact of a relay is no load of the output that works the relay.
    """
    out: dict[int, tuple[int, tuple[int, ...]]] = {}
    for island in islands(circuit, found.part):
        if not any(_is_stage(circuit, e) for e in island):
            continue
        for e in island:
            spec = circuit.elements[e].spec
            cluster = int(found.part.cluster_of_element[e])
            if spec is None or spec.kind != "coil" or cluster < 0:
                continue
            if "inductance" in spec.values and spec.values["inductance"].high <= 0.0:
                continue  # a solid-state control input is no inductor
            out[e] = cluster, island
    return dict(sorted(out.items()))


def _is_stage(circuit: Circuit, element: int) -> bool:
    return circuit.elements[element].kind == "drop" and circuit.cond_actor[element, 0] >= 0


def _release(circuit: Circuit, coil: int, clamp_v: float, half_v: float) -> list[Finding]:
    """Return how long a suppressed coil holds on after its output turned off.

    What takes the current is a voltage and a resistance, known from the kick at the whole
    current (`clamp_v`) and at half of it (`half_v`).
    """
    element = circuit.elements[coil]
    spec = element.spec
    assert spec is not None
    let_go = spec.values.get("releases") or spec.values.get("off_below")
    if "inductance" not in spec.values or let_go is None:
        return []
    ohm, henry = spec.values["ohm"], spec.values["inductance"]
    nominal_v = highest_source_v(circuit.cell)
    beside_ohm = max(clamp_v - half_v, 0.0) / (nominal_v / ohm.typ / 2.0)
    steady_v = max(2.0 * half_v - clamp_v, 0.0)
    times = [
        decay_s(inductance, r + beside_ohm, nominal_v / r, min(volts, nominal_v) / r, steady_v)
        for inductance, r, volts in (
            (henry.low, ohm.high, let_go.high),
            (henry.high, ohm.low, let_go.low),
        )
    ]
    fast_s, slow_s = min(times), max(times)
    return [
        Finding(
            "F306",
            Severity.NOTE,
            f"{element.item} lets go {fast_s * 1000:.0f} to {slow_s * 1000:.0f} ms after its "
            f"output turns off: its current dies against {clamp_v:.1f} V; a clamp of a higher "
            f"voltage is quicker",
            (circuit.cell.items[element.item].span,),
            element.item,
            (
                Quantity("shortest", fast_s * 1000, "ms"),
                Quantity("longest", slow_s * 1000, "ms"),
                Quantity("against", clamp_v, "V"),
            ),
            "coil-suppression",
            about=(("item", element.item),),
        )
    ]


def _finding(circuit: Circuit, coil: int, island: tuple[int, ...], when: str) -> Finding:
    element = circuit.elements[coil]
    assert element.spec is not None
    amps = highest_source_v(circuit.cell) / element.spec.values["ohm"].typ
    switch = next(e for e in island if _is_stage(circuit, e))
    owner = circuit.elements[switch].item
    channel = next(
        (
            f"{owner}.{c.name}"
            for c in circuit.cell.items[owner].part.channels.values()
            if f"{owner}.{c.element}" == circuit.elements[switch].name
        ),
        circuit.elements[switch].name,
    )
    numbers = [Quantity("coil current", amps, "A")]
    energy = ""
    if "inductance" in element.spec.values:
        joule = element.spec.values["inductance"].typ * amps * amps / 2
        numbers.append(Quantity("stored energy", joule * 1000, "mJ"))
        energy = f", {joule * 1000:.1f} mJ"
    return Finding(
        "F304",
        Severity.ERROR,
        f"{element.item} is a bare coil on the semiconductor output {channel}"
        + (f" while {when} (its suppressor is cut off there)" if when else "")
        + f": when it turns off, nothing takes its current ({amps * 1000:.0f} mA{energy}) and the "
        f"spike can destroy the output",
        (circuit.cell.items[element.item].part_span,),
        element.item,
        tuple(numbers),
        "coil-suppression",
        about=(("item", element.item), ("element", element.name), ("channel", channel)),
    )
