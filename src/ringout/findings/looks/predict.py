"""What a look shows in the healthy cell and with each fault, over tolerances."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from ringout.cell.model import Cell
from ringout.circuit import curves as cv
from ringout.circuit.behaviour import Behaviour, ohmic
from ringout.circuit.compile import Added, compile_circuit
from ringout.circuit.faults import Fault, Faulted, single_faults, with_faults
from ringout.circuit.model import Circuit, IntArray
from ringout.findings.effects import FaultStates, Watched, settle_faults, watch
from ringout.findings.looks.corners import CORNERS, at_corner
from ringout.findings.looks.lamps import Lamp, lamp_of
from ringout.findings.looks.model import FloatArray, Look, Seen
from ringout.findings.meter import (
    LOADED_OHM,
    OHMS_INNER_OHM,
    OHMS_OPEN_V,
    VOLTMETER_OHM,
    WEAK_V,
    to_ohm,
    without_power,
)
from ringout.solve import Solution, solve_cases

DOUBTFUL = 1


def predict(cell: Cell, look: Look, faults: Sequence[Fault], *, spread: bool = True) -> Seen:
    """Return what a look shows with each of some faults.

    Args:
        cell: the cell as drawn.
        look: what is looked at; its places, state and lifts are known to exist.
        faults: faults of this cell, single or `both` of two; one without changes is the
            healthy cell.
        spread: also solve the corners of tolerance; else low and high are the typical value.

    Returns:
        What is seen, one value per fault.

    Raises:
        ValueError: a look of unknown kind.
    """
    return Predictor(cell).see(look, faults, spread=spread)


HEALTHY_CELL = Fault("healthy", "healthy", "Nothing is wrong.", (), "", 1.0, ())


class Predictor:
    """Predicts looks at one cell; circuits with the same cores lifted are made once.

    Args:
        cell: the cell as drawn.
    """

    def __init__(self, cell: Cell) -> None:
        self.cell = cell
        self._bases: dict[tuple[str, ...], _Lifted] = {}
        self._last: tuple[object, Solved] | None = None

    def see(self, look: Look, faults: Sequence[Fault], *, spread: bool = True) -> Seen:
        """Return what a look shows with each fault; see `predict`."""
        base = self._base(look.lifted)
        chosen = [base.same(f) for f in faults]
        if look.kind == "ohms":
            return self._ohms(look, chosen, spread=spread)
        if look.by_meter:
            return self._volts(look, chosen, spread=spread)
        return self._words(look, base, chosen, spread=spread)

    def _base(self, lifted: tuple[str, ...]) -> _Lifted:
        if lifted not in self._bases:
            self._bases[lifted] = _Lifted(compile_circuit(self.cell, lifted=lifted))
        return self._bases[lifted]

    def _volts(self, look: Look, faults: Sequence[Fault], *, spread: bool) -> Seen:
        if look.kind == "lowz":
            return _firm(look, *self._meter(look, faults, ohmic(LOADED_OHM), spread=spread))
        low, typ, high = self._meter(look, faults, ohmic(VOLTMETER_OHM), spread=spread)
        loaded = self._meter(look, faults, ohmic(LOADED_OHM), spread=False)[1]
        firm = ~(np.abs(typ - loaded) > WEAK_V)
        # a point that a load moves by volts shows anything from there to what the meter gives
        low = np.where(firm, low, np.fmin(low, loaded))
        high = np.where(firm, high, np.fmax(high, loaded))
        return Seen(look, low, typ, high, firm)

    def _ohms(self, look: Look, faults: Sequence[Fault], *, spread: bool) -> Seen:
        source = Behaviour.fixed(cv.source(OHMS_OPEN_V, OHMS_INNER_OHM, can_sink=True))
        off = replace(look, powered=False)
        return _firm(look, *map(to_ohm, self._meter(off, faults, source, spread=spread)))

    def _meter(
        self,
        look: Look,
        faults: Sequence[Fault],
        behaviour: Behaviour,
        *,
        spread: bool,
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return lowest, typical and highest volts between the probes."""
        assert look.a is not None
        assert look.b is not None
        circuit = compile_circuit(
            self.cell, added=[Added("meter", look.a, look.b, behaviour)], lifted=look.lifted
        )
        meter = circuit.elements[-1]
        solved = _solve(circuit, faults, look)

        def volts(solution: Solution) -> FloatArray:
            v = solution.node_v[:, meter.tail] - solution.node_v[:, meter.head]
            return np.where(solution.solved, v, np.nan)

        return solved.range_of(volts, spread=spread)

    def _plain(self, look: Look, base: _Lifted, faults: Sequence[Fault]) -> Solved:
        """Return the cells solved without a meter; the last state asked for is kept."""
        key = (look.lifted, look.state, look.powered, tuple(f.id for f in faults))
        if self._last is None or self._last[0] != key:
            self._last = key, _solve(base.circuit, faults, look)
        return self._last[1]

    def others(self, look: Look, faults: Sequence[Fault], told: Collection[str] = ()) -> FloatArray:
        """Return (F,) how many other signals would read otherwise than in the first cell.

        Args:
            look: a look at a signal; its state is the one asked about.
            faults: faults, the healthy cell first.
            told: signals that do not count.
        """
        base = self._base(look.lifted)
        solved = self._plain(look, base, [base.same(f) for f in faults])
        count = np.zeros(len(faults))
        for name, watched in base.watched.items():
            if watched.kind == "level" and name != look.what and name not in told:
                circuit = solved.faulted.circuit
                words = watched.judge(watched.values(circuit, solved.states.last))
                count += (words != words[0]) & (words != DOUBTFUL)
        return count

    def _words(self, look: Look, base: _Lifted, faults: Sequence[Fault], *, spread: bool) -> Seen:
        solved = self._plain(look, base, faults)
        watched = base.watched.get(look.what)
        if watched is not None and (look.kind == "level") == (watched.look == "level"):
            low, typ, high = solved.range_of(partial(_judged, watched, solved), spread=spread)
            if look.kind == "level":  # what lies between may be read as either
                low = np.where(low == DOUBTFUL, 0.0, low)
                high = np.where(high == DOUBTFUL, 2.0, high)
        else:
            lamp = lamp_of(base.circuit, look.what)
            if lamp is None:
                raise ValueError(f"{look.what} has no lamp")
            low, typ, high = solved.range_of(partial(_lamp_seen, lamp, solved), spread=spread)
        restless = solved.states.chatter
        low, high = np.where(restless, 0.0, low), np.where(restless, 2.0, high)
        return _firm(look, low, typ, high)


