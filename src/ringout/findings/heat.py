"""Resistors that get hotter than they are made for."""

from __future__ import annotations

from ringout.base import Severity
from ringout.base.quantity import format_quantity
from ringout.circuit.model import Circuit
from ringout.findings.bounds import Question, Ranges
from ringout.findings.model import Finding, Quantity
from ringout.findings.survey import Survey
from ringout.tables.resistors import watt_size


def _rated(circuit: Circuit) -> list[int]:
    """Return resistors that say what heat they stand."""
    return [
        n
        for n, e in enumerate(circuit.elements)
        if e.kind == "resistance" and e.spec is not None and "watts" in e.spec.values
    ]


def heat_questions(circuit: Circuit, found: Survey) -> list[Question]:
    """Return what must be bounded to know the heat of every resistor: any state may last."""
    ends = [circuit.elements[n] for n in _rated(circuit)]
    return [Question(e.tail, e.head, found.base[0], frozenset()) for e in ends]


def judge_heat(circuit: Circuit, ranges: Ranges) -> list[Finding]:
    """Return resistors whose heat passes their rating at the highest voltage.

    Args:
        circuit: compiled cell.
        ranges: the answers to `heat_questions`.
    """
    findings: list[Finding] = []
    for at, n in enumerate(_rated(circuit)):
        element = circuit.elements[n]
        assert element.spec is not None
        highest_v = max(abs(float(ranges.low[at])), abs(float(ranges.high[at])))
        ohm, rated_w = element.spec.values["ohm"], element.spec.values["watts"].typ
        heat_w = highest_v**2 / ohm.low
        if not heat_w > rated_w:
            continue
        size_w = watt_size(heat_w)
        fit = f": fit one of {size_w:g} W" if size_w is not None else ""
        findings.append(
            Finding(
                "F202",
                Severity.ERROR,
                f"{element.item} must turn {format_quantity(heat_w, 'watts')} into heat with "
                f"{highest_v:.1f} V across it; it stands {format_quantity(rated_w, 'watts')}{fit}",
                (circuit.cell.items[element.item].part_span,),
                element.item,
                (Quantity("heat", heat_w, "W"), Quantity("stands", rated_w, "W")),
                "common practice",
                about=(("item", element.item), ("element", element.name)),
            )
        )
    return findings
