"""From every fault to the procedure: claims, the cheapest cover, steps in order."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ringout.cell.model import Cell
from ringout.checkout.claims import Claims, make_claims
from ringout.checkout.cover import Cover, cheapest_cover
from ringout.checkout.guarantee import Guarantee
from ringout.checkout.kept import NOTHING_KEPT, Held, hold, level_words, looks_kept
from ringout.checkout.limits import limit_words
from ringout.checkout.model import (
    DEAD,
    INPUTS,
    LOAD,
    OHMS,
    PHASES,
    POWER,
    VOLTS,
    Candidate,
    Checkout,
    Kept,
    Step,
    Unexposed,
)
from ringout.checkout.reasons import by_eye, why_harm_first, why_not_exposable
from ringout.checkout.words import (
    do_words,
    glance_words,
    if_not_words,
    state_words,
)
from ringout.circuit.faults import Fault, alike, single_faults
from ringout.circuit.model import BoolArray, IntArray
from ringout.findings.effects import FaultEffects, Laid, effects_of, lay_out
from ringout.findings.looks.places import standing
from ringout.findings.model import NotRun
from ringout.tables.steps import step_seconds

Progress = Callable[[int, int], None]
FED_V = 10.0  # a place with more is fed by a supply


@dataclass(frozen=True, eq=False)
class Classes:
    """Faults by what they do to the circuit: U unlike ones.

    Args:
        members: (U) faults that are electrically the same.
        effects: (U) what they do.
        harm: (U,) they can damage something.
    """

    members: tuple[tuple[Fault, ...], ...]
    effects: tuple[FaultEffects, ...]
    harm: BoolArray

    @property
    def first(self) -> list[Fault]:
        """Return one fault of each class."""
        return [m[0] for m in self.members]


def plan_checkout(
    cell: Cell,
    progress: Progress | None = None,
    *,
    kept: Mapping[str, Kept] = NOTHING_KEPT,
) -> Checkout:
    """Return the cheapest procedure that exposes every fault that can be exposed.

    With power on it also shows every signal and every load once at each of its levels.

    Args:
        cell: the cell.
        progress: called with cases done and in all.
        kept: by key, looks that were done in an earlier revision and found right. Where a look
            has the same limits and exposes nothing that it did not expose then, it stays, at no
            cost; the steps for all other faults are planned at least cost.

    Returns:
        The procedure, with its proof and what it cannot expose.
    """
    begin = time.perf_counter()
    laid = lay_out(cell)
    classes = _classes(laid, progress)
    claims = make_claims(laid, classes.first, progress)
    solved = time.perf_counter()
    guarantee = Guarantee(laid)
    claims = guarantee.widen(claims, looks_kept(laid, claims, kept))
    while True:
        held = hold(laid, claims, classes.members, kept)
        cover = _cover(laid, claims, classes, held)
        sure = guarantee.widen(claims, cover.chosen)
        if sure is claims:
            break
        claims = sure
    planned = time.perf_counter()
    steps = _steps(laid, claims, classes, cover, held)
    spans = (("solving", solved - begin), ("planning", planned - solved))
    unseen = _unseen(laid, steps)
    return _checkout(claims, classes, cover, steps, unseen, spans)


def _classes(laid: Laid, progress: Progress | None) -> Classes:
    members = tuple(tuple(m) for m in alike(single_faults(laid.circuit)).values())
    effects = tuple(effects_of(laid, [m[0] for m in members], progress=progress).rows)
    return Classes(members, effects, np.array([e.harm for e in effects], dtype=np.bool_))


def _group_costs(laid: Laid, states: IntArray) -> np.ndarray:
    """Return (2 S,) seconds to bring the cell into each state: dead, and powered."""
    costs = np.zeros(2 * len(states))
    for number, state in enumerate(states):
        moved = [laid.circuit.actors[a] for a in np.flatnonzero(state != states[0])]
        kinds = [a.moved_by for a in moved if a.moved_by in ("person", "command")]
        costs[2 * number : 2 * number + 2] = sum(step_seconds(k) for k in kinds)
    return costs


def _group_of(candidate: Candidate) -> int:
    return 2 * candidate.state + (candidate.phase != DEAD)


def _cover(laid: Laid, claims: Claims, classes: Classes, held: Held) -> Cover:
    """Return the cheapest looks that expose every fault and show every level.

    What can do harm must be exposed dead wherever that can be.
    """
    if not claims.candidates:
        return Cover((), 0.0, 0.0, True)
    phase = np.array([PHASES.index(c.phase) for c in claims.candidates])
    needs = [
        np.array([k]) for k, c in enumerate(claims.candidates) if c.must and k not in held.looks
    ]
    for fault in range(len(classes.harm)):
        looks = np.flatnonzero(claims.exposes[:, fault])
        if not len(looks):
            continue
        if classes.harm[fault]:  # as early as it can be
            looks = looks[phase[looks] == phase[looks].min()]
        if not held.meets(looks, fault):
            needs.append(looks)
    needs += [looks for looks in _levels(claims) if not held.looks.keys() & set(looks.tolist())]
    return cheapest_cover(
        np.array([c.cost_s for c in claims.candidates]),
        np.array([_group_of(c) for c in claims.candidates]),
        _group_costs(laid, claims.states),
        needs,
    )


def _levels(claims: Claims) -> list[IntArray]:
    """Return for each level of a signal and a load the looks that show it.

    Each must be seen once: a procedure for wiring faults alone may never switch a signal on, and
    says nothing of an input that is set up wrongly or a device that is worn.
    """
    shown: dict[tuple[int, int], list[int]] = {}
    for look, good in enumerate(claims.good):
        for level in good.levels:
            shown.setdefault(level, []).append(look)
    return [np.array(looks) for looks in shown.values()]


def _order(laid: Laid, claims: Claims, look: int) -> tuple[object, ...]:
    """Return the sort key of a look: phase, state by state, place by place.

    Power begins with the voltage of the supplies, then that nothing moves or lights that should
    not, then what is fed, and only then everything else.
    """
    c = claims.candidates[look]
    items = {name: k for k, name in enumerate(laid.circuit.cell.items)}
    kind = (OHMS, INPUTS, LOAD, VOLTS).index(c.kind)
    place: tuple[object, ...] = ()
    if c.a is not None and c.b is not None:
        place = (items[c.a.item], c.a.socket, c.a.pin, items[c.b.item], c.b.socket, c.b.pin)
    if c.phase == POWER:
        fed = c.kind == VOLTS and claims.good[look].low > FED_V
        turn = 0 if c.must else 1 if c.kind == LOAD else 2 if fed else 3
        return (1, turn, kind, *place, c.what)
    row, base = claims.states[c.state], claims.states[0]
    moved = tuple(
        (laid.circuit.actors[column].moved_by == "command", column, int(row[column]))
        for column in np.flatnonzero(row != base).tolist()
    )
    return (PHASES.index(c.phase), moved, kind, *place, c.what)


def _steps(laid: Laid, claims: Claims, classes: Classes, cover: Cover, held: Held) -> list[Step]:
    circuit = laid.circuit
    costs = _group_costs(laid, claims.states)
    caught = np.zeros(len(classes.members), dtype=np.bool_)
    entered: set[int] = set()
    steps = []
    anew = set(cover.chosen)
    looks = sorted({*anew, *held.looks}, key=lambda k: _order(laid, claims, k))
    for look in looks:
        c, good = claims.candidates[look], claims.good[look]
        group, stays = _group_of(c), look not in anew
        seconds = 0.0 if stays else c.cost_s + (0.0 if group in entered else float(costs[group]))
        if not stays:
            entered.add(group)
        exposes = claims.exposes[look]
        fresh = _faults(classes, exposes & ~caught)
        moved = state_words(circuit, claims.states[0], claims.states[c.state])
        levels = level_words(laid, good)
        unit = {OHMS: "ohm", VOLTS: "V"}.get(c.kind, "")
        expect = limit_words(good.low, good.high, c.kind) if unit else glance_words(levels, c.kind)
        glance = c.kind in (INPUTS, LOAD)
        suspects = fresh if fresh or glance else _faults(classes, exposes)
        steps.append(
            Step(
                phase=c.phase,
                kind=c.kind,
                state=standing(circuit, claims.states[c.state]),
                do=do_words(circuit.cell, c, moved),
                expect=expect,
                low=good.low,
                high=good.high,
                unit=unit,
                levels=levels,
                if_not=if_not_words(suspects, c.kind),
                exposes=tuple(fresh),
                catches=len(_faults(classes, exposes)),
                seconds=seconds,
                a=c.a,
                b=c.b,
                what=c.what,
                caught=tuple(_faults(classes, exposes)),
                kept=stays,
            )
        )
        caught |= exposes
    return steps


def _faults(classes: Classes, chosen: BoolArray) -> list[Fault]:
    return [f for k in np.flatnonzero(chosen) for f in classes.members[int(k)]]


def _unseen(laid: Laid, steps: Sequence[Step]) -> tuple[tuple[str, str], ...]:
    """Return the levels of signals that no step shows: (name, word)."""
    seen = {level for s in steps for level in s.levels}
    driven = {s.drives for s in laid.circuit.cell.signals.values() if s.on is None}
    return tuple(
        (w.name, word)
        for w in laid.watched
        if w.kind == "level" or w.name in driven
        for word in (w.words[0], w.words[-1])
        if (w.name, word) not in seen
    )


def _checkout(
    claims: Claims,
    classes: Classes,
    cover: Cover,
    steps: Sequence[Step],
    unseen: tuple[tuple[str, str], ...],
    seconds: tuple[tuple[str, float], ...],
) -> Checkout:
    step_of = {f.id: n for n, s in enumerate(steps, 1) for f in s.exposes}
    dead = {f.id for s in steps if s.phase == DEAD for f in s.exposes}
    hidden, harmful = [], []
    for members, effects in zip(classes.members, classes.effects, strict=True):
        for fault in members:
            if fault.id not in step_of:
                hidden.append(Unexposed(fault, why_not_exposable(fault, effects), 0, by_eye(fault)))
            if effects.harm and fault.id not in dead:
                step = step_of.get(fault.id, 0)
                why = why_harm_first(effects, step)
                harmful.append(Unexposed(fault, why, step, by_eye(fault)))
    lost = (
        (NotRun("solution", f"{claims.lost} states could not be solved and are left out"),)
        if claims.lost
        else ()
    )
    return Checkout(
        steps=tuple(steps),
        faults=sum(len(m) for m in classes.members),
        exposed=len(step_of),
        not_exposable=tuple(hidden),
        harm_before_power=tuple(harmful),
        optimal=cover.optimal,
        bound_s=cover.bound_s,
        cost_s=cover.cost_s,
        solved=claims.solved,
        not_run=lost,
        unseen=unseen,
        seconds=seconds,
    )