def _firm(look: Look, low: FloatArray, typ: FloatArray, high: FloatArray) -> Seen:
    return Seen(look, low, typ, high, np.ones(len(typ), dtype=np.bool_))


def _judged(watched: Watched, solved: Solved, solution: Solution) -> FloatArray:
    words = watched.judge(watched.values(solved.faulted.circuit, solution)).astype(np.float64)
    return np.where(words < 0, np.nan, words)


def _lamp_seen(lamp: Lamp, solved: Solved, solution: Solution) -> FloatArray:
    return lamp.judge(solved.faulted.circuit, solved.states.positions, solution)


class _Lifted:
    """A circuit with some cores taken off, its faults by name and what to watch."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.watched: dict[str, Watched] = {}
        for w in watch(circuit):
            self.watched.setdefault(w.name, w)
        for signal in circuit.cell.signals.values():
            if signal.on is None and signal.drives in self.watched:
                self.watched.setdefault(signal.name, self.watched[signal.drives])
        self._faults: dict[str, Fault] | None = None

    def same(self, fault: Fault) -> Fault:
        """Return the fault as it is in this circuit: its places have other numbers here."""
        if not self.circuit.lifted_node or not fault.extras:
            return fault
        if self._faults is None:
            self._faults = {f.id: f for f in single_faults(self.circuit)}
        if fault.id in self._faults:
            return self._faults[fault.id]
        parts = fault.id.split(" + ")
        if len(parts) > 1 and all(p in self._faults for p in parts):
            twins = [self._faults[p] for p in parts]
            return replace(
                fault,
                changes=tuple(c for t in twins for c in t.changes),
                extras=tuple({e.name: e for t in twins for e in t.extras}.values()),
                sensing=tuple(s for t in twins for s in t.sensing),
            )
        return fault


@dataclass(frozen=True, eq=False)
class Solved:
    """F faults solved in one state at typical values, and at the corners when asked.

    Args:
        faulted: the circuit with the faults.
        states: (F,) settled states.
        fault_of: (F,) their fault numbers.
    """

    faulted: Faulted
    states: FaultStates
    fault_of: IntArray

    def at(self, sources: int, others: int) -> Solution:
        """Return the solution with supplies and all else at corners of tolerance."""
        circuit = self.faulted.circuit
        curve_of = at_corner(
            circuit,
            lambda corner: self.faulted.curves(self.states.positions, self.fault_of, corner),
            sources,
            others,
        )
        return solve_cases(circuit.network, curve_of, start_v=self.states.last.node_v)

    def range_of(
        self, value: Callable[[Solution], FloatArray], *, spread: bool
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return lowest, typical and highest of a value of the solution."""
        typ = value(self.states.last)
        low, high = typ, typ
        for sources, others in CORNERS if spread else ():
            corner = value(self.at(sources, others))
            low, high = np.fmin(low, corner), np.fmax(high, corner)
        return low, typ, high


def _solve(circuit: Circuit, faults: Sequence[Fault], look: Look) -> Solved:
    state = dict(look.state)
    full = state if look.powered else without_power(circuit, state)
    faulted = with_faults(circuit, faults)
    fault_of = np.arange(len(faults), dtype=np.int64)
    positions = np.repeat(circuit.positions([full]), len(faults), axis=0)
    cut = np.zeros(len(circuit.elements), dtype=np.bool_)
    states = settle_faults(faulted, positions, fault_of, cut)
    return Solved(faulted, states, fault_of)
