"""What meters, inputs and loads show in powered states with faults, over tolerances."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ringout.base import Interval
from ringout.cell.model import Terminal
from ringout.circuit.behaviour import ohmic
from ringout.circuit.compile import Added, compile_circuit
from ringout.circuit.faults import Fault, with_faults
from ringout.circuit.model import TYP, BoolArray, Circuit, IntArray
from ringout.circuit.network import FloatArray
from ringout.findings.effects import FaultStates, Laid, Watched, settle_faults
from ringout.findings.looks.corners import CORNERS, at_corner
from ringout.solve import Reference, Solution, Solve, engine_for

Progress = Callable[[int, int], None]
HOLDS_OHM = 1e5  # what moves under this load is not firmly held
FIRM_V = 1.0
VARIANTS = len(CORNERS) + 2  # typical values, the corners, and held by a load
CASES_AT_ONCE = 512
UNSEEN = -1


@dataclass(frozen=True, eq=False)
class Powered:
    """C cases: values over tolerances.

    Args:
        low_v: (C, P) lowest volts between each pair of places.
        high_v: (C, P) highest.
        firm: (C, P) the reading is firmly held.
        low_word: (C, W) least of what each watched thing may show, 0 to 2; -1 not solved.
        high_word: (C, W) most of it.
        solved: number of states solved.
        lost: number of cases that could not be solved.
    """

    low_v: FloatArray
    high_v: FloatArray
    firm: BoolArray
    low_word: IntArray
    high_word: IntArray
    solved: int
    lost: int


class PoweredCells:
    """Cells with one fault each, powered, ready to be looked at.

    Args:
        laid: the cell laid out for faults.
        faults: unlike faults.
        pairs: (P) places of probes.
    """

    def __init__(
        self, laid: Laid, faults: Sequence[Fault], pairs: Sequence[tuple[Terminal, Terminal]]
    ) -> None:
        self.laid = laid
        load = ohmic(Interval.exact(HOLDS_OHM))
        added = [Added(f"hold{k}", a, b, load) for k, (a, b) in enumerate(pairs)]
        circuit = compile_circuit(laid.circuit.cell, added=added)
        first = len(circuit.elements) - len(added)
        self.faulted = with_faults(circuit, faults)
        self.held = np.arange(first, first + len(added))
        ends = [(circuit.elements[k].tail, circuit.elements[k].head) for k in self.held]
        self.ends = np.array(ends, dtype=np.int64).reshape(-1, 2)
        self.cut = np.zeros(len(circuit.elements), dtype=np.bool_)
        self.cut[: len(laid.found.cut)] = laid.found.cut
        self.cut[self.held] = True
        self.solve: Solve = Reference(self.faulted.circuit.network)

    def see(
        self, positions: IntArray, fault_of: IntArray, progress: Progress | None = None
    ) -> Powered:
        """Return what C cases show.

        Args:
            positions: (C, A) states of the healthy circuit.
            fault_of: (C,) fault of each, `HEALTHY` for none.
            progress: called with cases done and in all.
        """
        self.solve = engine_for(self.faulted.circuit.network, VARIANTS * len(positions))
        parts = []
        for first in range(0, len(positions), CASES_AT_ONCE):
            if progress is not None:
                progress(first, len(positions))
            rows = slice(first, first + CASES_AT_ONCE)
            parts.append(self._see(positions[rows], fault_of[rows]))
        return Powered(
            np.concatenate([p.low_v for p in parts]),
            np.concatenate([p.high_v for p in parts]),
            np.concatenate([p.firm for p in parts]),
            np.concatenate([p.low_word for p in parts]),
            np.concatenate([p.high_word for p in parts]),
            sum(p.solved for p in parts),
            sum(p.lost for p in parts),
        )

    def _see(self, positions: IntArray, fault_of: IntArray) -> Powered:
        states = settle_faults(
            self.faulted, positions, fault_of, self.cut, self.laid.start_v, self.solve
        )
        watched = self.laid.watched
        volts = self._volts(states.last)
        words = _words(self.faulted.circuit, watched, states.last)
        low_v, high_v, low_word, high_word = volts, volts, words, words
        for sources, others in CORNERS:
            corner = self._corner(states, fault_of, sources, others)
            volts, words = self._volts(corner), _words(self.faulted.circuit, watched, corner)
            low_v, high_v = np.minimum(low_v, volts), np.maximum(high_v, volts)
            low_word, high_word = np.minimum(low_word, words), np.maximum(high_word, words)
        loaded = self._volts(self._loaded(states, fault_of))
        firm = np.abs(loaded - self._volts(states.last)) < FIRM_V
        lost = int(np.isnan(low_v).any(axis=1).sum()) if low_v.size else 0
        restless = states.chatter
        low_word[restless], high_word[restless] = UNSEEN, UNSEEN
        firm[restless] = False
        return Powered(low_v, high_v, firm, low_word, high_word, VARIANTS * len(positions), lost)

    def _volts(self, solution: Solution) -> FloatArray:
        v = solution.node_v[:, self.ends[:, 0]] - solution.node_v[:, self.ends[:, 1]]
        return np.where(solution.solved[:, None], v, np.nan)

    def _curves(self, states: FaultStates, fault_of: IntArray, corner: int) -> IntArray:
        chosen = self.faulted.curves(states.positions, fault_of, corner)
        open_curve = self.faulted.circuit.off_curve[TYP]
        off = np.flatnonzero(self.cut)
        chosen[:, off] = open_curve[off]
        return chosen

    def _corner(
        self, states: FaultStates, fault_of: IntArray, sources: int, others: int
    ) -> Solution:
        circuit = self.faulted.circuit
        curve_of = at_corner(
            circuit, lambda corner: self._curves(states, fault_of, corner), sources, others
        )
        return self.solve(curve_of, states.last.node_v)

    def _loaded(self, states: FaultStates, fault_of: IntArray) -> Solution:
        circuit = self.faulted.circuit
        curve_of = self._curves(states, fault_of, TYP)
        curve_of[:, self.held] = circuit.on_curve[TYP, self.held]
        return self.solve(curve_of, states.last.node_v)


def _words(circuit: Circuit, watched: Sequence[Watched], solution: Solution) -> IntArray:
    columns = [w.judge(w.values(circuit, solution)) for w in watched]
    words = np.stack(columns, axis=1) if columns else np.zeros((len(solution.solved), 0))
    return np.where(solution.solved[:, None], words, UNSEEN).astype(np.int64)
