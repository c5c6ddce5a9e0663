"""Operating points of batches of cases: damped Newton on the convex co-content.

Each case is one choice of curves for all elements. The solution is unique; a full step that
changes no segment is exact, and the balance of currents at every node is its certificate.
"""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.network import Network
from ringout.solve.branches import Branches, Line
from ringout.solve.order import Factor, Plan, compile_plan, factorise, solve

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LEAK_S = 1e-9  # from every node to PE, so that no node is without a reference
CERTIFICATE_A = 1e-9  # worst imbalance of a solution that may be used
MOST_STEPS = 500
CHUNK_CELLS = 200_000  # elements times cases handled side by side; stays near the cache
_SHORT_STEP = 0.01  # a step shortened below this makes the next one heavier
_LEAST_HEAVY_S = 1e-8
_TURN = 24  # steps after which heavy steps are allowed, or no longer allowed
_LEVEL = 1e-9  # a step may end on a rise of this part of its first descent
_AFRESH = 16  # steps after which the balance of currents is added up anew
_ROUNDING_A = 1e-11  # imbalance that may be rounding at a node with steep elements
_SAME_A = 1e-12  # a changed segment that changes the current less is no change

_plans: WeakKeyDictionary[Network, Plan] = WeakKeyDictionary()


@dataclass(frozen=True, eq=False)
class Solution:
    """Solved cases: S of them, N nodes, E elements.

    Args:
        node_v: (S, N) volts above PE; NaN where not solved.
        element_a: (S, E) amperes from tail to head; NaN where not solved.
        residual_a: (S,) worst imbalance of currents at any node but PE.
        solved: (S,) the imbalance is within `CERTIFICATE_A`.
        iterations: (S,) Newton steps.
    """

    node_v: FloatArray
    element_a: FloatArray
    residual_a: FloatArray
    solved: BoolArray
    iterations: IntArray

    def take(self, rows: IntArray) -> Solution:
        """Return the solution of some cases."""
        return Solution(
            self.node_v[rows],
            self.element_a[rows],
            self.residual_a[rows],
            self.solved[rows],
            self.iterations[rows],
        )


def plan_of(network: Network) -> Plan:
    """Return the elimination plan of a network; it is compiled at the first call."""
    plan = _plans.get(network)
    if plan is None:
        plan = compile_plan(network.node_count, network.tail, network.head)
        _plans[network] = plan
    return plan


