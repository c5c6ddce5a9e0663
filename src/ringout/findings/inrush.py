"""The first moment of lamps, motors and capacitors against what switches them."""

from __future__ import annotations

import numpy as np

from ringout.base import Severity
from ringout.circuit.model import Circuit
from ringout.findings.levels import LevelSurvey, SignalStates
from ringout.findings.model import Finding, Quantity


def judge_inrush(circuit: Circuit, levels: LevelSurvey) -> list[Finding]:
    """Return driven loads whose inrush is more than their output gives."""
    findings: list[Finding] = []
    for states in levels.by_name.values():
        if states.signal.on is None:
            findings += _finding(circuit, states)
    return findings


def _finding(circuit: Circuit, states: SignalStates) -> list[Finding]:
    signal = states.signal
    load = circuit.elements[states.element].spec
    output = circuit.cell.items[signal.item].part.element_by_name[signal.channel.element]
    rows = np.flatnonzero(states.wanted_on)
    if load is None or "inrush" not in load.values or not rows.size:
        return []
    steady = float(np.nanmax(np.abs(states.i_typ_a[rows])))
    peak = steady * load.values["inrush"].high
    gives = output.values.get("limit") or output.values.get("max")
    if gives is None or peak <= gives.low:
        return []
    item = signal.drives.split(".")[0]
    return [
        Finding(
            "F206",
            Severity.WARNING,
            f"{item} draws up to {peak:.2f} A at the first moment "
            f"({load.values['inrush'].high:.0f} times {steady * 1000:.0f} mA); "
            f"{signal.channel_name} gives {gives.low:.2f} A: the output may limit or switch off",
            (signal.span, circuit.cell.items[item].part_span),
            signal.channel_name,
            (Quantity("inrush", peak, "A"), Quantity("output gives", gives.low, "A")),
            "relay-maker-inrush",
            about=(("signal", signal.name), ("item", item)),
        )
    ]
