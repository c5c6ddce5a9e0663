"""The level of every signal in every state of what acts on it, at guaranteed worst case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ringout.cell.model import Condition, Signal
from ringout.circuit.model import TYP, BoolArray, Circuit, IntArray
from ringout.findings.bounds import Bounder, Question, Ranges
from ringout.findings.clusters import describe, local_states, wake
from ringout.findings.interlocks import Feeds, taken_away
from ringout.findings.limits import Limits, limits_of
from ringout.findings.settle import SettledStates, settle_states
from ringout.findings.survey import Survey
from ringout.solve import driving_point_ohm, solve_cases

WEAK_OHM = 1e5  # a level held by more than this may float, common practice
STRAY_A = 50e-6  # what touch, damp and neighbouring cores bring, common practice
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
        floats: (S,) a stray current of some microamperes carries the level out of its band.
        ends_v: (S, 2) typical voltages to earth of the channel's two ends.
        dark_a: for a driven lamp, state in which it should be dark to its highest amperes.
        taken: (S,) the output is on and a contact moved by hand takes the load away: it is
            then wanted off.
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
    floats: BoolArray
    ends_v: np.ndarray
    taken: BoolArray

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
    taken: BoolArray


class LevelPlan:
    """Everything that must be bounded to know the level of every signal.

    Clusters that do not act on a signal may stand in any state that does not short: they
    are part of the worst case.

    Args:
        circuit: compiled cell.
        found: its survey.
    """

    def __init__(self, circuit: Circuit, found: Survey) -> None:
        self.circuit, self.found = circuit, found
        feeds = Feeds(circuit, found.part)
        signals = circuit.cell.signals.values()
        self.plans = [p for s in signals if (p := _plan(circuit, found, s, feeds))]
        positions = np.concatenate([circuit.rest()[:0], *(p.positions for p in self.plans)])
        curves = circuit.curves(positions, TYP)
        curves[:, found.cut] = circuit.off_curve[TYP][found.cut]
        self.settled = settle_states(circuit, positions, curves)
        self._want()
        self.questions: list[Question] = []
        self._asked: list[tuple[int, int, int]] = []
        first = 0
        for plan in self.plans:
            settled = self.settled.positions[first : first + len(plan.positions)]
            for row in settled:
                self._ask(plan, row, plan.element, -1)
            first += len(plan.positions)
        self._levels_end = len(self.questions)
        first = 0
        for number, plan in enumerate(self.plans):
            for own in range(len(plan.positions)):
                self._ask_currents(number, own, self.settled.positions[first + own])
            first += len(plan.positions)

    def _want(self) -> None:
        """Say what every signal should be where the circuit has put its relays by itself.

        A signal that follows from a relay's own position is wanted when the relay has moved,
        not where it rests before anything is solved. Where the relay never gets there, or
        never leaves, the signal is still wanted as if it did: it must not pass unasked.
        """
        first = 0
        for number, plan in enumerate(self.plans):
            settled = self.settled.positions[first : first + len(plan.positions)]
            on = self._wanted(plan, settled)
            drawn = self._wanted(plan, plan.positions)
            if (on == on[0]).all() and not (drawn == drawn[0]).all():
                on = drawn
            taken = self._taken(plan, first, on)
            self.plans[number] = replace(plan, wanted=on & ~taken, taken=taken)
            first += len(plan.positions)

    def _taken(self, plan: _Plan, first: int, on: BoolArray) -> BoolArray:
        """Return (S,) whether a contact takes an output's load away, which is then meant."""
        rows = np.arange(first, first + len(plan.positions))
        taken = np.zeros(len(rows), dtype=np.bool_)
        on_v, off_v = plan.limits.on_v, plan.limits.off_v
        if plan.signal.on is not None or on_v is None or off_v is None:
            return taken
        ends = self.circuit.elements[plan.element]
        node_v = self.settled.solution.node_v[rows]
        volts = np.abs(node_v[:, ends.tail] - node_v[:, ends.head])
        positions = self.settled.positions[rows]
        works, off = on & (volts >= on_v), on & (volts <= off_v)
        return taken_away(self.circuit, plan.columns, positions, works, off)

    def _wanted(self, plan: _Plan, positions: IntArray) -> BoolArray:
        rows = [wanted(self.circuit, plan.signal, row) for row in positions]
        return np.array(rows, dtype=np.bool_)

    def _ask(self, plan: _Plan, positions: IntArray, element: int, own: int) -> None:
        ends = self.circuit.elements[element]
        self.questions.append(Question(ends.tail, ends.head, positions, plan.clusters, own))

    def _ask_currents(self, number: int, own: int, positions: IntArray) -> None:
        """Ask for currents that decide: of needy devices while on, of lamps while off."""
        plan = self.plans[number]
        if plan.signal.on is not None and plan.wanted[own]:
            for e in _needy(self.circuit, self.found, plan, positions):
                self._asked.append((number, own, e))
                self._ask(plan, positions, e, e)
        elif not plan.wanted[own] and self.circuit.elements[plan.element].kind == "lamp":
            self._asked.append((number, own, DARK))
            self._ask(plan, positions, plan.element, plan.element)

    def finish(self, ranges: Ranges) -> LevelSurvey:
        """Return the levels from the answers to `questions`."""
        dark: list[dict[int, float]] = [{} for _ in self.plans]
        least: list[dict[int, tuple[float, int]]] = [{} for _ in self.plans]
        for at, (number, own, e) in enumerate(self._asked, start=self._levels_end):
            if e == DARK:
                dark[number][own] = float(ranges.high[at])
                continue
            low = float(ranges.low[at])
            if e not in least[number] or low < least[number][e][0]:
                least[number][e] = (low, own)
        floats = self._floats()
        result: dict[str, SignalStates] = {}
        row = 0
        for number, plan in enumerate(self.plans):
            rows = slice(row, row + len(plan.positions))
            row = rows.stop
            ends = self.circuit.elements[plan.element]
            both_ways = plan.signal.on is None and ends.kind in ("coil", "resistance")
            node_v = self.settled.solution.node_v[rows]
            element_a = self.settled.solution.element_a[rows]
            v_typ = node_v[:, ends.tail] - node_v[:, ends.head]
            low_v, high_v = ranges.low[rows], ranges.high[rows]
            if both_ways:
                low_v, high_v = _sizes(low_v, high_v)
            result[plan.signal.name] = SignalStates(
                signal=plan.signal,
                element=plan.element,
                limits=plan.limits,
                columns=plan.columns,
                clusters=plan.clusters,
                positions=self.settled.positions[rows],
                wanted_on=plan.wanted,
                complete=plan.complete,
                v_typ=np.abs(v_typ) if both_ways else v_typ,
                i_typ_a=element_a[:, plan.element],
                v_low=low_v,
                v_high=high_v,
                proven=ranges.proven[rows],
                contact_a=_contacts(self.circuit, self.found, plan, element_a),
                least_a=least[number],
                dark_a=dark[number],
                floats=floats[rows],
                ends_v=node_v[:, [ends.tail, ends.head]],
                taken=plan.taken,
            )
        return LevelSurvey(result, ranges, self.settled)

    def _floats(self) -> BoolArray:
        """Return (S,) whether a stray current, either way, changes what the level means.

        Only levels held by more than `WEAK_OHM` are looked at; a level may be held by a part
        that lets go only after some volts, which its resistance alone does not show.
        """
        floats = np.zeros(len(self.settled.positions), dtype=np.bool_)
        if not len(floats):
            return floats
        curves = self.circuit.curves(self.settled.positions, TYP)
        curves[:, self.found.cut] = self.circuit.off_curve[TYP][self.found.cut]
        plan_of = [p for p in self.plans for _ in range(len(p.positions))]
        want = np.concatenate([p.wanted for p in self.plans])
        ends = [self.circuit.elements[p.element] for p in plan_of]
        pairs = np.array([(e.tail, e.head) for e in ends], dtype=np.int64)
        network, solution = self.circuit.network, self.settled.solution
        held = driving_point_ohm(network, solution, curves, pairs)
        rows = np.flatnonzero(held > WEAK_OHM)
        if not rows.size:
            return floats
        for way in (STRAY_A, -STRAY_A):
            stray = np.zeros((len(rows), network.node_count))
            every = np.arange(len(rows))
            stray[every, pairs[rows, 0]] += way
            stray[every, pairs[rows, 1]] -= way
            moved = solve_cases(network, curves[rows], injected_a=stray)
            volts = moved.node_v[every, pairs[rows, 0]] - moved.node_v[every, pairs[rows, 1]]
            for at, row in enumerate(rows.tolist()):
                limits = plan_of[row].limits
                limit = limits.on_v if want[row] else limits.off_v
                if limit is None:
                    continue
                good = volts[at] >= limit if want[row] else volts[at] <= limit
                floats[row] |= not good
        return floats


