"""Coils and lamps that no signal drives: whether they are surely on or surely off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringout.base import Severity
from ringout.base.quantity import format_quantity
from ringout.circuit.model import Circuit
from ringout.findings.bounds import Question, Ranges
from ringout.findings.clusters import describe
from ringout.findings.effects.loads import Watched, watch
from ringout.findings.model import Finding, Quantity
from ringout.findings.survey import Survey


@dataclass(frozen=True, slots=True)
class _Asked:
    load: Watched
    cluster: int
    row: int


class UnnamedPlan:
    """Everything that must be bounded to judge loads that no signal speaks of.

    Nobody said what they should do; but a relay that surely neither holds nor lets go, or a
    lamp that glows, is right in no state.

    Args:
        circuit: compiled cell.
        found: its survey.
    """

    def __init__(self, circuit: Circuit, found: Survey) -> None:
        self.circuit, self.found = circuit, found
        self.questions: list[Question] = []
        self._asked: list[_Asked] = []
        driven = {s.drives.split(".")[0] for s in circuit.cell.signals.values() if s.on is None}
        for load in watch(circuit):
            ends = circuit.elements[load.element]
            cluster = int(found.part.cluster_of_element[load.element])
            if load.kind != "moves" or cluster < 0 or ends.item in driven:
                continue
            own = load.element if load.by_current else -1
            for row in found.rows_of(cluster):
                if found.allowed[row]:
                    held = frozenset({cluster})
                    state = found.positions[row]
                    self.questions.append(Question(ends.tail, ends.head, state, held, own))
                    self._asked.append(_Asked(load, cluster, row))

    def judge(self, ranges: Ranges) -> list[Finding]:
        """Return one finding per load that is between on and off, in its worst state."""
        worst: dict[int, tuple[float, _Asked]] = {}
        for at, asked in enumerate(self._asked):
            load = asked.load
            typ = float(load.values(self.circuit, self.found.states.solution)[asked.row])
            low, high = float(ranges.low[at]), float(ranges.high[at])
            most = max(abs(low), abs(high))
            # what holds at typical values to be on is on; the others must be off
            if not np.isfinite(typ) or abs(typ) >= load.high or not most > load.low:
                continue
            if load.element not in worst or most > worst[load.element][0]:
                worst[load.element] = most, asked
        return [self._finding(most, asked) for most, asked in worst.values()]

    def _finding(self, most: float, asked: _Asked) -> Finding:
        load, circuit = asked.load, self.circuit
        element = circuit.elements[load.element]
        actors = self.found.part.clusters[asked.cluster].actors
        state = describe(circuit, self.found.positions[asked.row], actors)
        dimension, unit = ("amps", "A") if load.by_current else ("volts", "V")
        shown, limit = (format_quantity(v, dimension) for v in (most, load.low))
        if load.by_current:
            code, text = "F305", f"{load.name} may glow while {state}: {shown} flow through it"
        else:
            code = "F302"
            text = (
                f"{load.name} is not surely off while {state}: {shown} can be left on it, and it "
                f"lets go for sure at {limit} only"
            )
        return Finding(
            code,
            Severity.WARNING,
            text,
            (circuit.cell.items[element.item].part_span,),
            load.name,
            (Quantity("left", most, unit), Quantity("limit", load.low, unit)),
            circuit.cell.items[element.item].part.source,
            about=(("item", element.item), ("element", element.name)),
        )
