"""Campaigns: very many cases near a few base states, each solved where it changes something."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.network import Network
from ringout.solve.campaign import hard, lanes, local, messages, reach
from ringout.solve.campaign.bags import compile_tree
from ringout.solve.campaign.lanes import HARD, LOCAL, REFERENCE, UNSOLVED
from ringout.solve.campaign.run import run_all
from ringout.solve.newton import LEAK_S, plan_of, solve_cases

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
Change = tuple[int, int]
Progress = Callable[[int, int], None]

MOST_LIMITS = 63
_STRIDE = 64  # neighbourhoods between two calls of a progress function
_REFERENCE_CHUNK = 256


@dataclass(frozen=True, slots=True)
class Neighbourhood:
    """Cases that touch the same few elements: every fault in every state.

    A change is (element, curve). Where a fault and a state change the same element, the fault
    has the say.

    Args:
        faults: F lists of changes; an empty list is the sound circuit.
        states: Z lists of changes that all faults are combined with.
        volts: pairs of nodes whose voltage is wanted in each case.
        amps: elements whose current is wanted, after the voltages.
        limits: up to 63 (node, node, volts): decisions, true when the voltage is larger.
    """

    faults: Sequence[Sequence[Change]]
    states: Sequence[Sequence[Change]] = ((),)
    volts: Sequence[tuple[int, int]] = ()
    amps: Sequence[int] = ()
    limits: Sequence[tuple[int, int, float]] = ()


@dataclass(frozen=True, eq=False)
class Result:
    """S solved cases, neighbourhood by neighbourhood, fault by fault, state by state.

    Args:
        case_first: (H + 1,) first case of each neighbourhood.
        value_first: (H + 1,) where the readings of each neighbourhood start in `value`.
        value: all readings in volts and amperes, those of one case together.
        decision: (S,) bit d is set when limit d is exceeded.
        certificate: (S,) `LOCAL`: no element outside the neighbourhood leaves its piece;
            `HARD`: some do, and were followed; `REFERENCE`: left to the reference engine;
            `UNSOLVED`: not even that, readings are NaN.
        residual_a: (S,) worst imbalance of currents at a node of the neighbourhood, for
            `REFERENCE` at any node.
    """

    case_first: IntArray
    value_first: IntArray
    value: FloatArray
    decision: IntArray
    certificate: NDArray[np.uint8]
    residual_a: FloatArray

    def readings(self, neighbourhood: int) -> FloatArray:
        """Return (cases, readings) of one neighbourhood."""
        first, end = self.value_first[neighbourhood : neighbourhood + 2]
        cases = int(np.diff(self.case_first[neighbourhood : neighbourhood + 2])[0])
        return self.value[first:end].reshape(cases, -1)


class _Base:
    """One base state, solved beyond a double."""

    def __init__(self, campaign: Campaign, curve_of: IntArray) -> None:
        network, tree = campaign.network, campaign.tree
        self.curve_of = curve_of
        solution = solve_cases(network, curve_of[None, :])
        if not bool(solution.solved[0]):
            raise ValueError("a base state could not be solved")
        self.node_v = solution.node_v[0].copy()
        self.rest_v = np.zeros(network.node_count)
        table = campaign.table
        self.bent = (table.count[curve_of] > 0).astype(np.int64)
        self.messages = messages.empty_messages(tree)
        self.piece: IntArray | None = None
        for _ in range(3):
            self._note(campaign)
            messages.make_all(tree, self.base, self.lines, self.messages, campaign.scratch)
            move = np.zeros(network.node_count)
            messages.move_all(tree, self.messages, move)
            self.rest_v += move
        self._note(campaign)
        messages.make_all(tree, self.base, self.lines, self.messages, campaign.scratch)
        self.reach = reach.empty_reach(tree)
        w = max(tree.widest, 1)
        reach.reach_all(
            tree,
            self.base,
            self.lines,
            self.messages,
            self.reach,
            np.zeros((w, w)),
            np.zeros((w, 2)),
        )

    def _note(self, campaign: Campaign) -> None:
        """Note voltages and currents, and what the currents leave over at the nodes."""
        network, table, c = campaign.network, campaign.table, self.curve_of
        tail, head = network.tail, network.head
        across = self.node_v[tail] - self.node_v[head]
        across += self.rest_v[tail] - self.rest_v[head]
        piece = self.piece
        if piece is None:
            # a base on a corner stays on the piece it is first found on
            piece = np.zeros(len(c), dtype=np.int64)
            for b in range(table.break_v.shape[1]):
                piece += across > table.break_v[c, b]
            self.piece = piece
        slope = table.slope_s[c, piece]
        current = slope * across + table.intercept_a[c, piece]
        rest = np.zeros(network.node_count, dtype=np.longdouble)
        np.add.at(rest, tail, -current.astype(np.longdouble))
        np.add.at(rest, head, current.astype(np.longdouble))
        rest -= np.longdouble(LEAK_S) * self.node_v
        rest -= np.longdouble(LEAK_S) * self.rest_v
        rest[0] = 0.0
        padded = np.concatenate([table.break_v, np.full((len(table.count), 1), np.inf)], axis=1)
        high = padded[c, piece]
        low = np.where(piece > 0, padded[c, np.maximum(piece - 1, 0)], -np.inf)
        self.base = messages.Base(across, current, rest.astype(np.float64), self.bent, LEAK_S)
        self.lines = messages.Lines(slope, np.zeros(len(c)), low, high, c)


class Campaign:
    """Solves many cases near one or more base states of a network.

    Args:
        network: N nodes, E elements.
        base_curve_of: (B, E) curve numbers of the base states.

    Raises:
        ValueError: a base state could not be solved, or the curves are not (B, E).
    """

    def __init__(self, network: Network, base_curve_of: IntArray) -> None:
        curves = np.asarray(base_curve_of, dtype=np.int64)
        if curves.ndim != 2 or curves.shape[1] != network.element_count:
            raise ValueError(f"base_curve_of must be (B, {network.element_count})")
        self.network = network
        self.tree = compile_tree(network, plan_of(network))
        table = network.curves
        self.table = lanes.Table(
            np.array(table.break_v),
            np.array(table.slope_s),
            np.array(table.intercept_a),
            np.array(table.count),
        )
        self.tail, self.head = np.array(network.tail), np.array(network.head)
        self.scratch = messages.scratch_of(self.tree)
        self.bases = [_Base(self, row.copy()) for row in curves]

    def run(
        self,
        neighbourhoods: Sequence[Neighbourhood],
        base: int = 0,
        progress: Progress | None = None,
    ) -> Result:
        """Solve all cases of some neighbourhoods against one base state.

        Args:
            neighbourhoods: H of them; cases are enumerated in the kernel.
            base: row of the base state.
            progress: called now and then with cases done and cases in all.

        Returns:
            The result; nothing raises when a case cannot be solved, it is marked.
        """
        return self.compile(neighbourhoods, base).run(progress)

    def compile(self, neighbourhoods: Sequence[Neighbourhood], base: int = 0) -> Compiled:
        """Return neighbourhoods made ready for one base state, to be run once or more often."""
        return Compiled(self, neighbourhoods, self.bases[base])


class Compiled:
    """Neighbourhoods made ready: `run` solves them, `rebuild` gives all of one case."""

    def __init__(
        self, campaign: Campaign, neighbourhoods: Sequence[Neighbourhood], base: _Base
    ) -> None:
        self.campaign, self.base, self.neighbourhoods = campaign, base, neighbourhoods
        tree, network = campaign.tree, campaign.network
        mark = np.zeros(len(tree.parent), dtype=np.int64)
        place = np.full(network.node_count, -1, dtype=np.int64)
        changing = np.zeros(network.element_count, dtype=np.int64)
        self.locals = []
        for area in neighbourhoods:
            elements = sorted(
                {e for part in (area.faults, area.states) for item in part for e, _ in item}
            )
            changing[elements] = 1
            wanted = _wanted(tree, area, elements)
            self.locals.append(
                local.Local(
                    *local.compile_local(
                        tree, campaign.tail, campaign.head, base.bent, changing, wanted, mark, place
                    )
                )
            )
            changing[elements] = 0
        self.pack = local.pack_of(self.locals)
        self.cases = _cases(neighbourhoods, self.locals, network.tail, network.head)
        nodes = int(np.diff(self.pack.node_first).max(initial=0))
        pairs = int(np.diff(self.pack.pair_first).max(initial=0))
        moving = max((len(part.moving) for part in self.locals), default=0)
        self.fixed = lanes.Fixed(
            np.zeros(self.pack.node_first[-1]),
            np.zeros(self.pack.pair_first[-1]),
            np.zeros(self.pack.node_first[-1]),
        )
        self.room = lanes.lanes_of(nodes, pairs, moving)
        self.region = hard.region_of(tree, network.node_count, network.element_count, nodes, pairs)
        self.now = messages.Lines(*(np.array(field) for field in base.lines))
        self.anew = messages.Messages(*(np.array(field) for field in base.messages))
        self.base_v = base.node_v + base.rest_v

    @property
    def case_count(self) -> int:
        """Return the number of cases."""
        return int(self.cases.case_first[-1])

    def run(self, progress: Progress | None = None) -> Result:
        """Solve all cases."""
        cases, count = self.cases, self.case_count
        out = lanes.Out(
            np.full(int(cases.value_first[-1]), np.nan),
            np.zeros(count, dtype=np.int64),
            np.full(count, UNSOLVED, dtype=np.uint8),
            np.full(count, np.inf),
        )
        total = len(self.neighbourhoods)
        stride = max(1, total if progress is None else _STRIDE)
        for first in range(0, total, stride):
            end = min(first + stride, total)
            self._run(first, end, out)
            if progress is not None:
                progress(int(cases.case_first[end]), count)
        self._fall_back(out)
        return Result(
            cases.case_first,
            cases.value_first,
            out.value,
            out.decision,
            out.certificate,
            out.residual_a,
        )

    def _run(self, first: int, end: int, out: lanes.Out) -> None:
        c, base = self.campaign, self.base
        run_all(
            c.tree,
            base.base,
            self.base_v,
            base.lines,
            self.now,
            c.table,
            base.messages,
            self.anew,
            base.reach,
            self.pack,
            self.fixed,
            self.cases,
            first,
            end,
            self.room,
            self.region,
            c.scratch,
            c.tail,
            c.head,
            out,
        )

    def curves_of(self, case: int) -> IntArray:
        """Return the (E,) curves of a case."""
        h = int(np.searchsorted(self.cases.case_first, case, side="right")) - 1
        area = self.neighbourhoods[h]
        fault, state = divmod(case - int(self.cases.case_first[h]), len(area.states))
        curve_of = self.base.curve_of.copy()
        for element, curve in (*area.states[state], *area.faults[fault]):
            curve_of[element] = curve
        return curve_of

    def _fall_back(self, out: lanes.Out) -> None:
        """Give to the reference engine what the kernels could not settle."""
        left = np.flatnonzero(out.certificate == REFERENCE)
        for low in range(0, len(left), _REFERENCE_CHUNK):
            rows = left[low : low + _REFERENCE_CHUNK]
            curve_of = np.array([self.curves_of(int(case)) for case in rows])
            solution = solve_cases(self.campaign.network, curve_of, start_v=self.base.node_v)
            for k, case in enumerate(rows.tolist()):
                if not bool(solution.solved[k]):
                    out.certificate[case] = UNSOLVED
                    continue
                out.residual_a[case] = solution.residual_a[k]
                self._note(case, solution.node_v[k], solution.element_a[k], out)

    def _note(self, case: int, node_v: FloatArray, element_a: FloatArray, out: lanes.Out) -> None:
        cases = self.cases
        h = int(np.searchsorted(cases.case_first, case, side="right")) - 1
        area = self.neighbourhoods[h]
        values = [node_v[a] - node_v[b] for a, b in area.volts]
        values += [element_a[e] for e in area.amps]
        at = int(cases.value_first[h]) + (case - int(cases.case_first[h])) * len(values)
        out.value[at : at + len(values)] = values
        bits = (node_v[a] - node_v[b] > limit for a, b, limit in area.limits)
        out.decision[case] = sum(1 << k for k, above in enumerate(bits) if above)

    def rebuild(self, case: int) -> tuple[FloatArray, FloatArray]:
        """Return all of one case.

        Args:
            case: its number.

        Returns:
            (N,) node voltages and (E,) element currents; NaN when it cannot be solved.
        """
        network, table = self.campaign.network, self.campaign.table
        h = int(np.searchsorted(self.cases.case_first, case, side="right")) - 1
        curve_of = self.curves_of(case)
        c, base = self.campaign, self.base
        good = hard.settle_everywhere(
            c.tree,
            base.base,
            base.lines,
            self.now,
            c.table,
            base.messages,
            self.anew,
            base.reach,
            self.pack,
            h,
            curve_of,
            self.region,
            c.scratch,
            c.tail,
            c.head,
        )
        if not good:
            solution = solve_cases(network, curve_of[None, :], start_v=base.node_v)
            return solution.node_v[0], solution.element_a[0]
        move = self.region.node_v.copy()
        fine = base.rest_v + self.region.fine_v
        node_v = (base.node_v + move) + fine
        across = (base.node_v[network.tail] - base.node_v[network.head]) + (
            move[network.tail] - move[network.head]
        )
        across += fine[network.tail] - fine[network.head]
        piece = np.zeros(len(curve_of), dtype=np.int64)
        for b in range(table.break_v.shape[1]):
            piece += across > table.break_v[curve_of, b]
        slope = table.slope_s[curve_of, piece]
        return node_v, slope * across + table.intercept_a[curve_of, piece]


def _wanted(tree: local.Tree, area: Neighbourhood, elements: list[int]) -> IntArray:
    """Return the bags a neighbourhood must hold."""
    bags = {int(tree.bag_of[e]) for e in (*elements, *area.amps)}
    nodes = {n for a, b in area.volts for n in (a, b)}
    nodes |= {n for a, b, _ in area.limits for n in (a, b)}
    held: set[int] = set()
    for bag in bags:
        held.update(tree.clique[tree.clique_first[bag] : tree.clique_first[bag + 1]].tolist())
    bags |= {int(tree.home[n]) for n in nodes - held}
    bags.discard(-1)
    return np.array(sorted(bags) or [len(tree.parent) - 1], dtype=np.int64)


def _cases(
    neighbourhoods: Sequence[Neighbourhood],
    locals_: list[local.Local],
    tail: IntArray,
    head: IntArray,
) -> lanes.Cases:
    """Return the cases with elements and nodes by their numbers in the neighbourhoods."""
    faults: list[list[Change]] = []
    states: list[list[Change]] = []
    read: list[tuple[int, int, int]] = []
    limit: list[tuple[int, int]] = []
    limit_v: list[float] = []
    counts = []
    for area, part in zip(neighbourhoods, locals_, strict=True):
        if any(tail[e] == head[e] for e in area.amps):
            raise ValueError("the current of an element that joins a node to itself")
        if len(area.limits) > MOST_LIMITS:
            raise ValueError(f"a neighbourhood may have {MOST_LIMITS} limits")
        number = {e: k for k, e in enumerate(part.moving.tolist())}
        still = {e: k for k, e in enumerate(part.still.tolist())}
        place = {n: k for k, n in enumerate(part.node.tolist())}
        place[0] = -1
        faults += [[(number[e], c) for e, c in item if e in number] for item in area.faults]
        states += [[(number[e], c) for e, c in item if e in number] for item in area.states]
        read += [(place[a], place[b], -1) for a, b in area.volts]
        for e in area.amps:
            kind = number[e] if e in number else -2 - still[e]
            read.append((place[int(tail[e])], place[int(head[e])], kind))
        limit += [(place[a], place[b]) for a, b, _ in area.limits]
        limit_v += [v for _, _, v in area.limits]
        cases = len(area.faults) * len(area.states)
        reads = len(area.volts) + len(area.amps)
        counts.append(
            (len(area.faults), len(area.states), reads, len(area.limits), cases, cases * reads)
        )
    table = np.array(counts, dtype=np.int64).reshape(-1, 6)
    running = np.concatenate([np.zeros((1, 6), dtype=np.int64), np.cumsum(table, axis=0)])

    def flat(items: list[list[Change]]) -> tuple[IntArray, IntArray, IntArray]:
        ends = np.cumsum([0, *(len(item) for item in items)]).astype(np.int64)
        pairs = [pair for item in items for pair in item]
        columns = np.array(pairs, dtype=np.int64).reshape(-1, 2)
        return ends, columns[:, 0].copy(), columns[:, 1].copy()

    fault_change, fault_element, fault_curve = flat(faults)
    state_change, state_element, state_curve = flat(states)
    first = [running[:, k].copy() for k in range(6)]
    return lanes.Cases(
        first[0],
        fault_change,
        first[1],
        state_change,
        fault_element,
        fault_curve,
        state_element,
        state_curve,
        first[2],
        np.array(read, dtype=np.int64).reshape(-1, 3),
        first[3],
        np.array(limit, dtype=np.int64).reshape(-1, 2),
        np.array(limit_v, dtype=float),
        first[4],
        first[5],
    )


__all__ = [
    "HARD",
    "LOCAL",
    "REFERENCE",
    "UNSOLVED",
    "Campaign",
    "Compiled",
    "Neighbourhood",
    "Result",
]