def _sizes(low_v: np.ndarray, high_v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the range of the size of a voltage: a coil works either way round."""
    crosses = (low_v < 0) & (high_v > 0)
    small = np.minimum(np.abs(low_v), np.abs(high_v))
    return np.where(crosses, 0.0, small), np.maximum(np.abs(low_v), np.abs(high_v))


def survey_levels(circuit: Circuit, found: Survey, bounder: Bounder) -> LevelSurvey:
    """Bound the level of every signal in every state of its own clusters."""
    plan = LevelPlan(circuit, found)
    return plan.finish(bounder.ask(plan.questions))


def _plan(circuit: Circuit, found: Survey, signal: Signal, feeds: Feeds) -> _Plan | None:
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
    clusters = set(feeds.with_feeds(clusters))
    for number in clusters:
        columns |= set(part.clusters[number].actors)
    ordered = tuple(sorted(columns))
    positions, complete = local_states(circuit, ordered)
    others = [a for a in range(len(circuit.actors)) if a not in columns]
    positions[:, others] = found.base[0, others]
    wake(circuit, positions)
    return _Plan(
        signal,
        element,
        limits_of(circuit, signal, element),
        ordered,
        frozenset(clusters),
        positions,
        np.zeros(len(positions), dtype=np.bool_),  # known when the relays have moved
        complete,
        np.zeros(len(positions), dtype=np.bool_),
    )


def _needy(circuit: Circuit, found: Survey, plan: _Plan, positions: IntArray) -> list[int]:
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


def wanted(circuit: Circuit, signal: Signal, positions: IntArray) -> bool:
    """Return whether a signal should be on at (A,) positions."""
    condition: Condition | None = signal.on
    if condition is None:
        spec = circuit.cell.items[signal.item].part.element_by_name[signal.channel.element]
        column = circuit.actor_index[channel_actor(circuit, signal)]
        return circuit.actors[column].positions[int(positions[column])] in spec.when
    names = {a.name: a.positions[int(positions[i])] for i, a in enumerate(circuit.actors)}
    return condition.holds(names)
