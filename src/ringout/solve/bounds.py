"""Guaranteed worst cases: the largest or smallest voltage that any curves can cause.

Every element may have any monotone curve between its lower and its upper one. Where the
topology decides which way each element pulls (see `structure`), going gradually from any such
curves to the unfavourable ends moves the target one way only, whatever segments are crossed on
the way: the value with all elements at their unfavourable ends is the worst there is.

An element whose pull is not decided is taken at the end that looks unfavourable, and what it
could carry beyond that is let in at the worse of its two nodes and returned at the target. That
may be more than any real curve does, never less; `gap_v` is the most it can be too much.
"""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.curves import value
from ringout.circuit.network import Network
from ringout.solve.adjoint import adjoint_v
from ringout.solve.caps import highest_v, most_through_a, quiet_curves, spread_a, stand_in, stray_a
from ringout.solve.newton import Solution, solve_cases
from ringout.solve.shrink import Shrinker, Shrunk
from ringout.solve.structure import Structure

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SMALL_GAP_V = 1e-3  # a gap not worth a second attempt
MOST_GAP_V = 0.25  # a bound that may be further from what really occurs is not called proven
MOST_GAP_RATIO, MOST_GAP_A = 0.1, 1e-3  # the same for a current: the wider of the two
FLOOR_V = 1e-9  # rounding of two solutions
_SMALL_MOVE_V = 0.02  # of the target, that one undecided conductor may make unproven
_ROUNDS = 4  # of turning undecided elements to the end that looks worse

_structures: WeakKeyDictionary[Network, dict[bytes, Structure]] = WeakKeyDictionary()


@dataclass(frozen=True, eq=False)
class Bound:
    """Worst cases of S questions.

    Args:
        value_v: (S,) the bound on the voltage, `slack_v` included.
        value_a: (S,) the bound on the own element's current in the sense of the target,
            slack included; NaN where no own element was named.
        proven: (S,) no admissible curves go beyond the value.
        slack_v: (S,) what the leaks and the elements not counted could add; it is in the
            value already.
        gap_v: (S,) the worst that really occurs lies at most this far inside the value.
        solution: the solved worst cases; node voltages and currents belong to the value
            without its slack.
        curve_of: (S, E) the curves they have.
    """

    value_v: FloatArray
    value_a: FloatArray
    proven: BoolArray
    slack_v: FloatArray
    gap_v: FloatArray
    solution: Solution
    curve_of: IntArray


def structure_of(network: Network, counted: BoolArray) -> Structure:
    """Return the structure of some elements of a network; it is kept for the next call."""
    kept = _structures.setdefault(network, {})
    key = counted.tobytes()
    if key not in kept:
        kept[key] = Structure(network.node_count, network.tail, network.head, counted)
    return kept[key]


def worst_case(
    network: Network,
    lower_of: IntArray,
    upper_of: IntArray,
    typ_of: IntArray,
    target: IntArray,
    direction: IntArray,
    own_element: IntArray | None = None,
) -> Bound:
    """Bound a voltage, or the current of an element, over all admissible curves.

    Args:
        network: N nodes, E elements.
        lower_of: (S, E) curve each element is never below.
        upper_of: (S, E) curve it is never above.
        typ_of: (S, E) curve to start from.
        target: (S, 2) nodes p and q; the voltage is V_p - V_q.
        direction: (S,) +1 for the largest, -1 for the smallest.
        own_element: (S,) element between p and q whose current is bounded instead, or -1;
            its own curve is then taken at the end that helps the current.

    Returns:
        The bounds.
    """
    return _Question(network, lower_of, upper_of, typ_of, target, direction, own_element).answer()


