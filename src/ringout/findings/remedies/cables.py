"""Remedies for voltage lost on the way: a thicker or a shorter cable, with its cores renamed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from ringout.cell.catalogue import find_part, part_names
from ringout.cell.edit import with_cable, with_cable_part
from ringout.cell.model import Cell, Join, Signal
from ringout.cell.part import Part
from ringout.circuit.model import Circuit
from ringout.findings.model import Finding
from ringout.findings.remedies.proposal import Proposal
from ringout.findings.remedies.trials import Trials, trial_margins
from ringout.findings.settle import settle_states

SHORTEST_M = 0.5
STEP_M = 0.5
EARTH = "GNYE"  # green-yellow is for protective earth alone, iec-60445
DROP_V = 0.2  # a cable that loses less in both cores together is not worth changing


def propose_cables(trials: Trials, finding: Finding) -> Iterable[Proposal]:
    """Yield thicker and shorter cables for a load that the way to it leaves too little."""
    signal = trials.cell.signals.get(finding.get("signal"))
    if finding.code != "F301" or signal is None:
        return
    result = next(s for s in trials.before.signals if s.name == signal.name)
    if result.on is None or result.on_limit_v is None or result.on.v_typ < 0.5 * result.on_limit_v:
        return  # it gets next to nothing: no copper is to blame
    names = _losing(trials.circuit, signal)
    found = [p for name in names for p in _first_that_works(signal, thicker(trials.cell, name))]
    found += [p for name in names for p in _shorter(trials.cell, signal, name)]
    yield from found or _together(trials.cell, signal, names)


def _losing(circuit: Circuit, signal: Signal) -> list[str]:
    """Return the cables that lose voltage while the output is on, the worst first."""
    element = circuit.index_of[f"{signal.item}.{signal.channel.element}"]
    positions = circuit.rest()
    for slot in range(2):
        column = int(circuit.cond_actor[element, slot])
        if column >= 0 and circuit.actors[column].moved_by == "command":
            mask = int(circuit.cond_mask[element, slot])
            positions[0, column] = next(p for p in range(63) if mask >> p & 1)
    node_v = settle_states(circuit, positions, circuit.curves(positions)).solution.node_v[0]
    lost_v: dict[str, float] = {}
    for e in circuit.elements:
        if e.join is not None and e.join.cable:
            drop_v = float(np.abs(node_v[e.tail] - node_v[e.head]))
            lost_v[e.join.cable] = lost_v.get(e.join.cable, 0.0) + drop_v
    return sorted((c for c, v in lost_v.items() if v > DROP_V), key=lambda c: -lost_v[c])


def thicker(cell: Cell, name: str) -> Iterator[Proposal]:
    """Yield the cell with each thicker type of one cable, the next size first.

    Args:
        cell: the cell.
        name: a cable with cores to land by hand; any other has no thicker type.

    Yields:
        Changes; where the colours differ, the lines of the cores that change are in the edit.
    """
    cable = cell.cables.get(name)
    if cable is None or cable.part.ends is not None:
        return
    old = cable.part
    area = max(c.area_mm2 for c in old.cores)
    choices: list[tuple[float, int, str, Part, dict[str, str]]] = []
    for other in part_names(cell.folder):
        part = find_part(other) if other.startswith(("cable-", "wire-")) else None
        colours = None if part is None or part.ends is not None else _renamed(old, part)
        if part is None or colours is None:
            continue
        size = max(c.area_mm2 for c in part.cores)
        if size > area and min(c.area_mm2 for c in part.cores) > area / 2:
            choices.append((size, len(colours), part.name, part, colours))
    seen: set[float] = set()
    for size, _, _, part, colours in sorted(choices, key=lambda c: c[:3]):
        if size in seen:
            continue  # of two types of one size, the one with the same colours
        seen.add(size)
        told = [(o, n) for o, n in colours.items() if any(_is(j, name, o) for j in cell.joins)]
        more = "; its cores change: " + ", ".join(f"{o} to {n}" for o, n in told) if told else ""
        yield Proposal(
            f"use {part.name} for {name} instead of {old.name}{more}",
            with_cable_part(cell, name, part, colours),
            (
                (f"{name}: {{part: {old.name}", f"{name}: {{part: {part.name}"),
                *((f"{name}:{o}", f"{name}:{n}") for o, n in told),
            ),
        )


def _is(join: Join, cable: str, core: str) -> bool:
    return join.cable == cable and join.core == core


def _renamed(old: Part, new: Part) -> dict[str, str] | None:
    """Return which core takes the place of which, or None where the cables do not match."""
    mine, others = [c.colour for c in old.cores], [c.colour for c in new.cores]
    if len(mine) != len(others) or (EARTH in mine) != (EARTH in others):
        return None
    left = [c for c in others if c not in mine]
    return dict(zip([c for c in mine if c not in others], left, strict=True))


def _first_that_works(signal: Signal, changes: Iterable[Proposal]) -> Iterator[Proposal]:
    for change in changes:
        if _on_margin_v(change.cell, signal) >= 0.0:
            yield Proposal(change.text, change.cell, change.edit, (signal.name,))
            return


def _together(cell: Cell, signal: Signal, names: list[str]) -> Iterator[Proposal]:
    """Yield all of the way thicker, and shorter too where that alone is not enough."""
    most = max((len(list(thicker(cell, name))) for name in names), default=0)
    for size in range(most):
        changes: list[Proposal] = []
        for name in names:
            choices = list(thicker(changes[-1].cell if changes else cell, name))
            changes += choices[size : size + 1] or choices[-1:]
        if _on_margin_v(changes[-1].cell, signal) < 0.0:
            if size + 1 < most:
                continue
            changes += _shorter(changes[-1].cell, signal, names[0])
        yield Proposal(
            "; and ".join(change.text for change in changes),
            changes[-1].cell,
            tuple(pair for change in changes for pair in change.edit),
            (signal.name,),
        )
        return


def _on_margin_v(cell: Cell, signal: Signal) -> float:
    margins = trial_margins(cell, signal.name)
    return -float("inf") if margins is None else margins[0]


def _shorter(cell: Cell, signal: Signal, name: str) -> Iterator[Proposal]:
    """Find the longest cable that still leaves enough; what is lost goes with the length."""
    now_m = cell.cables[name].length_m.high
    now_v = _on_margin_v(cell, signal)
    least_v = _on_margin_v(with_cable(cell, name, length_m=SHORTEST_M), signal)
    if least_v < 0.0 or now_v >= 0.0 or now_m <= SHORTEST_M:
        return
    guess_m = SHORTEST_M + (now_m - SHORTEST_M) * least_v / (least_v - now_v)
    length_m = max(int(guess_m / STEP_M) * STEP_M, SHORTEST_M)
    while length_m > SHORTEST_M:
        if _on_margin_v(with_cable(cell, name, length_m=length_m), signal) >= 0.0:
            break
        length_m = max(int(length_m * 0.9 / STEP_M) * STEP_M, SHORTEST_M)
    old = cell.cables[name].length_m.high
    yield Proposal(
        f"{name} may be {length_m:g} m at most for {signal.drives} to get what it needs",
        with_cable(cell, name, length_m=length_m),
        ((f"length: {old:g} m", f"length: {length_m:g} m"),),
        (signal.name,),
    )
