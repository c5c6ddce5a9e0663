"""Every local state of the cell solved at typical values; what shorts or overloads is set apart."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ringout.circuit.model import HIGH, LOW, TYP, BoolArray, Circuit, IntArray
from ringout.findings.clusters import Partition, local_states, partition, reached
from ringout.findings.settle import SettledStates, settle_states

ROUNDING = 0.005  # "up to 50 mA" includes 50 mA and what rounding adds
LOADS = frozenset({"load", "lamp", "coil", "leak", "resistance"})
NEAR_LIMIT = 0.98  # a limiting element this close to its limit is limiting


@dataclass(frozen=True, slots=True)
class Overcurrent:
    """One element over what it may carry in one local state.

    Args:
        cluster: cluster whose state causes it; -1 when it is there in every state.
        row: row of the survey's states.
        element: element index.
        amps: its current.
        limit_a: what it may carry.
        limiting: the element limits or opens (supply, protection, output), so it is a short
            or gross overload rather than a rating passed.
        path: elements the current flows through, around the loop in order.
        short: nothing on the path is a load.
    """

    cluster: int
    row: int
    element: int
    amps: float
    limit_a: float
    limiting: bool
    path: tuple[int, ...]
    short: bool


@dataclass(frozen=True)
class Survey:
    """All local states, solved.

    Args:
        part: rails and clusters.
        cluster_of_row: (S,) the cluster whose state each row is; -1 for the row at rest.
        positions: (S, A) settled positions.
        states: settled typical solutions, other clusters idle.
        allowed: (S,) False where the state shorts or overloads something.
        overcurrents: what was over its limit, first row first.
        complete: (clusters,) False where not every combination was taken.
        can_on: (E,) element conducts in some allowed state.
        can_off: (E,) element is idle in some allowed state.
        base: (1, A) an allowed state of every cluster at once, as near to rest as possible.
        cut: (E,) True for conductors opened for judging because every state shorts.
    """

    part: Partition
    cluster_of_row: IntArray
    positions: IntArray
    states: SettledStates
    allowed: BoolArray
    overcurrents: tuple[Overcurrent, ...]
    complete: BoolArray
    can_on: BoolArray
    can_off: BoolArray
    base: IntArray
    cut: BoolArray

    def rows_of(self, cluster: int) -> list[int]:
        """Return the rows that are states of a cluster."""
        return np.flatnonzero(self.cluster_of_row == cluster).tolist()


def survey(circuit: Circuit) -> Survey:
    """Solve all local states and find the harmful ones.

    Each cluster's states are solved with all other clusters idle, so that a short is
    blamed on the switch that makes it.
    """
    part = partition(circuit)
    rows: list[IntArray] = [circuit.rest()]
    owner: list[int] = [-1]
    complete = np.ones(len(part.clusters), dtype=np.bool_)
    for cluster in part.clusters:
        states, complete[cluster.number] = local_states(circuit, cluster.actors)
        rows.append(states)
        owner += [cluster.number] * states.shape[0]
    positions = np.concatenate(rows)
    cluster_of_row = np.array(owner, dtype=np.int64)
    cut = np.zeros(len(circuit.elements), dtype=np.bool_)
    curve_of = _idle_elsewhere(circuit, part, positions, cluster_of_row)
    settled = settle_states(circuit, positions, curve_of)
    found = find_overcurrents(circuit, settled, cluster_of_row)
    everywhere = {o.element for o in found if o.row == 0 and o.limiting}
    found = [
        replace(o, cluster=-1) if o.element in everywhere else o
        for o in found
        if o.row == 0 or o.element not in everywhere
    ]
    shorts = [o for o in found if o.row == 0 and o.short]
    if shorts:
        cut = _cut_path(circuit, shorts[0])
        open_curve = circuit.off_curve[TYP]
        curve_of = np.where(cut[None, :], open_curve[None, :], curve_of)
        settled = settle_states(circuit, positions, curve_of)
        again = find_overcurrents(circuit, settled, cluster_of_row)
        found += [o for o in again if o.row > 0]
    allowed = np.ones(len(positions), dtype=np.bool_)
    for over in found:
        if over.cluster >= 0:
            allowed[over.row] = False
    allowed &= ~settled.chatter
    base, can_on, can_off = _choose_base(circuit, part, settled, cluster_of_row, allowed)
    return Survey(
        part,
        cluster_of_row,
        settled.positions,
        settled,
        allowed,
        tuple(found),
        complete,
        can_on,
        can_off,
        base,
        cut,
    )


def _idle_elsewhere(
    circuit: Circuit, part: Partition, positions: IntArray, owner: IntArray
) -> IntArray:
    """Return curves with every conditional element of other clusters idle.

    A contact that feeds a rail at rest is left closed: what an emergency stop feeds is alive
    unless the state is about the stop. One from pole to pole feeds nothing.
    """
    curves = circuit.curves(positions, TYP)
    moved = np.array(
        [
            any(
                circuit.actors[a].moved_by in ("person", "command", "coil")
                for a in circuit.cond_actor[e]
                if a >= 0
            )
            for e in range(len(circuit.elements))
        ],
        dtype=np.bool_,
    )
    sources = [e for e in circuit.elements if e.kind == "source"]
    poles = reached(circuit, [0, *(n for e in sources for n in (e.tail, e.head))])
    feeds = np.array(
        [
            e.kind == "contact"
            and bool(part.rail[[e.tail, e.head]].all())
            and not {e.tail, e.head} <= poles
            for e in circuit.elements
        ],
        dtype=np.bool_,
    )
    moved &= ~(feeds & circuit.conducts(circuit.rest())[0])
    elsewhere = part.cluster_of_element[None, :] != owner[:, None]
    return np.where(elsewhere & moved[None, :], circuit.off_curve[TYP][None, :], curves)


def limit_of(circuit: Circuit, element: int) -> tuple[float, bool] | None:
    """Return the current an element may carry and whether it limits or opens there."""
    spec = circuit.elements[element].spec
    if spec is None:
        return None
    v = spec.values
    if spec.kind == "source":
        return (v["limit"].typ, True) if "limit" in v else None
    if spec.kind == "protection":
        return v["set"].typ, True
    if spec.kind in ("fuse", "breaker"):
        return v["rated"].typ, True
    if spec.kind == "drop" and "limit" in v and "max" not in v:
        return v["limit"].typ * NEAR_LIMIT, True
    if "max" in v:
        return v["max"].typ, spec.kind == "drop"
    return None


def find_overcurrents(
    circuit: Circuit, settled: SettledStates, owner: IntArray
) -> list[Overcurrent]:
    """Return every element over its limit in every row, limiting ones first in each row."""
    found: list[Overcurrent] = []
    amps = np.abs(settled.solution.element_a)
    for element in range(len(circuit.elements)):
        limit = limit_of(circuit, element)
        if limit is None:
            continue
        value, limiting = limit
        source = circuit.elements[element].kind == "source"
        threshold = value * (NEAR_LIMIT if source else 1.0 + ROUNDING)
        for row in np.flatnonzero(amps[:, element] > threshold).tolist():
            path = tuple(current_path(circuit, settled.solution.element_a[row], element))
            short = limiting and not any(circuit.elements[e].kind in LOADS for e in path)
            found.append(
                Overcurrent(
                    int(owner[row]),
                    row,
                    element,
                    float(amps[row, element]),
                    value,
                    limiting,
                    path,
                    short,
                )
            )
    found.sort(key=lambda o: (o.row, not o.limiting, -o.amps / o.limit_a))
    return found


def current_path(circuit: Circuit, solution_a: np.ndarray, element: int) -> list[int]:
    """Return the elements the current of `element` flows through, around the loop in order.

    Args:
        circuit: compiled cell.
        solution_a: (E,) element currents of one state.
        element: where to begin.

    Returns:
        Element indices from `element` on, each carrying the largest share of the current
        that leaves the previous node.
    """
    starts: dict[int, list[tuple[float, int, int]]] = {}
    for e, item in enumerate(circuit.elements):
        current = float(solution_a[e])
        if abs(current) < 1e-6:
            continue
        tail, head = (item.tail, item.head) if current > 0 else (item.head, item.tail)
        starts.setdefault(tail, []).append((abs(current), e, head))
    first = circuit.elements[element]
    node = first.head if solution_a[element] > 0 else first.tail
    begin = first.tail if solution_a[element] > 0 else first.head
    path = [element]
    seen = {node}
    while node != begin:
        out = [s for s in starts.get(node, ()) if s[1] not in path]
        if not out:
            break
        _, e, node = max(out)
        path.append(e)
        if node in seen:
            break
        seen.add(node)
    return path


def _cut_path(circuit: Circuit, over: Overcurrent) -> BoolArray:
    """Open the conductor that closes a short which no switch can open."""
    path = list(over.path)
    cut = np.zeros(len(circuit.elements), dtype=np.bool_)
    joins = [e for e in path if circuit.elements[e].join is not None]
    if joins:
        # the last conductor a person landed is the one that closed the loop
        cut[max(joins, key=lambda e: circuit.elements[e].span.line)] = True
    else:
        cut[path[-1]] = True
    return cut


def _choose_base(
    circuit: Circuit,
    part: Partition,
    settled: SettledStates,
    owner: IntArray,
    allowed: BoolArray,
) -> tuple[IntArray, BoolArray, BoolArray]:
    base = settled.positions[:1].copy()
    conducts = circuit.conducts(settled.positions)
    can_on, can_off = conducts[0].copy(), ~conducts[0]
    for cluster in part.clusters:
        rows = np.flatnonzero((owner == cluster.number) & allowed)
        if not rows.size:
            rows = np.flatnonzero(owner == cluster.number)[:1]
        columns = [*cluster.actors, *cluster.driven]
        base[0, columns] = settled.positions[rows[0]][columns]
        elements = list(cluster.elements)
        mine = conducts[rows][:, elements]
        can_on[elements] = mine.any(axis=0)
        can_off[elements] = (~mine).any(axis=0)
    return base, can_on, can_off


def corner_curves(circuit: Circuit, found: Survey) -> tuple[IntArray, IntArray, IntArray]:
    """Return background curves (E,) low, typical and high over all allowed states."""
    both = found.can_on & found.can_off
    low = np.where(found.can_on, circuit.on_curve[LOW], circuit.off_curve[LOW])
    high = np.where(found.can_on, circuit.on_curve[HIGH], circuit.off_curve[HIGH])
    low = np.where(both, circuit.either_curve[0], low)
    high = np.where(both, circuit.either_curve[1], high)
    typ = circuit.curves(found.base, TYP)[0]
    for curves in (low, typ, high):
        curves[found.cut] = circuit.off_curve[TYP][found.cut]
    return low, typ, high
