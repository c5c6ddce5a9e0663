"""Coils switched by semiconductors: where the coil current goes when the output turns off."""

from __future__ import annotations

import numpy as np

from ringout.base import Severity
from ringout.circuit.model import TYP, Circuit
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
    if not coils:
        return []
    rows = np.repeat(found.base, len(coils), axis=0)
    for at, (_, actors) in enumerate(coils):
        for actor, off in actors:
            rows[at, actor] = off
    curves = circuit.curves(rows, TYP)
    curves[:, found.cut] = circuit.off_curve[TYP][found.cut]
    for at, (coil, _) in enumerate(coils):
        curves[at, coil] = circuit.held_curve[coil]
    solution = solve_cases(circuit.network, curves)
    findings: list[Finding] = []
    for at, (coil, _) in enumerate(coils):
        element = circuit.elements[coil]
        volts = solution.node_v[at, element.tail] - solution.node_v[at, element.head]
        if abs(volts) >= HARMLESS_V:
            findings.append(_finding(circuit, found, coil))
        else:
            findings += _release(circuit, coil, abs(float(volts)))
    return findings


def _driven_coils(circuit: Circuit, found: Survey) -> list[tuple[int, list[tuple[int, int]]]]:
    """Return coils with the semiconductor outputs that switch them and their off position."""
    out: list[tuple[int, list[tuple[int, int]]]] = []
    for e, element in enumerate(circuit.elements):
        spec = element.spec
        if spec is None or spec.kind != "coil":
            continue
        if "inductance" in spec.values and spec.values["inductance"].high <= 0.0:
            continue  # a solid-state control input is no inductor
        cluster = int(found.part.cluster_of_element[e])
        if cluster < 0:
            continue
        switches = [
            s
            for s in found.part.clusters[cluster].elements
            if circuit.elements[s].kind == "drop" and circuit.cond_actor[s, 0] >= 0
        ]
        if not switches:
            continue
        actors = []
        for s in switches:
            actor = int(circuit.cond_actor[s, 0])
            mask = int(circuit.cond_mask[s, 0])
            off = next(
                (p for p in range(len(circuit.actors[actor].positions)) if not mask >> p & 1), 0
            )
            actors.append((actor, off))
        out.append((e, actors))
    return out


def _release(circuit: Circuit, coil: int, clamp_v: float) -> list[Finding]:
    """Return how long a suppressed coil holds on after its output turned off."""
    element = circuit.elements[coil]
    spec = element.spec
    assert spec is not None
    let_go = spec.values.get("releases") or spec.values.get("off_below")
    if "inductance" not in spec.values or let_go is None:
        return []
    ohm, henry = spec.values["ohm"], spec.values["inductance"]
    times = [
        decay_s(inductance, r, 24.0 / r, min(volts, 24.0) / r, clamp_v)
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
            f"{element.item} lets go {fast_s * 1000:.0f} to {slow_s * 1000:.0f} ms after its output "
            f"turns off: its current dies against {clamp_v:.1f} V; a clamp of a higher voltage is "
            f"quicker",
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


def _finding(circuit: Circuit, found: Survey, coil: int) -> Finding:
    element = circuit.elements[coil]
    assert element.spec is not None
    amps = 24.0 / element.spec.values["ohm"].typ
    cluster = found.part.clusters[int(found.part.cluster_of_element[coil])]
    switch = next(s for s in cluster.elements if circuit.elements[s].kind == "drop")
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
        f"{element.item} is a bare coil on the semiconductor output {channel}: when it turns off, "
        f"nothing takes its current ({amps * 1000:.0f} mA{energy}) and the spike can destroy the "
        f"output",
        (circuit.cell.items[element.item].part_span,),
        element.item,
        tuple(numbers),
        "coil-suppression",
        about=(("item", element.item), ("element", element.name), ("channel", channel)),
    )
