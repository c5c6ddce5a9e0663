"""Quick looks at a changed cell: one signal's margins, one branch's far shorts."""

from __future__ import annotations

from dataclasses import replace

from ringout.cell.model import Cell
from ringout.circuit.compile import compile_circuit
from ringout.findings.bounds import Bounder
from ringout.findings.levels import survey_levels
from ringout.findings.protection import FarShort, far_shorts
from ringout.findings.signals import level
from ringout.findings.survey import survey


def trial_margins(cell: Cell, signal: str) -> tuple[float, float] | None:
    """Return the worst-case margins (on, off) of one signal in volts; None without a level."""
    only = replace(cell, signals={signal: cell.signals[signal]})
    circuit = compile_circuit(only)
    found = survey(circuit)
    levels = survey_levels(circuit, found, Bounder(circuit, found))
    states = levels.by_name.get(signal)
    if states is None:
        return None
    on, off = level(circuit, states, True), level(circuit, states, False)
    return (
        on.margin_v if on is not None else float("inf"),
        off.margin_v if off is not None else float("inf"),
    )


def trial_far_shorts(cell: Cell, branch: str) -> list[FarShort]:
    """Return the far shorts that one branch (`F1.ch4`) carries."""
    circuit = compile_circuit(cell)
    shorts = far_shorts(cell, survey(circuit), circuit)
    return [s for s in shorts if circuit.elements[s.branch].name == branch]
