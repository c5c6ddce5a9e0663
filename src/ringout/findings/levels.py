"""The level of every signal in every state of what acts on it, at guaranteed worst case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ringout.cell.model import Condition, Signal
from ringout.circuit.model import TYP, BoolArray, Circuit, IntArray
from ringout.findings.bounds import Bounder, Question, Ranges
from ringout.findings.clusters import describe, local_states
from ringout.findings.limits import Limits, limits_of
from ringout.findings.settle import SettledStates, settle_states
from ringout.findings.survey import Survey


DARK = -1  # stands for "the lamp's own current" among the questions


@dataclass(frozen=True)
class SignalStates:
    """One signal with everything known of its level.

    Args:
        signal: the signal.
        element: element its level is measured across.
        limits: what counts as on and off there.
        columns: actors that act on it.
        positions: (S, A) settled states.
        wanted_on: (S,) the level the file wants.
        complete: False when not every combination was taken.
        v_typ: (S,) typical volts.
        i_typ_a: (S,) typical amperes through the element.
        v_low: (S,) guaranteed lowest volts.
        v_high: (S,) guaranteed highest volts.
        proven: (S,) the two are proven.
        contact_a: contact element to the typical amperes it carries while the signal is on.
        least_a: element with a least current to its guaranteed lowest amperes and the state.
        dark_a: for a driven lamp, state in which it should be dark to its highest amperes.
    """

    signal: Signal
    element: int
    limits: Limits
    columns: tuple[int, ...]
    clusters: frozenset[int]
    positions: IntArray
    wanted_on: BoolArray
    complete: bool
    v_typ: np.ndarray
    i_typ_a: np.ndarray
    v_low: np.ndarray
    v_high: np.ndarray
    proven: BoolArray
    contact_a: Mapping[int, float]
    least_a: Mapping[int, tuple[float, int]]
    dark_a: Mapping[int, float]

    def describe(self, circuit: Circuit, row: int) -> str:
        """Return one state in words."""
        return describe(circuit, self.positions[row], self.columns)


@dataclass(frozen=True)
class LevelSurvey:
    """All signals, and the work it took."""

    by_name: Mapping[str, SignalStates]
    ranges: Ranges
    settled: SettledStates


@dataclass(frozen=True, slots=True)
class _Plan:
    signal: Signal
    element: int
    limits: Limits
    columns: tuple[int, ...]
    clusters: frozenset[int]
    positions: IntArray
    wanted: BoolArray
    complete: bool


def survey_levels(circuit: Circuit, found: Survey, bounder: Bounder) -> LevelSurvey:
    """Bound the level of every signal in every state of its own clusters.

    Clusters that do not act on a signal may stand in any state that does not short: they
    are part of the worst case.
    """
    plans = [p for s in circuit.cell.signals.values() if (p := _plan(circuit, found, s))]
    if not plans:
        empty = settle_states(circuit, circuit.rest(), circuit.curves(circuit.rest()))
        return LevelSurvey({}, bounder.ask([]), empty)
    positions = np.concatenate([p.positions for p in plans])
    curves = circuit.curves(positions, TYP)
    curves[:, found.cut] = circuit.off_curve[TYP][found.cut]
    settled = settle_states(circuit, positions, curves)
    questions: list[Question] = []
    row = 0
    for plan in plans:
        item = circuit.elements[plan.element]
        for _ in range(len(plan.positions)):
            questions.append(
                Question(item.tail, item.head, settled.positions[row], plan.clusters)
            )
            row += 1
    levels_end = len(questions)
    asked: list[tuple[int, int, int]] = []
    row = 0
    for number, plan in enumerate(plans):
        for own in range(len(plan.positions)):
            if plan.wanted[own] and plan.signal.on is not None:
                for e in _needy(circuit, found, plan, settled.positions[row]):
                    item = circuit.elements[e]
                    asked.append((number, own, e))
                    questions.append(
                        Question(
                            item.tail, item.head, settled.positions[row], plan.clusters, element=e
                        )
                    )
            elif not plan.wanted[own] and circuit.elements[plan.element].kind == "lamp":
                item = circuit.elements[plan.element]
                asked.append((number, own, DARK))
                questions.append(
                    Question(
                        item.tail, item.head, settled.positions[row], plan.clusters,
                        element=plan.element,
                    )
                )
            row += 1
    ranges = bounder.ask(questions)
    dark: list[dict[int, float]] = [{} for _ in plans]
    least: list[dict[int, tuple[float, int]]] = [{} for _ in plans]
    for at, (number, own, e) in enumerate(asked, start=levels_end):
        if e == DARK:
            dark[number][own] = float(ranges.high[at])
            continue
        low = float(ranges.low[at])
        if e not in least[number] or low < least[number][e][0]:
            least[number][e] = (low, own)
    result: dict[str, SignalStates] = {}
    row = 0
    for number, plan in enumerate(plans):
        rows = slice(row, row + len(plan.positions))
        row = rows.stop
        item = circuit.elements[plan.element]
        node_v = settled.solution.node_v[rows]
        result[plan.signal.name] = SignalStates(
            plan.signal, plan.element, plan.limits, plan.columns, plan.clusters,
            settled.positions[rows], plan.wanted, plan.complete,
            node_v[:, item.tail] - node_v[:, item.head],
            settled.solution.element_a[rows, plan.element],
            ranges.low[rows], ranges.high[rows], ranges.proven[rows],
            _contacts(circuit, found, plan, settled.solution.element_a[rows]), least[number],
            dark[number],
        )
    return LevelSurvey(result, ranges, settled)


def _plan(circuit: Circuit, found: Survey, signal: Signal) -> _Plan | None:
    element = level_element(circuit, signal)
    if element < 0:
        return None
    part = found.part
    clusters = {int(part.cluster_of_element[element])} - {-1}
    columns: set[int] = set()
    if signal.on is not None:
        for leaf in signal.on.leaves():
            column = circuit.actor_index[leaf.actor]
            columns.add(column)
            clusters |= {int(part.cluster_of_actor[column])} - {-1}
    else:
        channel = circuit.actor_index[channel_actor(circuit, signal)]
        columns.add(channel)
        clusters |= {int(part.cluster_of_actor[channel])} - {-1}
    for number in clusters:
        columns |= set(part.clusters[number].actors)
    ordered = tuple(sorted(columns))
    positions, complete = local_states(circuit, ordered)
    others = [a for a in range(len(circuit.actors)) if a not in columns]
    positions[:, others] = found.base[0, others]
    wanted = np.array([_wanted(circuit, signal, row) for row in positions], dtype=np.bool_)
    return _Plan(
        signal, element, limits_of(circuit, signal, element), ordered, frozenset(clusters),
        positions, wanted, complete,
    )


def _needy(
    circuit: Circuit, found: Survey, plan: _Plan, positions: IntArray
) -> list[int]:
    """Return conducting elements of the plan's clusters that need a least current."""
    on = circuit.conducts(positions[None, :])[0]
    return [
        e
        for number in sorted(plan.clusters)
        for e in found.part.clusters[number].elements
        if on[e] and (spec := circuit.elements[e].spec) is not None and "min" in spec.values
    ]


