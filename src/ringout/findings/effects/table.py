"""Faults to effects: each solved in the states it touches and compared with the healthy cell."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ringout.cell.model import Cell
from ringout.circuit.faults import (
    Change,
    Fault,
    Faulted,
    alike,
    both,
    in_groups,
    single_faults,
    with_faults,
)
from ringout.findings.effects.batch import Batch, Laid, lay_out
from ringout.findings.effects.model import (
    Effect,
    FaultEffects,
    FaultTable,
)
from ringout.findings.effects.reasons import why_latent
from ringout.findings.effects.states import States
from ringout.findings.model import NotRun
from ringout.solve import Solve, engine_for, fast_engine, is_worth_it

Progress = Callable[[int, int], None]
FloatArray = NDArray[np.float64]
MOST_ROWS = 4000  # states solved side by side
BATCH_FAULTS = 40  # faults of neighbourhoods that are solved together, at least


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
    shared = None
    if not double:
        groups = _together(groups)
        shared = shared_engine(laid, faults)
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
        made = effects_of(laid, members, shared)
        rows += made.rows
        solved += made.solved
        worst = max(worst, made.worst_residual_a)
        lost += made.lost
        incomplete |= made.incomplete
    if progress is not None:
        progress(len(groups), len(groups))
    left = len(faults) * (len(faults) - 1) // 2 - tried if double else 0
    return FaultTable(tuple(rows), solved, worst, left, excluded, tuple(_not_run(lost, incomplete)))


@dataclass(frozen=True, eq=False)
class Shared:
    """One network for all faults of a large cell, and the fast engine for it.

    Args:
        faulted: the circuit with room for all of them.
        number_of: each kind of fault to its number there.
        solve: its engine.
    """

    faulted: Faulted
    number_of: Mapping[frozenset[Change], int]
    solve: Solve


def shared_engine(laid: Laid, faults: Sequence[Fault]) -> Shared | None:
    """Return one network for all faults if the fast engine is worth it, else None.

    Neighbourhood by neighbourhood the reference engine does with smaller networks.

    Args:
        laid: the cell laid out.
        faults: all that will be asked for.
    """
    kinds = alike(faults)
    unlike = [members[0] for members in kinds.values()]
    cases = 2 * sum(len(laid.reach.states(fault).positions) for fault in unlike)
    if not is_worth_it(laid.circuit.network.element_count, cases):
        return None
    faulted = with_faults(laid.circuit, unlike)
    number_of = {delta: number for number, delta in enumerate(kinds)}
    return Shared(faulted, number_of, fast_engine(faulted.circuit.network))


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


def effects_of(
    laid: Laid,
    faults: Sequence[Fault],
    shared: Shared | None = None,
    progress: Progress | None = None,
) -> Made:
    """Return the effects of faults of one neighbourhood.

    Faults that are electrically the same are solved once.

    Args:
        laid: the cell laid out.
        faults: the faults, best of one neighbourhood.
        shared: network and engine for these and other faults; their own when not given.
        progress: called with unlike faults done and in all.
    """
    kinds = alike(faults)
    unlike = [members[0] for members in kinds.values()]
    number_of_kind = {delta: n for n, delta in enumerate(kinds)}
    number_of = [number_of_kind[fault.delta] for fault in faults]
    states = [laid.reach.states(f) for f in unlike]
    if shared is None:
        faulted = with_faults(laid.circuit, unlike)
        cases = 2 * sum(len(s.positions) for s in states)
        solve = engine_for(faulted.circuit.network, cases)
    else:
        own = [shared.number_of[delta] for delta in kinds]
        faulted, solve = shared.faulted.only(unlike, own), shared.solve
    told: list[tuple[tuple[Effect, ...], float, int]] = []
    solved, worst, lost = 0, 0.0, 0
    for first, last in _portions(states):
        if progress is not None:
            progress(first, len(unlike))
        batch = Batch(laid, faulted, solve, states, (first, last))
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
