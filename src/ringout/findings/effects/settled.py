"""States with faults, settled: first as protection sees them, then after it has opened."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.faults import Faulted
from ringout.circuit.model import TYP, BoolArray, Circuit, Driven, IntArray
from ringout.solve import Reference, Solution, Solve

FloatArray = NDArray[np.float64]
MOST_ROUNDS = 64


@dataclass(frozen=True, eq=False)
class FaultStates:
    """S states with faults put in, at typical values.

    Args:
        fault_of: (S,) fault of each state.
        first: solution before any protection has opened.
        positions: (S, A') positions after settling, opened protection included.
        last: solution after protection has opened; equal to `first` where none did.
        opened: (S,) some protection opened.
        chatter: (S,) no steady state exists.
    """

    fault_of: IntArray
    first: Solution
    positions: IntArray
    last: Solution
    opened: BoolArray
    chatter: BoolArray


def settle_faults(
    faulted: Faulted,
    positions: IntArray,
    fault_of: IntArray,
    cut: BoolArray,
    start_v: FloatArray | None = None,
    solve: Solve | None = None,
) -> FaultStates:
    """Settle states with faults.

    A device's curves follow from its position and from the fault of the state, so that a
    welded relay contact stays welded whatever its coil does.

    Args:
        faulted: circuit with faults.
        positions: (S, A) states of the healthy circuit.
        fault_of: (S,) fault number, `HEALTHY` for none.
        cut: (E,) conductors of the healthy circuit held open throughout.
        start_v: (N,) voltages of the healthy circuit to start from; changes the time only.
        solve: engine for the network with faults; the reference engine when not given.
    """
    solve = Reference(faulted.circuit.network) if solve is None else solve
    run = _Run(faulted, faulted.positions(positions), fault_of, cut, solve)
    run.begin(start_v)
    run.settle(one_way=False)
    first = run.solution
    begin = run.positions.copy()
    run.settle(one_way=True)
    moved: BoolArray = (begin != run.positions).any(axis=1)
    return FaultStates(fault_of, first, run.positions, run.solution, moved, run.chatter)


class _Run:
    def __init__(
        self,
        faulted: Faulted,
        positions: IntArray,
        fault_of: IntArray,
        cut: BoolArray,
        solve: Solve,
    ) -> None:
        self.faulted, self.circuit, self.solve = faulted, faulted.circuit, solve
        self.positions, self.fault_of = positions.copy(), fault_of
        self.cut = np.flatnonzero(cut)
        self.chatter = np.zeros(len(positions), dtype=np.bool_)
        for d in self.circuit.driven:
            coil = self.circuit.actors[d.actor].moved_by == "coil"
            self.positions[:, d.actor] = d.off_position if coil else d.on_position

    def begin(self, start_v: FloatArray | None) -> None:
        """Solve all states with coils at rest, electronics alive and protection whole."""
        if start_v is not None:  # added nodes start at 0 V
            start_v = np.pad(start_v, (0, self.circuit.network.node_count - len(start_v)))
        self.solution = self.solve(self.curves(slice(None)), start_v)

    def curves(self, rows: slice | IntArray) -> IntArray:
        """Return the curve choices of some states."""
        chosen = self.faulted.curves(self.positions[rows], self.fault_of[rows], TYP)
        chosen[:, self.cut] = self.circuit.off_curve[TYP][self.cut]
        return chosen

    def settle(self, *, one_way: bool) -> None:
        """Move devices until nothing wants to move; fuses and protection only when asked."""
        seen = [{row.tobytes()} for row in self.positions]
        active = np.arange(len(self.positions))
        self.solution = _copied(self.solution)
        for _ in range(MOST_ROUNDS):
            wanted = self.positions[active]
            for d in self.circuit.driven:
                if one_way or not d.one_way:
                    wanted[:, d.actor] = _next(self.circuit, d, wanted[:, d.actor],
                                               self.solution, active)  # fmt: skip
            moving = (wanted != self.positions[active]).any(axis=1)
            active, wanted = active[moving], wanted[moving]
            if not len(active):
                return
            self.positions[active] = wanted
            fresh = np.ones(len(active), dtype=np.bool_)
            for k, (row, state) in enumerate(zip(active, wanted, strict=True)):
                fresh[k] = state.tobytes() not in seen[row]
                seen[row].add(state.tobytes())
            self.chatter[active[~fresh]] = True
            part = self.solve(self.curves(active), self.solution.node_v[active])
            _put(self.solution, active, part)
            active = active[fresh]
        self.chatter[active] = True


def _next(
    circuit: Circuit, d: Driven, now: IntArray, solution: Solution, rows: IntArray
) -> IntArray:
    """Return where a device wants to be; what is not solved asks for no change."""
    if d.sense == "volts":
        value = solution.node_v[rows, d.tail] - solution.node_v[rows, d.head]
    else:
        value = solution.element_a[rows, d.element]
    if d.one_way or circuit.actors[d.actor].moved_by == "coil":
        value = np.abs(value)
    on = now == d.on_position
    if d.one_way:
        stays = on & ~(value > d.off_at.typ)
    else:
        stays = np.where(on, ~(value < d.off_at.typ), value >= d.on_at.typ)
    chosen: IntArray = np.where(stays, d.on_position, d.off_position)
    return chosen


def _copied(solution: Solution) -> Solution:
    return solution.take(np.arange(len(solution.solved)))


def _put(solution: Solution, rows: IntArray, part: Solution) -> None:
    solution.node_v[rows] = part.node_v
    solution.element_a[rows] = part.element_a
    solution.residual_a[rows] = part.residual_a
    solution.solved[rows] = part.solved
    solution.iterations[rows] = part.iterations