def _contacts(
    circuit: Circuit, found: Survey, plan: _Plan, element_a: np.ndarray
) -> dict[int, float]:
    """Return what contacts with a wish for current carry while the signal is on."""
    rows = np.flatnonzero(plan.wanted)
    if not rows.size:
        return {}
    return {
        e: float(np.nanmax(np.abs(element_a[rows, e])))
        for number in sorted(plan.clusters)
        for e in found.part.clusters[number].elements
        if (spec := circuit.elements[e].spec) is not None and "wet_a" in spec.values
    }


def level_element(circuit: Circuit, signal: Signal) -> int:
    """Return the element a signal's level is measured across; -1 if there is none."""
    if signal.on is not None:
        return circuit.index_of.get(f"{signal.item}.{signal.channel.element}", -1)
    item, _, element = signal.drives.partition(".")
    part = circuit.cell.items[item].part
    return circuit.index_of.get(f"{item}.{element or part.main}", -1)


def channel_actor(circuit: Circuit, signal: Signal) -> str:
    """Return the actor an output channel is."""
    spec = circuit.cell.items[signal.item].part.element_by_name[signal.channel.element]
    name = f"{signal.item}.{spec.actor}"
    return name if name in circuit.actor_index else signal.item


def _wanted(circuit: Circuit, signal: Signal, positions: IntArray) -> bool:
    condition: Condition | None = signal.on
    if condition is None:
        spec = circuit.cell.items[signal.item].part.element_by_name[signal.channel.element]
        column = circuit.actor_index[channel_actor(circuit, signal)]
        return circuit.actors[column].positions[int(positions[column])] in spec.when
    names = {a.name: a.positions[int(positions[i])] for i, a in enumerate(circuit.actors)}
    return condition.holds(names)
