"""Campaigns: very many cases near a few base states, each solved where it changes something."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.network import Network
from ringout.solve.campaign.bags import compile_tree
from ringout.solve.campaign.base import SolvedBase, solved_base
from ringout.solve.campaign.cases import Cases, Neighbourhood, Out, cases_of
from ringout.solve.campaign.compiler import compile_areas
from ringout.solve.campaign.hard import run_hard
from ringout.solve.campaign.jit import ready
from ringout.solve.campaign.lanes import lanes_of
from ringout.solve.campaign.local import edge_of, mesh_of, most_moving
from ringout.solve.campaign.pieces import at_rest_a, table_of
from ringout.solve.campaign.region import now_of
from ringout.solve.campaign.run import HARD, LOCAL, REFERENCE, UNSOLVED, Job, run_lanes
from ringout.solve.campaign.whole import Whole, nothing_whole, whole_of
from ringout.solve.newton import plan_of, solve_cases

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
Progress = Callable[[int, int], None]

_STRIDE = 64  # neighbourhoods between two calls of a progress function
_REFERENCE_CHUNK = 256
_GROWTH = 3  # rounds in which neighbourhoods take in what their states reach
_MOST_NODES = 48  # of a neighbourhood that is still let grow


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
        width = int(end - first) // max(cases, 1)
        return self.value[first:end].reshape(cases, width)


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
        if curves.size and not 0 <= curves.min() <= curves.max() < len(network.curves.count):
            raise ValueError("base_curve_of names a curve that is not there")
        ready()
        self.network = network
        self.tree = compile_tree(network, plan_of(network))
        self.table = table_of(network)
        self.bases: list[SolvedBase] = []
        for row in curves:
            if not self.add_base(row):
                raise ValueError("a base state could not be solved")

    def add_base(self, curve_of: IntArray) -> bool:
        """Add a base state of (E,) curves; return whether it could be solved."""
        base = solved_base(self.network, self.tree, self.table, curve_of)
        if base is not None:
            self.bases.append(base)
        return base is not None

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

        Raises:
            ValueError: a neighbourhood names what the network does not have.
        """
        return self.compile(neighbourhoods, base).run(progress)

    def compile(self, neighbourhoods: Sequence[Neighbourhood], base: int = 0) -> Compiled:
        """Return neighbourhoods made ready for one base state, to be run once or more often.

        Args:
            neighbourhoods: H of them.
            base: row of the base state.

        Raises:
            ValueError: a neighbourhood names what the network does not have.
        """
        return Compiled(self.network, self.bases[base], neighbourhoods)


