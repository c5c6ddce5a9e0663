"""Contacts too good for the current they carry, and devices that need more current to work."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ringout.base import Severity
from ringout.base.quantity import format_between, format_plain
from ringout.circuit.curves import value
from ringout.circuit.model import HIGH, Circuit
from ringout.findings.levels import LevelSurvey, SignalStates
from ringout.findings.model import Finding, Quantity


def judge_contacts(circuit: Circuit, levels: LevelSurvey) -> list[Finding]:
    """Return findings on wetting current and on the least current of two-wire devices."""
    findings: list[Finding] = []
    for states in levels.by_name.values():
        if states.signal.on is None:
            continue
        for leaf in states.signal.on.leaves():
            item = leaf.actor.split(".")[0]
            findings += _wetting(circuit, states, item)
    return _one_each(findings)


def _one_each(findings: list[Finding]) -> list[Finding]:
    """Return one finding per item and wish: its contacts and the signals they make together."""
    together: dict[tuple[str, str], list[Finding]] = {}
    for found in findings:
        wish = found.message.split(";")[0]
        together.setdefault((found.place, wish), []).append(found)
    return [_joined(alike) if len(alike) > 1 else alike[0] for alike in together.values()]


def _joined(alike: list[Finding]) -> Finding:
    first = alike[0]
    signals = tuple(dict.fromkeys(("signal", f.get("signal")) for f in alike))
    carried = [q.value for f in alike for q in f.numbers if q.name == "carries"]
    names = " and ".join(name for _, name in signals)
    wish = first.message.split(";")[0]
    between = format_between(min(carried), max(carried), "mA", decimals=1)
    return replace(
        first,
        message=f"{wish}; as {names} it carries {between}",
        where=tuple(dict.fromkeys(span for f in alike for span in f.where)),
        numbers=(Quantity("carries", min(carried), "mA"), *first.numbers[1:]),
        about=(*signals, *(pair for pair in first.about if pair[0] != "signal")),
    )


def _draw_a(circuit: Circuit, states: SignalStates) -> float:
    """Return the most the input draws at 24 V: what a contact feeding only it carries."""
    curve = circuit.network.curves.curves[int(circuit.on_curve[HIGH, states.element])]
    return float(value(curve, 24.0))


def _wetting(circuit: Circuit, states: SignalStates, item: str) -> list[Finding]:
    findings: list[Finding] = []
    rows = np.flatnonzero(states.wanted_on)
    if not rows.size:
        return findings
    own = [
        e
        for e, element in enumerate(circuit.elements)
        if element.item == item and element.spec is not None and "wet_a" in element.spec.values
    ]
    signal = states.signal
    wired = {circuit.node(t) for t in circuit.cell.join_at}
    for e in own:
        element = circuit.elements[e]
        assert element.spec is not None
        touching = e in states.contact_a
        used = touching and element.tail in wired and element.head in wired
        if not used and len(own) > 1:
            continue
        wants = element.spec.values["wet_a"].typ
        carries = states.contact_a.get(e, 0.0) if touching else 0.0
        usable = 1e-5 < carries < 1.0
        amps = carries if usable else _draw_a(circuit, states)
        if amps >= wants:
            continue
        wet_v = element.spec.values.get("wet_v")
        volts = f" at {wet_v.typ:.0f} V" if wet_v is not None else ""
        material = element.spec.words.get("material", "contact")
        findings.append(
            Finding(
                "F701",
                Severity.WARNING,
                f"{item}'s {material} contact wants {wants * 1000:.0f} mA{volts} to stay clean; "
                f"as {signal.name} it carries {amps * 1000:.1f} mA",
                (circuit.cell.items[item].part_span, signal.channel_span),
                item,
                (Quantity("carries", amps * 1000, "mA"), Quantity("wants", wants * 1000, "mA")),
                "iec-60947-5-4",
                about=(("signal", signal.name), ("item", item), ("element", element.name)),
            )
        )
    return findings


def judge_least_current(circuit: Circuit, levels: LevelSurvey) -> list[Finding]:
    """Return two-wire devices that get less current than they need while on."""
    findings: list[Finding] = []
    for states in levels.by_name.values():
        if states.signal.on is None:
            continue
        items = {leaf.actor.split(".")[0] for leaf in states.signal.on.leaves()}
        for e, (low_a, row) in states.least_a.items():
            element = circuit.elements[e]
            if element.item not in items or element.spec is None:
                continue
            need = element.spec.values["min"].high
            if low_a >= need or not np.isfinite(low_a):
                continue
            findings.append(
                Finding(
                    "F702",
                    Severity.WARNING,
                    f"{element.item} needs {need * 1000:.1f} mA to work; as {states.signal.name} "
                    f"it may get only {format_plain(low_a * 1000, 'mA')} while "
                    f"{states.describe(circuit, row)}",
                    (circuit.cell.items[element.item].part_span, states.signal.channel_span),
                    element.item,
                    (
                        Quantity("least current", low_a * 1000, "mA"),
                        Quantity("needs", need * 1000, "mA"),
                    ),
                    "iec-60947-5-2",
                    about=(("signal", states.signal.name), ("item", element.item)),
                )
            )
    return findings
