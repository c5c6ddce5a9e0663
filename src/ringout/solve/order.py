"""Order of elimination, compiled once for a topology, and star-mesh elimination in batches.

Eliminating a node replaces its star of conductances by the equivalent mesh between its
neighbours. Each diagonal is the sum of what still hangs on its node, so conductances are only
ever added, multiplied and divided: nothing cancels, whatever the spread of values, and no
pivoting is needed. Nodes that do not touch each other are eliminated together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Level:
    """Nodes eliminated together, M of them with J neighbour entries; slots as in `Plan`.

    Args:
        node: (M,) nodes; those that still have neighbours come first.
        start: (M',) first entry of each node that has neighbours.
        slot: (J,) slot of each entry's conductance, grouped by node.
        owner: (J,) place of the entry's node in `node`.
        neighbour: (J,) node at the far side.
        by_neighbour: (J,) entries ordered by neighbour.
        touched: (T,) the neighbours, each once.
        touched_start: (T,) first of their entries in `by_neighbour`.
        first: (P,) entry of the first leg of each mesh conductance, grouped by slot.
        second: (P,) entry of its second leg.
        mesh_slot: (Q,) slots the mesh conductances are added to, each once.
        mesh_start: (Q,) first of their legs.
    """

    node: IntArray
    start: IntArray
    slot: IntArray
    owner: IntArray
    neighbour: IntArray
    by_neighbour: IntArray
    touched: IntArray
    touched_start: IntArray
    first: IntArray
    second: IntArray
    mesh_slot: IntArray
    mesh_start: IntArray


@dataclass(frozen=True, eq=False)
class Plan:
    """Compiled elimination of a network with N nodes and E elements.

    Slot n < N is the conductance from node n to PE; slot 0 collects what does not matter.
    Slots from N on belong to pairs of nodes, those of the network first.

    Args:
        node_count: N.
        slot_count: number of slots with all fill.
        slot_of: (E,) slot of each element.
        by_slot: (E,) elements ordered by slot.
        slot: (U,) slots that hold elements, each once.
        slot_start: (U,) first of their elements in `by_slot`.
        by_node: (2E,) row of the stack [currents, -currents], ordered by the node it leaves.
        node: (V,) nodes that have elements, each once.
        node_start: (V,) first of their rows in `by_node`.
        levels: the elimination.
    """

    node_count: int
    slot_count: int
    slot_of: IntArray
    by_slot: IntArray
    slot: IntArray
    slot_start: IntArray
    by_node: IntArray
    node: IntArray
    node_start: IntArray
    levels: tuple[Level, ...]


@dataclass(frozen=True, eq=False)
class Factor:
    """An eliminated batch of S conductance matrices, ready for right-hand sides.

    Args:
        plan: the order it was made in.
        diagonal: per level (M, S) sum of conductances at each node when it was eliminated.
        share: per level (J, S) part of a node's current that goes to each neighbour.
    """

    plan: Plan
    diagonal: tuple[FloatArray, ...]
    share: tuple[FloatArray, ...]

    def take(self, columns: IntArray) -> Factor:
        """Return the factor of some of the cases."""
        return Factor(
            self.plan,
            tuple(d[:, columns] for d in self.diagonal),
            tuple(s[:, columns] for s in self.share),
        )


def _group(keys: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Return the order that groups equal keys, the keys once each, and where they start."""
    order = np.argsort(keys, kind="stable")
    unique, start = np.unique(keys[order], return_index=True)
    return order, unique, start


@dataclass(frozen=True, eq=False)
class Sums:
    """Rows to be added up in groups.

    Args:
        order: rows ordered by group.
        group: the groups, each once.
        start: first of their rows in `order`.
    """

    order: IntArray
    group: IntArray
    start: IntArray

    @staticmethod
    def of(keys: IntArray) -> Sums:
        """Return the sums of rows that have the same key."""
        return Sums(*_group(keys))

    def add(self, rows: FloatArray, out: FloatArray) -> None:
        """Add the sum of each group to its row of `out`."""
        if len(self.group):
            out[self.group] += _summed(rows[self.order], self.start)


def compile_plan(node_count: int, tail: IntArray, head: IntArray) -> Plan:
    """Compile the elimination order of a topology.

    Minimum degree, several independent nodes at a time.

    Args:
        node_count: N, with node 0 the reference.
        tail: (E,) node indices.
        head: (E,) node indices.

    Returns:
        The plan; it serves every choice of curves.
    """
    slots: dict[tuple[int, int], int] = {}
    near: list[dict[int, int]] = [{} for _ in range(node_count)]

    def slot_between(a: int, b: int) -> int:
        key = (a, b) if a < b else (b, a)
        slot = slots.get(key)
        if slot is None:
            slot = slots[key] = node_count + len(slots)
            near[a][b] = near[b][a] = slot
        return slot

    row = np.zeros(len(tail), dtype=np.int64)
    for e, (a, b) in enumerate(zip(tail.tolist(), head.tolist(), strict=True)):
        if a == b:
            continue
        row[e] = max(a, b) if 0 in (a, b) else slot_between(a, b)
    by_slot, slot, slot_start = _group(row)
    by_node, node, node_start = _group(np.concatenate([tail, head]))
    levels = []
    left = set(range(1, node_count))
    while left:
        chosen = _choose(left, near)
        levels.append(_level(chosen, near, slot_between))
        left.difference_update(chosen)
    count = node_count + len(slots)
    return Plan(
        node_count, count, row, by_slot, slot, slot_start, by_node, node, node_start, tuple(levels)
    )


def _choose(left: set[int], near: list[dict[int, int]]) -> list[int]:
    """Return nodes of least degree that do not touch each other."""
    ordered = sorted(left, key=lambda n: (len(near[n]), n))
    bound = max(2, len(near[ordered[0]]))
    chosen: list[int] = []
    beside: set[int] = set()
    for n in ordered:
        if len(near[n]) > bound:
            break
        if n not in beside:
            chosen.append(n)
            beside.update(near[n])
    chosen.sort(key=lambda n: (not near[n], n))
    return chosen


def _level(
    chosen: list[int], near: list[dict[int, int]], slot_between: Callable[[int, int], int]
) -> Level:
    start: list[int] = []
    slot: list[int] = []
    owner: list[int] = []
    neighbour: list[int] = []
    first: list[int] = []
    second: list[int] = []
    target: list[int] = []
    for place, n in enumerate(chosen):
        base = len(slot)
        if near[n]:
            start.append(base)
        ends = list(near[n].items())
        for other, s in ends:
            slot.append(s)
            owner.append(place)
            neighbour.append(other)
        for other, _ in ends:
            del near[other][n]
        near[n] = {}
        for i, (a, _) in enumerate(ends):
            for j in range(i + 1, len(ends)):
                target.append(slot_between(a, ends[j][0]))
                first.append(base + i)
                second.append(base + j)

    def array(values: list[int]) -> IntArray:
        return np.array(values, dtype=np.int64)

    by_neighbour, touched, touched_start = _group(array(neighbour))
    by_mesh, mesh_slot, mesh_start = _group(array(target))
    return Level(
        array(chosen),
        array(start),
        array(slot),
        array(owner),
        array(neighbour),
        by_neighbour,
        touched,
        touched_start,
        array(first)[by_mesh],
        array(second)[by_mesh],
        mesh_slot,
        mesh_start,
    )


def _summed(rows: FloatArray, start: IntArray) -> FloatArray:
    """Return sums of groups of rows; nothing is copied when each group is one row."""
    return rows if len(start) == len(rows) else np.add.reduceat(rows, start, axis=0)


def assemble(plan: Plan, slope_s: FloatArray, leak_s: float) -> FloatArray:
    """Return (slots, S) conductances from (E, S) element slopes and a leak at every node."""
    conductance = np.zeros((plan.slot_count, slope_s.shape[1]))
    if len(plan.slot):
        conductance[plan.slot] = _summed(slope_s[plan.by_slot], plan.slot_start)
    conductance[1 : plan.node_count] += leak_s
    return conductance


def leaving(plan: Plan, current_a: FloatArray) -> FloatArray:
    """Return (N, S) current that leaves each node through its elements, from (E, S) currents."""
    out = np.zeros((plan.node_count, current_a.shape[1]))
    if len(plan.node):
        both = np.concatenate([current_a, -current_a])
        out[plan.node] = _summed(both[plan.by_node], plan.node_start)
    return out


def factorise(plan: Plan, conductance: FloatArray) -> Factor:
    """Eliminate all nodes of a batch.

    Args:
        plan: order of elimination.
        conductance: (slots, S), positive to PE at every node; it is used up.

    Returns:
        The factor, for `solve`.
    """
    g = conductance
    diagonals, shares = [], []
    for level in plan.levels:
        ground = g[level.node]
        legs = g[level.slot]
        diagonal = ground.copy()
        if len(level.start):
            diagonal[: len(level.start)] += _summed(legs, level.start)
        share = legs / diagonal[level.owner]
        if len(level.first):
            mesh = share[level.first] * legs[level.second]
            g[level.mesh_slot] += _summed(mesh, level.mesh_start)
        if len(level.touched):
            to_ground = (share * ground[level.owner])[level.by_neighbour]
            g[level.touched] += _summed(to_ground, level.touched_start)
        diagonals.append(diagonal)
        shares.append(share)
    return Factor(plan, tuple(diagonals), tuple(shares))


def solve(factor: Factor, injected_a: FloatArray) -> FloatArray:
    """Return (N, S) node voltages for (N, S) injected currents; row 0 is 0 V."""
    plan = factor.plan
    r = injected_a.copy()
    for level, share in zip(plan.levels, factor.share, strict=True):
        if len(level.touched):
            moved = (share * r[level.node[level.owner]])[level.by_neighbour]
            r[level.touched] += _summed(moved, level.touched_start)
    r[0] = 0.0
    for level, diagonal, share in zip(
        reversed(plan.levels), reversed(factor.diagonal), reversed(factor.share), strict=True
    ):
        x = r[level.node] / diagonal
        if len(level.start):
            x[: len(level.start)] += _summed(share * r[level.neighbour], level.start)
        r[level.node] = x
    return r