class Compiled:
    """Neighbourhoods made ready: `run` solves them, `rebuild` gives all of one case.

    Args:
        network: N nodes, E elements.
        base: the base state.
        neighbourhoods: H of them.

    Raises:
        ValueError: a neighbourhood names what the network does not have.
    """

    def __init__(
        self, network: Network, base: SolvedBase, neighbourhoods: Sequence[Neighbourhood]
    ) -> None:
        self.network, self.base, self.neighbourhoods = network, base, neighbourhoods
        cases = cases_of(neighbourhoods, network)
        bags: list[set[int]] = [set() for _ in neighbourhoods]
        self._job = self._made(cases, bags)
        plain = all(not any(area.states) for area in neighbourhoods)
        for _ in range(0 if plain else _GROWTH):
            if not self._grown(bags):
                break
            self._job = self._made(cases, bags)
        pack = self._job.pack
        nodes, pairs = _most(pack.node_first), _most(pack.pair_first)
        self._now = now_of(base.ground, nodes, pairs)

    @property
    def case_count(self) -> int:
        """Return the number of cases."""
        return int(self._job.cases.case_first[-1])

    def _made(self, cases: Cases, bags: Sequence[Iterable[int]]) -> Job:
        """Return the job, with bags taken into neighbourhoods besides what they must hold."""
        net = self.base.ground
        pack = compile_areas(net.tree, net.base.bent, cases, bags)
        nodes, pairs = pack.node_first, pack.pair_first
        return Job(
            pack,
            cases,
            mesh_of(int(nodes[-1]), int(pairs[-1])),
            lanes_of(net.tree, _most(nodes), _most(pairs), most_moving(pack)),
            _empty(0, 0),
            nothing_whole(),
        )

    def _grown(self, bags: list[set[int]]) -> bool:
        """Add to `bags` what a state without fault reaches beyond; return whether any is new.

        Such parts would make every case in that state a hard one.
        """
        pack, tree = self._job.pack, self.base.ground.tree
        strained = np.zeros(int(pack.edge_first[-1]) + 1, dtype=np.int64)
        run_lanes(self.base.ground, self._job, 0, len(bags), strained)
        grown = False
        owner = np.repeat(np.arange(len(bags)), np.diff(pack.edge_first))
        small = np.diff(pack.node_first) <= _MOST_NODES
        for k in np.flatnonzero(strained[:-1].astype(np.bool_) & small[owner]).tolist():
            h = int(owner[k])
            bag, down = edge_of(pack, h, k - int(pack.edge_first[h]))
            bags[h].add(int(tree.parent[bag]) if down else bag)
            grown = True
        return grown

    def run(self, progress: Progress | None = None) -> Result:
        """Solve all cases.

        Args:
            progress: called now and then with cases done and cases in all.
        """
        return self._run(nothing_whole(), progress)

    def run_whole(self, row: IntArray, node_v: FloatArray, element_a: FloatArray) -> Result:
        """Solve all cases and write all of each.

        Args:
            row: (C,) row of each case in what follows.
            node_v: (S, N) filled with voltages.
            element_a: (S, E) filled with currents; rows of unsolved cases are not to be used.
        """
        tree = self.base.ground.tree
        result = self._run(whole_of(tree, row, node_v, element_a), None)
        loops = np.flatnonzero(self.network.tail == self.network.head)
        for case in range(self.case_count) if len(loops) else ():
            at_rest = at_rest_a(self.base.table, self.curves_of(case)[loops])
            element_a[row[case], loops] = at_rest
        return result

    def _run(self, whole: Whole, progress: Progress | None) -> Result:
        net, now, cases = self.base.ground, self._now, self._job.cases
        out = _empty(int(cases.value_first[-1]), self.case_count)
        job = self._job._replace(out=out, whole=whole)
        total = len(self.neighbourhoods)
        stride = max(1, total if progress is None else _STRIDE)
        for first in range(0, total, stride):
            end = min(first + stride, total)
            run_lanes(net, job, first, end, np.zeros(0, dtype=np.int64))
            run_hard(net, job, now, first, end, -1)
            if progress is not None:
                progress(int(cases.case_first[end]), self.case_count)
        self._fall_back(out, whole)
        return Result(cases.case_first, cases.value_first, *out)

    def _place(self, case: int) -> tuple[int, int]:
        """Return the neighbourhood of a case and its number there."""
        first = self._job.cases.case_first
        h = int(np.searchsorted(first, case, side="right")) - 1
        return h, case - int(first[h])

    def curves_of(self, case: int) -> IntArray:
        """Return the (E,) curves of a case."""
        h, number = self._place(case)
        area = self.neighbourhoods[h]
        fault, state = divmod(number, len(area.states))
        curve_of = self.base.curve_of.copy()
        for element, curve in (*area.states[state], *area.faults[fault]):
            curve_of[element] = curve
        return curve_of

    def _fall_back(self, out: Out, whole: Whole) -> None:
        """Give to the reference engine what the kernels could not settle."""
        left = np.flatnonzero(out.certificate == REFERENCE)
        for low in range(0, len(left), _REFERENCE_CHUNK):
            rows = left[low : low + _REFERENCE_CHUNK]
            curve_of = np.array([self.curves_of(int(case)) for case in rows])
            solution = solve_cases(self.network, curve_of, start_v=self.base.node_v)
            for k, case in enumerate(rows.tolist()):
                if bool(solution.solved[k]):
                    out.residual_a[case] = solution.residual_a[k]
                    self._note(case, solution.node_v[k], solution.element_a[k], out)
                    if len(whole.row):
                        whole.node_v[whole.row[case]] = solution.node_v[k]
                        whole.element_a[whole.row[case]] = solution.element_a[k]
                else:
                    out.certificate[case] = UNSOLVED

    def _note(self, case: int, node_v: FloatArray, element_a: FloatArray, out: Out) -> None:
        """Write the readings and decisions of a case that is solved as a whole."""
        h, number = self._place(case)
        area = self.neighbourhoods[h]
        values = [node_v[a] - node_v[b] for a, b in area.volts]
        values += [element_a[e] for e in area.amps]
        at = int(self._job.cases.value_first[h]) + number * len(values)
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
        base, table, c = self.base, self.base.table, self.curves_of(case)
        h, number = self._place(case)
        if run_hard(base.ground, self._job, self._now, h, h + 1, number):
            solution = solve_cases(self.network, c[None, :], start_v=base.node_v)
            return solution.node_v[0], solution.element_a[0]
        move, fine = self._now.moves.node_v, base.rest_v + self._now.moves.fine_v
        tail, head = self.network.tail, self.network.head
        across = (base.node_v[tail] - base.node_v[head]) + (move[tail] - move[head])
        across += fine[tail] - fine[head]
        piece = np.zeros(len(c), dtype=np.int64)
        for b in range(table.break_v.shape[1]):
            piece += across > table.break_v[c, b]
        return (base.node_v + move) + fine, table.slope_s[c, piece] * across + table.intercept_a[
            c, piece
        ]


def _most(first: IntArray) -> int:
    """Return the size of the largest of some parts."""
    return int(np.diff(first).max(initial=0))


def _empty(values: int, cases: int) -> Out:
    """Return room for what is found."""
    return Out(
        np.full(values, np.nan),
        np.zeros(cases, dtype=np.int64),
        np.full(cases, UNSOLVED, dtype=np.uint8),
        np.full(cases, np.inf),
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
