"""Faults to effects: each solved in the states it touches and compared with the healthy cell."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ringout.base.quantity import format_quantity
from ringout.cell.model import Cell
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import (
    HEALTHY,
    Fault,
    Faulted,
    both,
    in_groups,
    single_faults,
    with_faults,
)
from ringout.circuit.model import Circuit, IntArray
from ringout.findings.clusters import describe
from ringout.findings.effects.harm import overs, spikes
from ringout.findings.effects.loads import Watched, watch
from ringout.findings.effects.model import (
    EFFECT_KINDS,
    HARM,
    MOVES,
    Effect,
    FaultEffects,
    FaultTable,
)
from ringout.findings.effects.reasons import why_latent
from ringout.findings.effects.settled import FaultStates, settle_faults
from ringout.findings.effects.states import Reach, States
from ringout.findings.model import NotRun, Quantity
from ringout.findings.survey import Survey, survey

Progress = Callable[[int, int], None]
FloatArray = NDArray[np.float64]
MOST_ROWS = 4000  # states solved side by side
BATCH_FAULTS = 40  # faults of neighbourhoods that are solved together, at least


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


def fault_table(
    cell: Cell,
    *,
    chosen: Callable[[Fault], bool] | None = None,
    double: bool = False,
    progress: Progress | None = None,
) -> FaultTable:
    """Return every fault of a cell with its effects.

    Args:
        cell: the cell.
        chosen: which single faults to take; all when not given.
        double: pairs of faults of one neighbourhood instead of single ones.
        progress: called with neighbourhoods done and in all.

    Returns:
        One row per fault, in the order of the wiring.
    """
    laid = lay_out(cell)
    faults = [f for f in single_faults(laid.circuit) if chosen is None or chosen(f)]
    groups = [members for _, members in in_groups(faults)]
    if not double:
        groups = _together(groups)
    rows: list[FaultEffects] = []
    solved, worst, lost, excluded, tried = 0, 0.0, 0, 0, 0
    incomplete: set[str] = set()
    for done, singles in enumerate(groups):
        members = singles
        if progress is not None:
            progress(done, len(groups))
        if double:
            pairs = [both(a, b) for a, b in combinations(singles, 2)]
            tried += len(pairs)
            members = tuple(p for p in pairs if p is not None)
            excluded += len(pairs) - len(members)
        made = effects_of(laid, members)
        rows += made.rows
        solved += made.solved
        worst = max(worst, made.worst_residual_a)
        lost += made.lost
        incomplete |= made.incomplete
    if progress is not None:
        progress(len(groups), len(groups))
    left = len(faults) * (len(faults) - 1) // 2 - tried if double else 0
    return FaultTable(tuple(rows), solved, worst, left, excluded, tuple(_not_run(lost, incomplete)))


def _together(groups: Iterable[tuple[Fault, ...]]) -> list[tuple[Fault, ...]]:
    """Return small neighbourhoods put together: a batch costs the same for 10 cases or 100."""
    batches: list[tuple[Fault, ...]] = []
    for members in groups:
        if batches and len(batches[-1]) < BATCH_FAULTS:
            batches[-1] += members
        else:
            batches.append(members)
    return batches


def _not_run(lost: int, incomplete: set[str]) -> Iterable[NotRun]:
    if lost:
        yield NotRun("solution", f"{lost} states could not be solved to 1 nA and are left out")
    if incomplete:
        some = ", ".join(sorted(incomplete)[:5])
        yield NotRun(
            "all states",
            f"{len(incomplete)} faults tie so many switches together that only states with two "
            f"moved at a time were solved: {some}",
        )


@dataclass(frozen=True)
class Made:
    """Effects of some faults and the work it took."""

    rows: tuple[FaultEffects, ...]
    solved: int
    worst_residual_a: float
    lost: int
    incomplete: frozenset[str]


def effects_of(laid: Laid, faults: Sequence[Fault]) -> Made:
    """Return the effects of faults of one neighbourhood.

    Faults that are electrically the same are solved once.

    Args:
        laid: the cell laid out.
        faults: the faults, best of one neighbourhood.
    """
    kinds: dict[object, int] = {}
    unlike: list[Fault] = []
    number_of = []
    for fault in faults:
        number = kinds.setdefault(fault.delta, len(unlike))
        if number == len(unlike):
            unlike.append(fault)
        number_of.append(number)
    faulted = with_faults(laid.circuit, unlike)
    states = [laid.reach.states(f) for f in unlike]
    told: list[tuple[tuple[Effect, ...], float, int]] = []
    solved, worst, lost = 0, 0.0, 0
    for first, last in _portions(states):
        batch = _Batch(laid, faulted, states, first, last)
        told += [batch.of_fault(n) for n in range(first, last)]
        solved += batch.count
        worst = max(worst, batch.worst_residual_a)
        lost += batch.lost
    rows = []
    for fault, number in zip(faults, number_of, strict=True):
        effects, moved_v, count = told[number]
        row = FaultEffects(fault, effects, "", count, moved_v)
        why = why_latent(fault, effects, moved_v) if row.latent else ""
        rows.append(FaultEffects(fault, effects, why, count, moved_v))
    missing = frozenset(
        f.id for f, n in zip(faults, number_of, strict=True) if not states[n].complete
    )
    return Made(tuple(rows), solved, worst, lost, missing)


def _portions(states: Sequence[States]) -> Iterable[tuple[int, int]]:
    first, rows = 0, 0
    for number, own in enumerate(states):
        if rows and rows + len(own.positions) > MOST_ROWS:
            yield first, number
            first, rows = number, 0
        rows += len(own.positions)
    if first < len(states):
        yield first, len(states)


class _Batch:
    """Faults `first` to `last` and the healthy cell, solved in all their states at once."""

    def __init__(
        self, laid: Laid, faulted: Faulted, states: Sequence[States], first: int, last: int
    ) -> None:
        self.laid, self.faulted, self.states, self.first = laid, faulted, states, first
        mine = states[first:last]
        own = np.concatenate([s.positions for s in mine])
        fault_of = np.repeat(np.arange(first, last), [len(s.positions) for s in mine])
        healthy, self.twin = np.unique(own, axis=0, return_inverse=True)
        self.twin = self.twin.reshape(-1)
        self.base = len(own)  # healthy states stand behind those with faults
        positions = np.concatenate([own, healthy])
        fault_of = np.concatenate([fault_of, np.full(len(healthy), HEALTHY)])
        self.done: FaultStates = settle_faults(
            faulted, positions, fault_of, laid.found.cut, laid.start_v
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
            worst = int(np.argmax(fresh))
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
        for w, values, judged in self.judged:
            now, before = judged[rows], judged[healthy]
            differ = np.flatnonzero((now != before) & (now >= 0) & (before >= 0))
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