class _Question:
    """S questions under way. Targets are turned so that each asks for the largest voltage."""

    def __init__(
        self,
        network: Network,
        lower_of: IntArray,
        upper_of: IntArray,
        typ_of: IntArray,
        target: IntArray,
        direction: IntArray,
        own_element: IntArray | None,
    ) -> None:
        self.network = network
        self.lower = np.asarray(lower_of, dtype=np.int64)
        self.upper = np.asarray(upper_of, dtype=np.int64)
        self.typ = np.asarray(typ_of, dtype=np.int64)
        self.direction = np.asarray(direction, dtype=np.int64)
        cases = len(self.direction)
        self.every = np.arange(cases)
        target = np.asarray(target, dtype=np.int64).reshape(cases, 2)
        self.pairs = np.where(self.direction[:, None] > 0, target, target[:, ::-1])
        own = np.full(cases, -1) if own_element is None else np.asarray(own_element)
        self.own_rows = np.flatnonzero(own >= 0)
        self.own = own[self.own_rows]
        self.quiet = quiet_curves(network.curves)
        busy: BoolArray = ~(self.quiet[self.lower] & self.quiet[self.upper])
        self.counted: BoolArray = np.logical_or.reduce(busy, axis=0)
        self.free = self.lower != self.upper
        self.free[self.own_rows, self.own] = False
        self.instead = np.full(self.lower.shape, -1, dtype=np.int64)
        self.extra_a = np.zeros(self.lower.shape)
        self.moves_v = np.zeros(len(self.lower))
        self.taken_out: dict[int, Shrunk] = {}

    def answer(self) -> Bound:
        """Return the bounds."""
        sign, decided, joined = self._signs()
        open_ = self.free & ~decided
        self._shrink(np.flatnonzero(open_.any(axis=1)), sign, open_)
        typical = solve_cases(self.network, self.typ)
        rows = np.flatnonzero(open_.any(axis=1))
        if len(rows):
            guess = self._pull(self.typ[rows], typical.node_v[rows], rows)
            sign[rows] = np.where(open_[rows], guess, sign[rows])
            self._cap(rows, open_[rows])
        curve_of = self._choose(sign)
        solution = solve_cases(self.network, curve_of, start_v=typical.node_v)
        if len(rows):
            sign, curve_of, solution = self._improve(rows, open_, sign, curve_of, solution)
        worst = self._target_v(solution)
        gap = np.zeros(len(worst))
        proven = joined & solution.solved
        injected = np.zeros(solution.node_v.shape)
        if len(rows):
            good = np.zeros(len(worst), dtype=np.bool_)
            gap[rows] = np.inf
            for end in (1, 0):
                again = rows[gap[rows] > SMALL_GAP_V]
                if not len(again):
                    break
                let_in = self._let_in(again, open_[again], sign[again], end)
                relaxed = solve_cases(
                    self.network, curve_of[again], start_v=solution.node_v[again], injected_a=let_in
                )
                new_gap = np.maximum(self._target_v(relaxed, again) - worst[again], 0.0)
                better = relaxed.solved & (new_gap < gap[again])
                better &= self._near(again, relaxed, solution)
                gap[again[better]] = new_gap[better]
                use = better & (new_gap <= MOST_GAP_V)
                good[again[use]] = True
                _replace(solution, again[use], relaxed, use)
                injected[again[use]] = let_in[use]
            proven[rows] &= good[rows]
        for row, taken in self.taken_out.items():
            self.moves_v[row] += taken.doubt_v(self.network, solution.node_v[row])
        gap += self.moves_v
        proven &= gap <= MOST_GAP_V
        return self._bound(solution, curve_of, injected, proven, gap)

    # -- steps -----------------------------------------------------------------------------

    def _signs(self) -> tuple[IntArray, BoolArray, BoolArray]:
        """Return (S, E) signs and whether decided, and (S,) whether the target is joined."""
        structure = structure_of(self.network, self.counted)
        cases, count = self.lower.shape
        sign = np.zeros((cases, count), dtype=np.int64)
        decided = np.ones((cases, count), dtype=np.bool_)
        joined = np.ones(cases, dtype=np.bool_)
        unique, which = np.unique(self.pairs, axis=0, return_inverse=True)
        for number, (p, q) in enumerate(unique.tolist()):
            rows = np.flatnonzero(which.ravel() == number)
            if p == q:
                continue
            found = structure.signs(p, q)
            joined[rows] = found.joined
            sign[rows] = found.sign
            decided[rows] = found.decided if found.joined else False
        return sign, decided, joined

    def _shrink(self, rows: IntArray, sign: IntArray, open_: BoolArray) -> None:
        """Decide what the topology leaves open by taking out elements that drop next to nothing."""
        if not len(rows):
            return
        cap = self._most_through(rows)
        whole = structure_of(self.network, self.counted)
        shrinker = Shrinker(self.network, self.counted, whole)
        own = dict(zip(self.own_rows.tolist(), self.own.tolist(), strict=True))
        for at, row in enumerate(rows.tolist()):
            pair = int(self.pairs[row, 0]), int(self.pairs[row, 1])
            ends_of = self.lower[row], self.upper[row]
            found = shrinker.shrink(pair, ends_of, cap[at], self.free[row], own.get(row, -1))
            if found is not None:
                sign[row], open_[row] = found.signs.sign, found.open
                self.taken_out[row] = found

    def _choose(self, sign: IntArray) -> IntArray:
        """Return the unfavourable curves: less current where more would lower the target."""
        curve_of = np.where(sign > 0, self.lower, np.where(sign < 0, self.upper, self.typ))
        curve_of = np.where(self.instead >= 0, self.instead, curve_of)
        rows, own = self.own_rows, self.own
        along = self.network.tail[own] == self.pairs[rows, 0]
        curve_of[rows, own] = np.where(along, self.upper[rows, own], self.lower[rows, own])
        return curve_of

    def _pull(self, curve_of: IntArray, node_v: FloatArray, rows: IntArray) -> IntArray:
        """Return (R, E) signs as they are at an operating point."""
        potential = adjoint_v(self.network, curve_of, node_v, self.pairs[rows])
        across = potential[:, self.network.tail] - potential[:, self.network.head]
        return np.sign(np.nan_to_num(across)).astype(np.int64)

    def _target_v(self, solution: Solution, rows: IntArray | None = None) -> FloatArray:
        pairs = self.pairs if rows is None else self.pairs[rows]
        every = np.arange(len(pairs))
        return solution.node_v[every, pairs[:, 0]] - solution.node_v[every, pairs[:, 1]]

    def _near(self, rows: IntArray, other: Solution, solution: Solution) -> BoolArray:
        """Return (R,) whether currents asked for in some rows are nearly those of the solution.

        A millivolt across a stiff element is amperes: there the gap in volts says nothing.
        """
        near = np.ones(len(rows), dtype=np.bool_)
        at, own_at = np.nonzero(rows[:, None] == self.own_rows[None, :])
        own = self.own[own_at]
        was, now = solution.element_a[rows[at], own], other.element_a[at, own]
        near[at] = np.abs(now - was) <= _most_gap_a(was)
        return near

    def _improve(
        self,
        rows: IntArray,
        open_: BoolArray,
        sign: IntArray,
        curve_of: IntArray,
        solution: Solution,
    ) -> tuple[IntArray, IntArray, Solution]:
        """Turn undecided elements while that makes the target worse."""
        for _ in range(_ROUNDS):
            pull = self._pull(curve_of[rows], solution.node_v[rows], rows)
            turned = np.where(open_[rows], pull, sign[rows])
            moved = (turned != sign[rows]).any(axis=1)
            rows, turned = rows[moved], turned[moved]
            if not len(rows):
                break
            trial = sign.copy()
            trial[rows] = turned
            trial_of = self._choose(trial)[rows]
            again = solve_cases(self.network, trial_of, start_v=solution.node_v[rows])
            better = self._target_v(again, rows) > self._target_v(solution)[rows]
            rows = rows[better]
            sign[rows], curve_of[rows] = turned[better], trial_of[better]
            _replace(solution, rows, again, better)
        return sign, curve_of, solution

    def _let_in(self, rows: IntArray, open_: BoolArray, sign: IntArray, end: int) -> FloatArray:
        """Return (R, N) what undecided elements could add, let through one end of the target.

        A current from a to b is one from a to the end and one from the end to b. Nothing is
        pulled beyond the ends, so at q (`end` 1) only what is let in at b raises the target,
        and at p (`end` 0) only what is drawn at a. The end with the stiffer node loses less.
        """
        network = self.network
        spread = self._spread(rows, open_)
        injected = np.zeros((len(rows), network.node_count))
        every = np.broadcast_to(np.arange(len(rows))[:, None], spread.shape)
        at_head = (sign > 0) == (end == 1)
        node = np.where(at_head, network.head[None, :], network.tail[None, :])
        way = 1.0 if end == 1 else -1.0
        np.add.at(injected, (every, node), way * spread)
        capped = way * self.extra_a[rows]  # may flow either way, so it counts at both ends
        for ends in (network.head, network.tail):
            np.add.at(injected, (every, np.broadcast_to(ends, spread.shape)), capped)
        total = way * spread.sum(axis=1) + 2.0 * capped.sum(axis=1)
        np.add.at(injected, (np.arange(len(rows)), self.pairs[rows, end]), -total)
        return injected

    def _cap(self, rows: IntArray, open_: BoolArray) -> None:
        """Bound undecided elements by what their neighbours let through.

        An element carries no more than all others at either of its ends can carry together,
        by Kirchhoff's current law: a switched output before an input carries what the input
        draws, whatever it could. That also bounds the voltage across it. Such an element is
        taken at one of its curves. What it may carry besides acts as a source beside that
        curve: where the curve is a resistance R, the source moves the target by no more than
        R times its current, for a voltage elsewhere is a part of the voltage between its own
        ends; where it is not, all of it is let in at both ends.
        """
        most = self._most_v(rows)
        cap = self._most_through(rows)
        spread = self._spread(rows, open_)
        curves = self.network.curves.curves
        for at, e in np.argwhere(open_).tolist():
            row = int(rows[at])
            choices = [int(c[row, e]) for c in (self.typ, self.lower, self.upper)]
            kept, extra, moves_v = stand_in(curves, choices, float(cap[at, e]), float(most[at]))
            if moves_v <= _SMALL_MOVE_V:
                self.instead[row, e] = kept
                self.moves_v[row] += moves_v
            elif extra < spread[at, e]:
                self.instead[row, e] = kept
                self.extra_a[row, e] = extra

    def _most_v(self, rows: IntArray) -> FloatArray:
        """Return (R,) what no voltage exceeds."""
        return highest_v(self.network, self.lower[rows], self.upper[rows])

    def _most_through(self, rows: IntArray) -> FloatArray:
        lower, upper = self.lower[rows], self.upper[rows]
        return most_through_a(self.network, lower, upper, self._most_v(rows))

    def _spread(self, rows: IntArray, open_: BoolArray) -> FloatArray:
        """Return (R, E) amperes between the lower and the upper curve, at most."""
        open_ = open_ & (self.instead[rows] < 0)
        return spread_a(self.network, self.lower[rows], self.upper[rows], self._most_v(rows), open_)

    def _bound(
        self,
        solution: Solution,
        curve_of: IntArray,
        injected: FloatArray,
        proven: BoolArray,
        gap: FloatArray,
    ) -> Bound:
        """Return the bounds with what leaks and quiet elements could add put on top."""
        network = self.network
        stray = self._stray(curve_of, solution)
        strayed = solve_cases(
            network, curve_of, start_v=solution.node_v, injected_a=injected + stray
        )
        slack = np.maximum(self._target_v(strayed) - self._target_v(solution), 0.0) + FLOOR_V
        slack += self.moves_v
        value_v = self.direction * (self._target_v(solution) + slack)
        value_a = np.full(len(value_v), np.nan)
        rows, own = self.own_rows, self.own
        along = np.where(network.tail[own] == self.pairs[rows, 0], 1.0, -1.0)
        current = np.maximum(
            along * solution.element_a[rows, own], along * strayed.element_a[rows, own]
        )
        for at, row in enumerate(rows.tolist()):
            if self.moves_v[row] > 0.0:
                curve = network.curves.curves[int(curve_of[row, own[at]])]
                volts = along[at] * float(self._target_v(strayed)[row])
                moved = volts + along[at] * float(self.moves_v[row])
                more = abs(value(curve, moved) - value(curve, volts))
                proven[row] &= more <= _most_gap_a(current[at])
                current[at] += more if proven[row] else 0.0
        value_a[rows] = self.direction[rows] * current
        proven = proven & strayed.solved
        return Bound(value_v, value_a, proven, slack, gap, solution, curve_of)

    def _stray(self, curve_of: IntArray, solution: Solution) -> FloatArray:
        """Return (S, N) twice what leaks and quiet elements carry, the way that hurts most."""
        potential = adjoint_v(self.network, curve_of, solution.node_v, self.pairs)
        return stray_a(
            self.network,
            (self.lower, self.upper),
            self._most_v(self.every),
            self.counted,
            np.nan_to_num(potential),
        )


def _most_gap_a(amps: FloatArray) -> FloatArray:
    """Return by how much a bound on a current may be wider than what really occurs."""
    return np.maximum(MOST_GAP_RATIO * np.abs(amps), MOST_GAP_A)


def _replace(solution: Solution, rows: IntArray, other: Solution, chosen: BoolArray) -> None:
    """Put the chosen cases of another solution into rows of this one."""
    solution.node_v[rows] = other.node_v[chosen]
    solution.element_a[rows] = other.element_a[chosen]
    solution.residual_a[rows] = other.residual_a[chosen]
    solution.solved[rows] = other.solved[chosen]
    solution.iterations[rows] = other.iterations[chosen]
