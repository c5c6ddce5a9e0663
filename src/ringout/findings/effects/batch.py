"""Faults solved in all their states at once, and what each of them does."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.base.quantity import format_quantity
from ringout.cell.model import Cell
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import (
    HEALTHY,
    Faulted,
    with_faults,
)
from ringout.circuit.model import BoolArray, Circuit, IntArray
from ringout.findings.clusters import describe
from ringout.findings.effects.harm import overs, spikes
from ringout.findings.effects.loads import Watched, watch
from ringout.findings.effects.model import (
    EFFECT_KINDS,
    HARM,
    MOVES,
    Effect,
)
from ringout.findings.effects.settled import FaultStates, settle_faults
from ringout.findings.effects.states import Reach, States
from ringout.findings.model import Quantity
from ringout.findings.survey import Survey, survey
from ringout.solve import Solve

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Laid:
    """A cell laid out for faults.

    Args:
        circuit: the healthy circuit.
        found: its survey.
        watched: signals and loads that show what a fault does.
        reach: finds the states to look at.
        bare: coils that nothing quenches in the healthy cell either.
        start_v: (N,) voltages at rest, to start solving from.
    """

    circuit: Circuit
    found: Survey
    watched: tuple[Watched, ...]
    reach: Reach
    bare: frozenset[int]
    start_v: FloatArray


def lay_out(cell: Cell) -> Laid:
    """Compile and survey a cell for faults."""
    circuit = compile_circuit(cell)
    found = survey(circuit)
    start_v = found.states.solution.node_v[0]
    faulted = with_faults(circuit, ())
    healthy = np.full(len(found.positions), HEALTHY)
    states = settle_faults(faulted, found.positions, healthy, found.cut, start_v)
    bare = frozenset(coil for coil, *_ in spikes(faulted, states, found.cut))
    return Laid(circuit, found, tuple(watch(circuit)), Reach(circuit, found), bare, start_v)


class Batch:
    """Faults `first` to `last` and the healthy cell, solved in all their states at once."""

    def __init__(
        self,
        laid: Laid,
        faulted: Faulted,
        solve: Solve,
        states: Sequence[States],
        span: tuple[int, int],
    ) -> None:
        first, last = span
        self.laid, self.faulted, self.states = laid, faulted, states
        mine = states[first:last]
        own = np.concatenate([s.positions for s in mine])
        fault_of = np.repeat(np.arange(first, last), [len(s.positions) for s in mine])
        healthy, self.twin = np.unique(own, axis=0, return_inverse=True)
        self.twin = self.twin.reshape(-1)
        self.base = len(own)  # healthy states stand behind those with faults
        positions = np.concatenate([own, healthy])
        fault_of = np.concatenate([fault_of, np.full(len(healthy), HEALTHY)])
        self.done: FaultStates = settle_faults(
            faulted, positions, fault_of, laid.found.cut, laid.start_v, solve
        )
        self.fault_of = fault_of
        self.count = len(positions)
        residual = self.done.last.residual_a
        self.worst_residual_a = float(np.max(residual[self.done.last.solved], initial=0.0))
        self.lost = int((~self.done.last.solved | ~self.done.first.solved).sum())
        self.overs = list(overs(faulted.circuit, self.done.first))
        self.spikes = spikes(faulted, self.done, laid.found.cut)
        self.judged = []
        for w in laid.watched:
            values = w.values(faulted.circuit, self.done.last)
            self.judged.append((w, values, w.judge(values)))
        self.changed = self._changed()

    def _changed(self) -> BoolArray:
        """Return (own states, watched) which of what is watched a fault changes in which state."""
        judged = np.zeros((self.count, 0), dtype=np.int64)
        if self.judged:
            judged = np.stack([j for _, _, j in self.judged], axis=1)
        now, before = judged[: self.base], judged[self.base + self.twin]
        changed: BoolArray = (now != before) & (now >= 0) & (before >= 0)
        return changed

    def _healthy(self, rows: IntArray) -> IntArray:
        return self.base + self.twin[rows]

    def of_fault(self, number: int) -> tuple[tuple[Effect, ...], float, int]:
        """Return one fault's effects, the largest change of voltage and the count of states."""
        rows = np.flatnonzero(self.fault_of == number)
        effects = [
            *self._overs(rows),
            *self._spikes(number),
            *self._changes(rows),
            *self._chatter(rows),
        ]
        effects.sort(key=lambda e: EFFECT_KINDS.index(e.kind))
        count = len(self.faulted.healthy.network.node_names)
        last = self.done.last.node_v
        moved = np.abs(last[rows, :count] - last[self._healthy(rows), :count])
        return tuple(effects), float(np.nanmax(moved, initial=0.0)), len(rows)

    def _words(self, row: int) -> str:
        number = int(self.fault_of[row])
        first = int(np.flatnonzero(self.fault_of == number)[0])
        columns = self.states[number].columns[row - first]
        return describe(self.faulted.circuit, self.done.positions[row], columns)

    def _overs(self, rows: IntArray) -> Iterable[Effect]:
        broken = self.faulted.faults[int(self.fault_of[rows[0]])]
        for over in self.overs:
            if broken.kind.startswith("stage") and over.what in broken.touched:
                continue  # it is broken already
            share = np.nan_to_num(over.share[rows])
            before = np.nan_to_num(over.share[self._healthy(rows)])
            fresh = np.where(before > 1.0, 0.0, share)
            worst = int(np.argmax(np.round(fresh, 9)))  # the first of equals
            if fresh[worst] <= 1.0:
                continue
            row = int(rows[worst])
            state = self._words(row)
            amount = format_quantity(
                float(over.value[row]), "amps" if over.unit == "A" else "volts"
            )
            limit = ""
            if over.limit:
                allowed = format_quantity(over.limit, "amps" if over.unit == "A" else "volts")
                limit = f", {'stands' if over.kind == HARM else 'limit'} {allowed}"
            yield Effect(
                over.kind,
                over.what,
                state,
                "",
                over.words,
                over.numbers(row),
                f"{over.what} {over.words} {_while(state)} ({amount}{limit})",
            )

    def _spikes(self, number: int) -> Iterable[Effect]:
        for coil, output, row, _ in self.spikes:
            if self.fault_of[row] != number or coil in self.laid.bare:
                continue
            circuit = self.faulted.circuit
            item, stage = circuit.elements[coil].item, circuit.elements[output].name
            spec = circuit.elements[coil].spec
            assert spec is not None
            amps = 24.0 / spec.values["ohm"].typ
            state = self._words(row)
            yield Effect(
                HARM,
                stage,
                state,
                "coil quenched",
                "coil bare",
                (Quantity("coil current", amps, "A"),),
                f"{item} turns off with nothing to take its current of {amps * 1000:.0f} mA: "
                f"the spike wears out or kills {stage}",
            )

    def _changes(self, rows: IntArray) -> Iterable[Effect]:
        healthy = self._healthy(rows)
        changed = self.changed[rows]
        for number in np.flatnonzero(changed.any(axis=0)).tolist():
            w, values, judged = self.judged[number]
            now, before = judged[rows], judged[healthy]
            differ = np.flatnonzero(changed[:, number])
            seen: set[tuple[int, int]] = set()
            for at in differ.tolist():
                change = (int(before[at]), int(now[at]))
                if change in seen:
                    continue
                seen.add(change)
                row = int(rows[at])
                yield self._change(w, change, row, values[row], values[healthy[at]])

    def _change(
        self, w: Watched, change: tuple[int, int], row: int, now: float, before: float
    ) -> Effect:
        state = self._words(row)
        unit = "A" if w.by_current else "V"
        dimension = "amps" if w.by_current else "volts"
        old, new = w.words[change[0]], w.words[change[1]]
        if w.kind == "moves":  # the sign only tells a broken load from one that works
            now, before = abs(now), abs(before)
        shown = _shown(float(now), dimension), _shown(float(before), dimension)
        return Effect(
            w.kind,
            w.name,
            state,
            old,
            new,
            (
                Quantity("with the fault", float(now), unit),
                Quantity("healthy", float(before), unit),
            ),
            f"{w.name} {new} instead of {old} {_while(state)} ({shown[0]}, healthy {shown[1]})",
        )

    def _chatter(self, rows: IntArray) -> Iterable[Effect]:
        restless = rows[self.done.chatter[rows] & ~self.done.chatter[self._healthy(rows)]]
        if len(restless):
            state = self._words(int(restless[0]))
            yield Effect(
                MOVES, "chatter", state, "steady", "never steady", (),
                f"something switches itself on and off without end {_while(state)}",
            )  # fmt: skip


def _while(state: str) -> str:
    return state if state == "at rest" else f"while {state}"


def _shown(value: float, dimension: str) -> str:
    """Return a figure as a meter would show it: nothing below a millivolt or ten microamperes."""
    least = 1e-3 if dimension == "volts" else 1e-5
    return format_quantity(0.0 if abs(value) < least else value, dimension)
