"""A cell solved in one state for a drawing, with or without a fault put in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ringout.cell.model import Signal
from ringout.circuit.faults import HEALTHY, Fault, with_faults
from ringout.circuit.model import Circuit, IntArray
from ringout.findings.effects.settled import settle_faults
from ringout.findings.survey import survey


@dataclass(frozen=True)
class Solved:
    """A circuit solved in one state, with or without a fault.

    Args:
        circuit: compiled cell, with the fault's elements.
        positions: (A,) settled positions.
        conducts: (E,) conditions of each element hold.
        node_v: (N,) volts above PE; NaN where not solved.
        element_a: (E,) amperes from tail to head.
        broken: elements the fault opens.
        cautions: what must be known.
        opened: protections that open in this state.
        fault: the fault in words.
    """

    circuit: Circuit
    positions: IntArray
    conducts: Sequence[bool]
    node_v: Sequence[float]
    element_a: Sequence[float]
    broken: frozenset[int]
    cautions: tuple[str, ...]
    opened: tuple[str, ...]
    fault: str


def solve_state(circuit: Circuit, state: Mapping[str, str], fault: Fault | None = None) -> Solved:
    """Solve a cell in one state, before any protection opens.

    Args:
        circuit: compiled cell.
        state: actor to position; all else at rest.
        fault: a fault of this circuit to put in.
    """
    faulted = with_faults(circuit, [fault] if fault is not None else [])
    which = np.array([0 if fault is not None else HEALTHY], dtype=np.int64)
    cut = np.zeros(len(circuit.elements), dtype=np.bool_)
    states = settle_faults(faulted, circuit.positions([dict(state)]), which, cut)
    full = faulted.circuit
    conducts = full.conducts(states.positions)[0]
    cautions = []
    opened: list[str] = []
    if not bool(states.first.solved[0]):
        cautions.append("This state could not be solved: no figure of it can be trusted.")
    if bool(states.chatter[0]):
        cautions.append("Something switches on and off without end in this state.")
    if bool(states.opened[0]):
        opened = [
            full.elements[d.element].name
            for d in full.driven
            if d.one_way and int(states.positions[0, d.actor]) == d.off_position
        ]
        conducts = conducts.copy()
        for d in full.driven:
            if d.one_way:
                conducts[d.element] = True
        cautions.append(
            f"{', '.join(opened)} opens in this state; currents and volts are those just before."
        )
    broken = frozenset(
        full.index_of[c.element]
        for c in (fault.changes if fault is not None else ())
        if c.element in circuit.index_of and c.on.typ.is_linear and c.on.typ.slope_s[0] < 1e-6
    )
    return Solved(
        full,
        states.positions[0],
        conducts.tolist(),
        states.first.node_v[0].tolist(),
        states.first.element_a[0].tolist(),
        broken,
        tuple(cautions),
        tuple(opened),
        fault.text if fault is not None else "",
    )


def on_state(circuit: Circuit, signal: Signal) -> dict[str, str]:
    """Return a state in which the signal should be on, with as little moved as the file allows."""
    if signal.on is None:
        element = circuit.index_of[f"{signal.item}.{signal.channel.element}"]
        column = int(circuit.cond_actor[element, 0])
        spec = circuit.elements[element].spec
        if column < 0 or spec is None or not spec.when:
            return {}
        return {circuit.actors[column].name: spec.when[0]}
    actors = {p.actor for p in signal.on.leaves()}
    coils = [n for n in actors if circuit.actors[circuit.actor_index[n]].moved_by == "coil"]
    if coils:
        return _through_coils(circuit, signal, coils)
    choices = [circuit.actors[circuit.actor_index[a]] for a in sorted(actors)]
    rest = {a.name: a.positions[0] for a in choices}
    if signal.on.holds(rest):
        return {}
    single = [{a.name: p} for a in choices for p in a.positions[1:]]
    double = [{**x, **y} for x in single for y in single if x.keys() != y.keys()]
    last = {p.actor: p.position for p in signal.on.leaves()}
    return next((s for s in [*single, *double] if signal.on.holds({**rest, **s})), last)


def _through_coils(circuit: Circuit, signal: Signal, coils: Sequence[str]) -> dict[str, str]:
    """Return a state for a signal that waits for relays: what works them is on where it must be.

    A relay follows its coil, so the outputs that work it are switched instead.
    """
    assert signal.on is not None
    wanted = {p.actor: p.position for p in signal.on.leaves()}
    state = {a: p for a, p in wanted.items() if a not in coils}
    for name in coils:
        actor = circuit.actors[circuit.actor_index[name]]
        if wanted[name] == actor.positions[0]:
            continue
        for other in circuit.cell.signals.values():
            if other.on is None and other.drives.partition(".")[0] == actor.item:
                state |= on_state(circuit, other)
    return state


def elsewhere(
    circuit: Circuit, elements: Iterable[int], drawn: Mapping[str, str]
) -> dict[str, str]:
    """Return what must stand otherwise than at rest, elsewhere, so that nothing opens there.

    Args:
        circuit: compiled cell.
        elements: elements of the drawing; what acts on them is not moved.
        drawn: the state drawn.

    Returns:
        Actor to position; empty when the short is in the drawing itself or cannot be avoided.
    """
    found = survey(circuit)
    differs = {
        actor.name: actor.positions[int(found.base[0, column])]
        for column, actor in enumerate(circuit.actors)
        if actor.moved_by in ("person", "command") and int(found.base[0, column])
    }
    own = {
        circuit.actors[int(column)].name
        for e in elements
        if e < len(circuit.elements)
        for column in circuit.cond_actor[e]
        if column >= 0
    }
    return {} if own & differs.keys() else {a: p for a, p in differs.items() if a not in drawn}


def with_caution(solved: Solved, opened: Sequence[str], other: Mapping[str, str]) -> Solved:
    """Return a solved state with a word on what stands otherwise than at rest."""
    stands = " and ".join(f"{a} {p}" for a, p in other.items())
    text = f"Taken with {stands}: with all else at rest {', '.join(opened)} opens."
    return replace(solved, cautions=(text, *solved.cautions))