def solve_cases(
    network: Network,
    curve_of: IntArray,
    *,
    start_v: FloatArray | None = None,
    plan: Plan | None = None,
    injected_a: FloatArray | None = None,
) -> Solution:
    """Solve a batch of cases.

    Args:
        network: N nodes, E elements.
        curve_of: (S, E) curve number of each element in each case.
        start_v: (S, N) or (N,) voltages to start from; it changes the time only.
        plan: elimination plan; made and kept when not given.
        injected_a: (S, N) currents put into the nodes from PE, none when not given.

    Returns:
        The solution. A case that could not be solved is marked and holds NaN.

    Raises:
        ValueError: `curve_of` is not (S, E).
    """
    curve_of = np.asarray(curve_of, dtype=np.int64)
    if curve_of.ndim != 2 or curve_of.shape[1] != network.element_count:
        raise ValueError(f"curve_of must be (S, {network.element_count})")
    plan = plan_of(network) if plan is None else plan
    cases = curve_of.shape[0]
    node_v = np.empty((cases, network.node_count))
    element_a = np.empty((cases, network.element_count))
    residual_a = np.empty(cases)
    iterations = np.empty(cases, dtype=np.int64)
    step = max(1, min(CHUNK_CELLS // max(network.element_count, 1), cases))
    guess: FloatArray | None = None
    low = 0
    while low < cases:
        # Without a start the first case alone is solved first: the others are near it.
        high = low + 1 if start_v is None and guess is None else min(low + step, cases)
        rows = slice(low, high)
        if start_v is not None:
            begin = start_v if start_v.ndim == 1 else start_v[rows].T
        else:
            begin = np.zeros(network.node_count) if guess is None else guess
        if begin.ndim == 1:
            begin = np.repeat(begin[:, None], high - low, axis=1)
        begin = np.nan_to_num(begin, nan=0.0, posinf=0.0, neginf=0.0)
        put_in = None if injected_a is None else np.ascontiguousarray(injected_a[rows].T)
        run = _Run(network, plan, np.ascontiguousarray(curve_of[rows].T), begin, put_in)
        run.work()
        node_v[rows], element_a[rows] = run.out_v.T, run.out_a.T
        residual_a[rows], iterations[rows] = run.out_residual, run.out_steps
        if guess is None:
            guess = run.out_v[:, 0]
        low = high
    solved = residual_a <= CERTIFICATE_A
    node_v[~solved] = np.nan
    element_a[~solved] = np.nan
    return Solution(node_v, element_a, residual_a, solved, iterations)


class _Run:
    """One chunk of cases under way; arrays are (rows, S) with S the cases not yet done."""

    def __init__(
        self,
        network: Network,
        plan: Plan,
        curve_of: IntArray,
        begin_v: FloatArray,
        injected_a: FloatArray | None,
    ) -> None:
        self.branches = Branches(network, plan, curve_of, LEAK_S, injected_a)
        cases = curve_of.shape[1]
        self.case = np.arange(cases)
        self.v = np.array(begin_v, order="C", copy=True)
        self.v[0] = 0.0
        self.heavy = np.zeros(cases)
        self._add_up()
        self.out_v = np.empty((network.node_count, cases))
        self.out_a = np.empty(curve_of.shape)
        self.out_residual = np.full(cases, np.inf)
        self.out_steps = np.zeros(cases, dtype=np.int64)

    def _add_up(self) -> None:
        """Take stock at the present voltages: missing currents, and pieces of bent elements."""
        self.missing = self.branches.exact(self.v, self.case)[1]
        self.u = self.branches.bent_across(self.v)
        self.slope, self.offset = self.branches.lines(self.u)

    def work(self) -> None:
        """Run until every case is done or has had its number of steps."""
        for steps in range(1, MOST_STEPS + 1):
            self._step(steps)
            if not len(self.case):
                return
            if steps % _AFRESH == 0:
                self._add_up()

    def _step(self, steps: int) -> None:
        branches = self.branches
        factor = factorise(branches.plan, branches.conductance(self.slope, self.heavy))
        d = solve(factor, self.missing)
        du = branches.bent_across(d)
        u = self.u + du
        slope, offset = branches.lines(u)
        # What the bent elements carry beyond the lines they were on.
        beyond = (slope - self.slope) * u + (offset - self.offset)
        same = np.abs(beyond).max(axis=0, initial=0.0) <= _SAME_A
        done = (same & (self.heavy == 0.0)) | (steps == MOST_STEPS)
        if done.any():
            done = self._finish(done, self.v + d, factor, steps)
        t = self._length(d, du, beyond, done)
        if (t < 1.0).any():
            u = self.u + t * du
            slope, offset = branches.lines(u)
            beyond = (slope - self.slope) * u + (offset - self.offset)
        self.missing *= 1.0 - t
        if self.heavy.any():
            self.missing += t * self.heavy * d
        branches.spread(beyond, self.missing)
        self.v += t * d
        self.u, self.slope, self.offset = u, slope, offset
        self.heavy = _heavier(self.heavy, same, t, steps)
        if done.any():
            self._keep(~done)

    def _length(
        self, d: FloatArray, du: FloatArray, beyond: FloatArray, done: BoolArray
    ) -> FloatArray:
        """Return (S,) how much of the step d to take: to the lowest co-content along it."""
        descent = np.einsum("ns,ns->s", self.missing, d)
        rise = descent - self.heavy * np.einsum("ns,ns->s", d, d)
        end = rise - descent + np.einsum("bs,bs->s", beyond, du)
        t = np.ones(len(self.case))
        short = np.flatnonzero((end > _LEVEL * descent) & ~done)
        if len(short):
            rows = np.flatnonzero(beyond[:, short].any(axis=1))
            at = (rows[:, None], short)
            line = Line(
                self.branches.part(rows, short),
                self.u[at],
                du[at],
                (self.slope[at], self.offset[at]),
                (descent[short], rise[short]),
            )
            t[short] = line.root()
        return t

    def _keep(self, keep: BoolArray) -> None:
        """Go on with some of the cases only."""
        self.case, self.heavy = self.case[keep], self.heavy[keep]
        self.v, self.u, self.missing = self.v[:, keep], self.u[:, keep], self.missing[:, keep]
        self.slope, self.offset = self.slope[:, keep], self.offset[:, keep]
        self.branches.keep(keep)

    def _finish(self, done: BoolArray, v: FloatArray, factor: Factor, steps: int) -> BoolArray:
        """Refine the cases that are done and write them out; return which could be certified.

        The refinement uses the full balance of currents. At a corner it may step to the other
        side, so the better one is kept.
        """
        column = np.flatnonzero(done)
        case = self.case[column]
        if len(column) < len(done):
            v, factor = v[:, column], factor.take(column)
        v[0] = 0.0
        current, missing = self.branches.exact(v, case)
        refined = v + solve(factor, missing)
        refined_current, refined_missing = self.branches.exact(refined, case)
        balance = np.abs(missing).max(axis=0)
        refined_balance = np.abs(refined_missing).max(axis=0)
        better = refined_balance <= np.maximum(balance, _ROUNDING_A)
        v = np.where(better, refined, v)
        current = np.where(better, refined_current, current)
        balance = np.where(better, refined_balance, balance)
        good = (balance <= CERTIFICATE_A) | (steps == MOST_STEPS)
        case = case[good]
        self.out_v[:, case] = v[:, good]
        self.out_a[:, case] = current[:, good]
        self.out_residual[case] = balance[good]
        self.out_steps[case] = steps
        certified = done.copy()
        certified[column[~good]] = False
        return certified


def _heavier(heavy: FloatArray, same: BoolArray, t: FloatArray, steps: int) -> FloatArray:
    """Return the leaks that make the next steps shorter but better aimed, in turns."""
    heavy = np.where(same, 0.0, heavy / 100.0)
    heavy[heavy < _LEAST_HEAVY_S] = 0.0
    if steps // _TURN % 2:
        stuck = t < _SHORT_STEP
        heavy[stuck] = np.clip(heavy[stuck] * 1e6, 1e-6, 1e2)
    return heavy
