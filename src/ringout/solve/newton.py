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
from ringout.solve.order import Factor, Plan, assemble, compile_plan, factorise, leaving, solve

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LEAK_S = 1e-9  # from every node to PE, so that no node is without a reference
CERTIFICATE_A = 1e-9  # worst imbalance of a solution that may be used
MOST_STEPS = 500
CHUNK_CELLS = 120_000  # elements times cases handled side by side; stays near the cache
_QUICK_TURNS = 6  # of a line search, before it goes through the corners
_SHORT_STEP = 0.01  # a step shortened below this makes the next one heavier
_LEAST_HEAVY_S = 1e-8
_TURN = 24  # steps after which heavy steps are allowed, or no longer allowed
_KEEP = 0.3  # a shortened step keeps at most this part of the first descent
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


class Branches:
    """The curves of one batch of cases, laid out for quick evaluation, (E, S) arrays.

    Args:
        network: E elements.
        curve_of: (E, S) curve numbers.
    """

    def __init__(self, network: Network, curve_of: IntArray) -> None:
        table = network.curves
        self._table = table
        count = table.count[curve_of].max(axis=1, initial=0)
        order = np.argsort(-count, kind="stable")
        bent = order[: int(np.count_nonzero(count))]
        self.bent = bent
        self._own = curve_of[bent]
        self._rows = [
            int(np.count_nonzero(count[bent] > b)) for b in range(int(count.max(initial=0)))
        ]
        self._breaks = [
            table.break_v[self._own[:rows], b] for b, rows in enumerate(self._rows)
        ]
        self._first = self._own * table.slope_s.shape[1]
        self.linear_s = table.slope_s[curve_of, 0]
        self.linear_s[bent] = 0.0
        self.linear_a = table.intercept_a[curve_of, 0]
        self.linear_a[bent] = 0.0

    def keep(self, columns: BoolArray) -> None:
        """Drop the cases that are not kept."""
        self._own = self._own[:, columns]
        self._first = self._first[:, columns]
        self._breaks = [b[:, columns] for b in self._breaks]
        self.linear_s = self.linear_s[:, columns]
        self.linear_a = self.linear_a[:, columns]

    def pieces(self, bent_v: FloatArray, columns: IntArray | None = None) -> IntArray:
        """Return the piece of each bent curve, as a flat index into the table."""
        at = self._first if columns is None else self._first[:, columns]
        piece = at.copy()
        for rows, places in zip(self._rows, self._breaks, strict=True):
            here = places if columns is None else places[:, columns]
            piece[:rows] += bent_v[:rows] > here
        return piece

    def corners(self, u: FloatArray, du: FloatArray, columns: IntArray) -> FloatArray:
        """Return (K, S) the sorted step lengths at which a curve turns, with 0 and 1."""
        lengths = [np.zeros((1, len(columns))), np.ones((1, len(columns)))]
        for rows, places in zip(self._rows, self._breaks, strict=True):
            moves = du[:rows] != 0.0
            far = places[:, columns] - u[:rows]
            t = np.divide(far, du[:rows], out=np.zeros_like(far), where=moves)
            lengths.append(np.where((t > 0.0) & (t < 1.0), t, 0.0))
        return np.sort(np.concatenate(lengths), axis=0)

    def lines(self, piece: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return slope and intercept of pieces."""
        return self._table.slope_s.take(piece), self._table.intercept_a.take(piece)


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
        self.plan, self.tail, self.head = plan, network.tail, network.head
        self.branches = Branches(network, curve_of)
        self.base = assemble(plan, self.branches.linear_s, LEAK_S)
        cases = curve_of.shape[1]
        self.case = np.arange(cases)
        self.injected = injected_a
        self.v = begin_v.copy()
        self.v[0] = 0.0
        self.out_v = np.empty_like(self.v)
        self.out_a = np.empty(curve_of.shape)
        self.out_residual = np.full(cases, np.inf)
        self.out_steps = np.zeros(cases, dtype=np.int64)

    # -- the state at given voltages -------------------------------------------------------

    def _across(self, v: FloatArray) -> FloatArray:
        return v[self.tail] - v[self.head]

    def _current(self, u: FloatArray, slope: FloatArray, offset: FloatArray) -> FloatArray:
        current = self.branches.linear_s * u + self.branches.linear_a
        current[self.branches.bent] = slope * u[self.branches.bent] + offset
        return current

    def _missing(self, v: FloatArray, current: FloatArray) -> FloatArray:
        """Return (N, S) the current each node lacks."""
        missing = -leaving(self.plan, current)
        missing -= LEAK_S * v
        if self.injected is not None:
            missing += self.injected
        missing[0] = 0.0
        return missing

    # -- Newton ----------------------------------------------------------------------------

    def work(self) -> None:
        """Run until every case is done or has had its number of steps."""
        branches = self.branches
        u = self._across(self.v)
        slope, offset = branches.lines(branches.pieces(u[branches.bent]))
        missing = self._missing(self.v, self._current(u, slope, offset))
        heavy = np.zeros(len(self.case))
        steps = 0
        while len(self.case):
            steps += 1
            factor = factorise(self.plan, self._conductance(slope, heavy))
            d = solve(factor, missing)
            new_v = self.v + d
            new_u, new_slope, new_offset, new_missing = self._state(new_v)
            bent_u = new_u[branches.bent]
            off = np.abs((new_slope - slope) * bent_u + (new_offset - offset))
            same = off.max(axis=0, initial=0.0) <= _SAME_A
            done = same & (heavy == 0.0)
            if steps >= MOST_STEPS:
                done[:] = True
            if done.any():
                done = self._finish(done, new_v, new_missing, factor, steps)
                if done.all():
                    return
            descent = np.einsum("ns,ns->s", missing, d)
            still = np.einsum("ns,ns->s", new_missing, d)
            heavy = np.where(same, 0.0, heavy / 100.0)
            heavy[heavy < _LEAST_HEAVY_S] = 0.0
            short = np.flatnonzero((still < -1e-9 * descent) & ~done)
            if len(short):
                t = self._shorten(short, u, d, (-descent[short], -still[short]))
                new_v[:, short] = self.v[:, short] + t * d[:, short]
                new_u, new_slope, new_offset, new_missing = self._state(new_v)
                if steps // _TURN % 2:
                    stuck = short[t < _SHORT_STEP]
                    heavy[stuck] = np.clip(heavy[stuck] * 1e4, 1e-6, 1e2)
            self.v, u, slope, offset, missing = new_v, new_u, new_slope, new_offset, new_missing
            if done.any():
                keep = ~done
                self.case, heavy = self.case[keep], heavy[keep]
                self.v, u, missing = self.v[:, keep], u[:, keep], missing[:, keep]
                slope, offset = slope[:, keep], offset[:, keep]
                self.base = self.base[:, keep]
                if self.injected is not None:
                    self.injected = self.injected[:, keep]
                branches.keep(keep)

    def _state(self, v: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return element voltages, slopes and intercepts of the bent ones, missing currents."""
        u = self._across(v)
        slope, offset = self.branches.lines(self.branches.pieces(u[self.branches.bent]))
        return u, slope, offset, self._missing(v, self._current(u, slope, offset))

    def _conductance(self, bent_slope: FloatArray, heavy: FloatArray) -> FloatArray:
        slopes = np.zeros_like(self.branches.linear_s)
        slopes[self.branches.bent] = bent_slope
        conductance = assemble(self.plan, slopes, 0.0)
        conductance += self.base
        if heavy.any():
            conductance[1 : self.plan.node_count] += heavy
        return conductance

    def _finish(
        self, done: BoolArray, v: FloatArray, missing: FloatArray, factor: Factor, steps: int
    ) -> BoolArray:
        """Refine the cases that are done and write them out; return which could be certified.

        At a corner the refinement may step to the other side, so the better one is kept.
        """
        balance = np.abs(missing).max(axis=0)
        refined = v + solve(factor, missing)
        refined[0] = 0.0
        refined_missing = self._state(refined)[3]
        refined_balance = np.abs(refined_missing).max(axis=0)
        better = refined_balance < balance
        v = np.where(better, refined, v)
        balance = np.where(better, refined_balance, balance)
        if steps < MOST_STEPS:
            done = done & (balance <= CERTIFICATE_A)
        u = self._across(v)
        slope, offset = self.branches.lines(self.branches.pieces(u[self.branches.bent]))
        current = self._current(u, slope, offset)
        case = self.case[done]
        self.out_v[:, case] = v[:, done]
        self.out_a[:, case] = current[:, done]
        self.out_residual[case] = balance[done]
        self.out_steps[case] = steps
        return done

    def _shorten(
        self, short: IntArray, u: FloatArray, d: FloatArray, ends: tuple[FloatArray, FloatArray]
    ) -> FloatArray:
        """Return step lengths at which the co-content still falls, but little.

        Its derivative along the step rises steadily between the two `ends`, at 0 and 1.
        """
        d, u = d[:, short], u[:, short]
        du = self._across(d)
        current = self.branches.linear_s[:, short] * u + self.branches.linear_a[:, short]
        base = np.einsum("es,es->s", current, du)
        base += LEAK_S * np.einsum("ns,ns->s", self.v[:, short], d)
        if self.injected is not None:
            base -= np.einsum("ns,ns->s", self.injected[:, short], d)
        rise = np.einsum("es,es->s", self.branches.linear_s[:, short] * du, du)
        rise += LEAK_S * np.einsum("ns,ns->s", d, d)
        bent = self.branches.bent
        line = _Line(self.branches, short, (u[bent], du[bent]), (base, rise))
        low, high = np.zeros(len(short)), np.ones(len(short))
        low_d, high_d = ends[0].copy(), ends[1].copy()
        open_ = np.arange(len(short))
        for turn in range(_QUICK_TURNS):
            lo, hi, lo_d, hi_d = low[open_], high[open_], low_d[open_], high_d[open_]
            t = lo - lo_d * (hi - lo) / (hi_d - lo_d) if turn % 3 < 2 else (lo + hi) / 2
            value = line.derivative(t, open_)
            falling = value <= 0.0
            low[open_[falling]], low_d[open_[falling]] = t[falling], value[falling]
            high[open_[~falling]], high_d[open_[~falling]] = t[~falling], value[~falling]
            open_ = open_[~(falling & (value >= _KEEP * ends[0][open_]))]
            if not len(open_):
                return low
        low[open_] = line.root(open_)
        return low


class _Line:
    """The derivative of the co-content along a step: rising, piecewise linear.

    Args:
        branches: the curves.
        column: (K,) the cases concerned, as columns of the branches' arrays.
        across: voltages of the bent elements at the start, and their change, each (E', K).
        straight: what all else adds to the derivative: at the start, and its rise, each (K,).
    """

    def __init__(
        self,
        branches: Branches,
        column: IntArray,
        across: tuple[FloatArray, FloatArray],
        straight: tuple[FloatArray, FloatArray],
    ) -> None:
        self.branches, self.column = branches, column
        self.u, self.du = across
        self.base, self.rise = straight

    def _bent_part(self, t: FloatArray, k: IntArray) -> FloatArray:
        du = self.du[:, k]
        at = self.u[:, k] + t * du
        slope, offset = self.branches.lines(self.branches.pieces(at, self.column[k]))
        return np.einsum("es,es->s", slope * at + offset, du)

    def derivative(self, t: FloatArray, k: IntArray) -> FloatArray:
        """Return the derivative at (K',) step lengths of some of the cases."""
        return self.base[k] + self.rise[k] * t + self._bent_part(t, k)

    def root(self, k: IntArray) -> FloatArray:
        """Return where the derivative is zero, by bisection over the corners passed."""
        corners = self.branches.corners(self.u[:, k], self.du[:, k], self.column[k])
        last = len(corners) - 1
        low, high = np.zeros(len(k), dtype=np.int64), np.full(len(k), last)
        every = np.arange(len(k))
        while (high - low > 1).any():
            middle = (low + high) // 2
            falling = self.derivative(corners[middle, every], k) <= 0.0
            low, high = np.where(falling, middle, low), np.where(falling, high, middle)
        lo, hi = corners[low, every], corners[high, every]
        lo_d, hi_d = self.derivative(lo, k), self.derivative(hi, k)
        rise = hi_d - lo_d
        part = np.where(rise > 0.0, -lo_d / np.where(rise > 0.0, rise, 1.0), 0.0)
        return lo + np.clip(part, 0.0, 1.0) * (hi - lo)


def adjoint_v(
    network: Network, curve_of: IntArray, node_v: FloatArray, pairs: IntArray
) -> FloatArray:
    """Return what 1 A from one node to another does to every voltage, linearised.

    Args:
        network: N nodes, E elements.
        curve_of: (S, E) curve numbers.
        node_v: (S, N) operating points.
        pairs: (S, 2) nodes the ampere goes in at, and comes out of.

    Returns:
        (S, N) change of the node voltages in volts per ampere; NaN where `node_v` is.
    """
    plan = plan_of(network)
    result = np.empty(node_v.shape)
    step = max(1, CHUNK_CELLS // max(network.element_count, 1))
    for low in range(0, len(node_v), step):
        rows = slice(low, low + step)
        across = node_v[rows][:, network.tail] - node_v[rows][:, network.head]
        piece = np.zeros(across.shape, dtype=np.int64)
        for b in range(network.curves.break_v.shape[1]):
            piece += across > network.curves.break_v[curve_of[rows], b]
        slope = network.curves.slope_s[curve_of[rows], piece]
        factor = factorise(plan, assemble(plan, np.ascontiguousarray(slope.T), LEAK_S))
        ampere = np.zeros((network.node_count, len(across)))
        every = np.arange(len(across))
        np.add.at(ampere, (pairs[rows, 0], every), 1.0)
        np.add.at(ampere, (pairs[rows, 1], every), -1.0)
        result[rows] = solve(factor, ampere).T
    result[np.isnan(node_v).any(axis=1)] = np.nan
    return result


def driving_point_ohm(
    network: Network, solution: Solution, curve_of: IntArray, pairs: IntArray
) -> FloatArray:
    """Return the small-signal resistance seen between two nodes of each case.

    Args:
        network: N nodes, E elements.
        solution: S solved cases.
        curve_of: (S, E) their curves.
        pairs: (S, 2) nodes.

    Returns:
        (S,) ohms; nodes joined by nothing but leaks show some 1 GOhm.
    """
    potential = adjoint_v(network, curve_of, solution.node_v, pairs)
    every = np.arange(len(pairs))
    return potential[every, pairs[:, 0]] - potential[every, pairs[:, 1]]
