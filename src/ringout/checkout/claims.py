"""Which look exposes which fault: what is seen with it can never be seen without it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ringout.checkout.limits import printed_limits
from ringout.checkout.model import DEAD, FUNCTION, INPUTS, LOAD, OHMS, POWER, VOLTS, Candidate
from ringout.circuit.faults import HEALTHY, Fault, Faulted, with_faults
from ringout.circuit.model import HIGH, LOW, BoolArray, IntArray
from ringout.circuit.network import FloatArray
from ringout.findings.effects import Laid
from ringout.findings.looks.dead import DeadCells, dead_positions
from ringout.findings.looks.display import DIGITS, meter_error
from ringout.findings.looks.places import Pair, pairs_of, rails_of, supplies
from ringout.findings.looks.powered import Powered, PoweredCells
from ringout.tables.steps import step_seconds

Progress = Callable[[int, int], None]
MOST_MOVED = 2  # persons and commands away from rest in one state of the procedure


@dataclass(frozen=True, slots=True)
class Good:
    """What a candidate shows in the healthy cell, meter error included.

    Args:
        low: lowest good reading, rounded as it is printed.
        high: highest.
        levels: for a glance (name, word index) of everything that is looked at.
    """

    low: float
    high: float
    levels: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, eq=False)
class Readings:
    """What one look with a meter shows, meter error included.

    Args:
        healthy: lowest and highest volts in the healthy cell.
        low_v: (C,) lowest volts with each fault that is looked for in its state.
        high_v: (C,) highest.
        firm: (C,) the reading is firmly held.
        fault_of: (C,) the faults.
    """

    healthy: tuple[float, float]
    low_v: FloatArray
    high_v: FloatArray
    firm: BoolArray
    fault_of: IntArray

    def exposed(self, good: Good, faults: int) -> BoolArray:
        """Return (F,) faults with which the reading is surely outside its limits."""
        outside = (self.low_v > good.high) | (self.high_v < good.low)
        column = np.zeros(faults, dtype=np.bool_)
        column[self.fault_of[self.firm & outside]] = True
        return column


@dataclass(frozen=True, eq=False)
class Claims:
    """K candidates and F unlike faults.

    Args:
        candidates: (K).
        good: (K) what is seen in the healthy cell.
        exposes: (K, F) True where the fault is seen for certain.
        states: (S, A) states of the procedure; the first is at rest.
        solved: number of states solved.
        lost: number of cases that could not be solved.
        readings: by candidate, what powered looks with a meter show.
    """

    candidates: tuple[Candidate, ...]
    good: tuple[Good, ...]
    exposes: BoolArray
    states: IntArray
    solved: int
    lost: int
    readings: Mapping[int, Readings]


def make_claims(laid: Laid, faults: Sequence[Fault], progress: Progress | None = None) -> Claims:
    """Solve every fault in every state it touches and say which look exposes it.

    Args:
        laid: the cell laid out for faults.
        faults: F unlike faults.
        progress: called with cases done and in all.
    """
    return _Claims(laid, faults).run(progress)


def _unlike(faulted: Faulted, positions: IntArray, fault_of: IntArray) -> tuple[IntArray, IntArray]:
    """Return the first of each kind of (C) dead circuits, and (C,) the kind of each."""
    off = dead_positions(faulted.circuit, faulted.positions(positions))
    curves = np.hstack([faulted.curves(off, fault_of, corner) for corner in (LOW, HIGH)])
    _, first, copy_of = np.unique(curves, axis=0, return_index=True, return_inverse=True)
    return first, copy_of.reshape(-1)


class _Claims:
    def __init__(self, laid: Laid, faults: Sequence[Fault]) -> None:
        self.laid, self.faults = laid, faults
        circuit = laid.circuit
        self.plus, self.minus = rails_of(circuit)
        self.pairs = pairs_of(circuit, self.plus, self.minus)
        self.volts = [p for p in self.pairs if self._for_volts(p)]
        self.candidates: list[Candidate] = []
        self.good: list[Good] = []
        self.columns: list[BoolArray] = []
        self.readings: dict[int, Readings] = {}
        self.shown: set[tuple[int, int]] = set()  # (watched, word) seen at rest
        self._lay_states()

    def _for_volts(self, pair: Pair) -> bool:
        """Return whether volts are read there: red anywhere, black on a 0 V."""
        return self.laid.circuit.node(pair.b) in self.minus

    def _lay_states(self) -> None:
        """Choose the states: allowed ones with few things moved, and who is looked at where."""
        laid = self.laid
        base = laid.found.base[0]
        human = np.array([a.moved_by in ("person", "command") for a in laid.circuit.actors])
        allowed = {r.tobytes() for r in laid.found.positions[laid.found.allowed][:, human]}
        number_of: dict[bytes, int] = {base.tobytes(): 0}
        rows: list[IntArray] = [base]
        cases: dict[tuple[int, int], None] = {}  # (fault, state)
        for number, fault in enumerate(self.faults):
            cases[number, 0] = None
            for row in laid.reach.states(fault).positions:
                moved = int((row != base)[human].sum())
                if moved > MOST_MOVED or (moved and row[human].tobytes() not in allowed):
                    continue
                state = number_of.setdefault(row.tobytes(), len(rows))
                if state == len(rows):
                    rows.append(row)
                cases[number, state] = None
        self.cases = list(cases)
        self.states: IntArray = np.stack(rows)
        person = np.array([a.moved_by == "person" for a in laid.circuit.actors])
        self.by_hand = ~((self.states != base) & ~person).any(axis=1)

    def run(self, progress: Progress | None) -> Claims:
        fault_of = np.array([HEALTHY] * len(self.states) + [f for f, _ in self.cases])
        state_of = np.array([*range(len(self.states)), *(s for _, s in self.cases)])
        self.state_of, self.fault_of = state_of[len(self.states) :], fault_of[len(self.states) :]
        positions = self.states[state_of]
        self._dead(positions, fault_of)
        cells = PoweredCells(self.laid, self.faults, [(p.a, p.b) for p in self.volts])
        seen = cells.see(positions, fault_of, progress)
        self._volts(seen)
        self._glances(seen)
        exposes = (
            np.stack(self.columns)
            if self.columns
            else np.zeros((0, len(self.faults)), dtype=np.bool_)
        )
        solved = seen.solved + 2 * len(positions)
        return Claims(
            tuple(self.candidates),
            tuple(self.good),
            exposes,
            self.states,
            solved,
            seen.lost,
            self.readings,
        )

    # -- dead ------------------------------------------------------------------------------

    def _dead(self, positions: IntArray, fault_of: IntArray) -> None:
        circuit = self.laid.circuit
        faulted = with_faults(circuit, self.faults)
        # with power off, commands move nothing: only what a person moves makes a difference
        rows = np.flatnonzero(
            self.by_hand[np.concatenate([range(len(self.states)), self.state_of])]
        )
        first, copy_of = _unlike(faulted, positions[rows], fault_of[rows])
        cells = DeadCells(faulted, positions[rows[first]], fault_of[rows[first]])
        for rails in (False, True):
            pairs = [p for p in self.pairs if p.rails == rails]
            if not pairs:
                continue
            nodes = np.array([(circuit.node(p.a), circuit.node(p.b)) for p in pairs])
            found = cells.rail_readings(nodes) if rails else cells.readings(nodes)
            low, high = (np.full((len(positions), len(pairs)), np.nan) for _ in range(2))
            low[rows] = (found.low - meter_error(found.low, OHMS))[copy_of]
            high[rows] = (found.high + meter_error(found.high, OHMS))[copy_of]
            self._ohms(pairs, low, high)

    def _ohms(self, pairs: Sequence[Pair], low: FloatArray, high: FloatArray) -> None:
        states = len(self.states)
        for k, pair in enumerate(pairs):
            for state in np.flatnonzero(self.by_hand).tolist():
                same = low[state, k] == low[0, k] and high[state, k] == high[0, k]
                if state and same:
                    continue
                candidate = Candidate(
                    DEAD, OHMS, state, step_seconds("ohms") + pair.cost_s, pair.a, pair.b
                )
                good = Good(*printed_limits(float(low[state, k]), float(high[state, k]), OHMS))
                seen = (low[states:, k] > good.high) | (high[states:, k] < good.low)
                self._add(candidate, good, seen)

    def _add(self, candidate: Candidate, good: Good, seen: BoolArray) -> None:
        """Add a candidate; `seen` is by case."""
        rows = (self.state_of == candidate.state) & seen
        column = np.zeros(len(self.faults), dtype=np.bool_)
        column[self.fault_of[rows]] = True
        self._keep(candidate, good, column)

    def _keep(self, candidate: Candidate, good: Good, column: BoolArray) -> bool:
        """Keep a candidate that exposes or shows something or must be; return whether it was."""
        levels = set(good.levels)
        new = bool(levels - self.shown)
        if candidate.state == 0:
            self.shown |= levels
        kept = bool(column.any()) or candidate.must or new
        if kept:
            self.candidates.append(candidate)
            self.good.append(good)
            self.columns.append(column)
        return kept

    # -- powered ---------------------------------------------------------------------------

    def _phase(self, state: int) -> str:
        return POWER if state == 0 else FUNCTION

    def _volts(self, seen: Powered) -> None:
        low = seen.low_v - meter_error(seen.low_v, VOLTS)
        high = seen.high_v + meter_error(seen.high_v, VOLTS)
        states = len(self.states)
        circuit = self.laid.circuit
        ends = {(circuit.node(a), circuit.node(b)) for a, b in supplies(circuit)}
        for k, pair in enumerate(self.volts):
            at_supply = (circuit.node(pair.a), circuit.node(pair.b)) in ends
            for state in range(states):
                if not seen.firm[state, k] or np.isnan(low[state, k]):
                    continue
                if state and abs(low[state, k] - low[0, k]) < DIGITS[VOLTS]:
                    continue
                cost = step_seconds("volts") + pair.cost_s
                phase = self._phase(state)
                must = at_supply and phase == POWER
                good = Good(*printed_limits(float(low[state, k]), float(high[state, k]), VOLTS))
                rows = np.flatnonzero(self.state_of == state)
                cases = states + rows
                shown = Readings(
                    (float(low[state, k]), float(high[state, k])),
                    low[cases, k],
                    high[cases, k],
                    seen.firm[cases, k],
                    self.fault_of[rows],
                )
                candidate = Candidate(phase, VOLTS, state, cost, pair.a, pair.b, must=must)
                if self._keep(candidate, good, shown.exposed(good, len(self.faults))):
                    self.readings[len(self.candidates) - 1] = shown

    def _glances(self, seen: Powered) -> None:
        watched = self.laid.watched
        controllers: dict[str, list[int]] = {}
        for k, w in enumerate(watched):
            if w.kind == "level":
                item = self.laid.circuit.elements[w.element].item
                controllers.setdefault(item, []).append(k)
        for state in range(len(self.states)):
            for item, members in controllers.items():
                self._glance(
                    Candidate(self._phase(state), INPUTS, state, step_seconds("inputs"), what=item),
                    members,
                    seen,
                )
            for k, w in enumerate(watched):
                if w.kind != "level":
                    look = Candidate(
                        self._phase(state), LOAD, state, step_seconds("load"), what=w.name
                    )
                    self._glance(look, [k], seen)

    def _glance(self, candidate: Candidate, members: Sequence[int], seen: Powered) -> None:
        state, states = candidate.state, len(self.states)
        sure = [
            k
            for k in members
            if seen.low_word[state, k] == seen.high_word[state, k] >= 0
            and (candidate.kind != INPUTS or seen.low_word[state, k] != 1)
        ]
        rows = np.zeros(len(self.cases), dtype=np.bool_)
        for k in sure:
            low, high = seen.low_word[states:, k], seen.high_word[states:, k]
            word = int(seen.low_word[state, k])
            differs = (low > word) | ((high < word) & (low >= 0))
            if candidate.kind == INPUTS:  # in the undefined band either may be shown
                differs &= (low == high) & (low != 1)
            rows |= differs
        levels = tuple((k, int(seen.low_word[state, k])) for k in sure)
        self._add(candidate, Good(np.nan, np.nan, levels), rows)
