"""The curves of one batch of cases, laid out for quick evaluation.

Elements whose curve is a straight line in every case of the batch are put into the conductance
matrix once. Only the others, the *bent* ones, are looked at in each Newton step.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.network import Network
from ringout.solve.order import Plan, Sums, assemble, leaving

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class Branches:
    """The elements of S cases: E of them, B bent.

    Args:
        network: N nodes, E elements.
        plan: its elimination plan.
        curve_of: (E, S) curve numbers.
        leak_s: leak from every node to PE.
        injected_a: (N, S) currents put into the nodes, or None.
    """

    def __init__(
        self,
        network: Network,
        plan: Plan,
        curve_of: IntArray,
        leak_s: float,
        injected_a: FloatArray | None,
    ) -> None:
        table = network.curves
        self.plan, self.leak_s, self.injected_a = plan, leak_s, injected_a
        self.tail, self.head = network.tail, network.head
        self._slope, self._offset = table.slope_s.ravel(), table.intercept_a.ravel()
        count = table.count[curve_of].max(axis=1, initial=0)
        order = np.argsort(-count, kind="stable")
        bent = order[: int(np.count_nonzero(count))]
        self.bent, self.bent_tail, self.bent_head = bent, self.tail[bent], self.head[bent]
        own = curve_of[bent]
        most = int(count.max(initial=0))
        rows = [int(np.count_nonzero(count[bent] > b)) for b in range(most)]
        self._first = own * table.slope_s.shape[1]
        self._breaks = [table.break_v[own[:r], b] for b, r in enumerate(rows)]
        self._linear_s = table.slope_s[curve_of, 0]
        self._linear_s[bent] = 0.0
        self._linear_a = table.intercept_a[curve_of, 0]
        self._linear_a[bent] = 0.0
        self._first_full, self._breaks_full = self._first, self._breaks
        self.base = assemble(plan, self._linear_s, leak_s)
        self._slots = Sums.of(plan.slot_of[bent])
        both = np.concatenate([self.bent_tail, self.bent_head])
        self._by_node = np.argsort(both, kind="stable")
        self._node = both[self._by_node]

    def keep(self, columns: BoolArray) -> None:
        """Drop from the working arrays the cases that are not kept."""
        self._first = self._first[:, columns]
        self._breaks = [b[:, columns] for b in self._breaks]
        self.base = self.base[:, columns]

    def bent_across(self, v: FloatArray) -> FloatArray:
        """Return (B, S) voltages of the bent elements."""
        return v[self.bent_tail] - v[self.bent_head]

    def lines(self, u: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return slope and intercept of the bent elements' pieces at (B, S) voltages."""
        return self._lines(u, self._first, self._breaks)

    def _lines(
        self, u: FloatArray, first: IntArray, breaks: list[FloatArray]
    ) -> tuple[FloatArray, FloatArray]:
        piece = first.copy()
        for places in breaks:
            piece[: len(places)] += u[: len(places)] > places
        return self._slope.take(piece), self._offset.take(piece)

    def part(self, rows: IntArray, columns: IntArray) -> Part:
        """Return some bent elements, in ascending order, of some cases."""
        at = (rows[:, None], columns)
        breaks = []
        for places in self._breaks:
            inside = rows[: int(np.searchsorted(rows, len(places)))]
            breaks.append(places[inside[:, None], columns])
        return Part(self._slope, self._offset, self._first[at], breaks)

    def conductance(self, bent_slope: FloatArray, heavy: FloatArray) -> FloatArray:
        """Return (slots, S) conductances, with extra leaks at every node."""
        result = self.base.copy()
        self._slots.add(bent_slope, result)
        if heavy.any():
            result[1 : self.plan.node_count] += heavy
        return result

    def spread(self, extra_a: FloatArray, out: FloatArray) -> None:
        """Take (B, S) extra currents of the bent elements from (N, S) missing currents."""
        changed = np.flatnonzero(extra_a.any(axis=1))
        if not len(changed):
            return
        is_changed = np.zeros(2 * len(self.bent), dtype=np.bool_)
        is_changed[changed] = is_changed[changed + len(self.bent)] = True
        use = is_changed[self._by_node]
        entry, node = self._by_node[use], self._node[use]
        start = np.flatnonzero(np.diff(node, prepend=-1))
        from_tail = entry < len(self.bent)
        rows = extra_a[np.where(from_tail, entry, entry - len(self.bent))]
        rows[from_tail] *= -1.0
        out[node[start]] += np.add.reduceat(rows, start, axis=0)
        out[0] = 0.0

    def exact(self, v: FloatArray, case: IntArray) -> tuple[FloatArray, FloatArray]:
        """Evaluate everything afresh.

        Args:
            v: (N, K) node voltages.
            case: (K,) cases, counted as at the start.

        Returns:
            (E, K) element currents and (N, K) currents the nodes lack.
        """
        every = len(case) == self._linear_s.shape[1]
        u = v[self.tail] - v[self.head]
        bent_u = u[self.bent]
        if every:
            current = self._linear_s * u + self._linear_a
            slope, offset = self._lines(bent_u, self._first_full, self._breaks_full)
        else:
            current = self._linear_s[:, case] * u + self._linear_a[:, case]
            slope, offset = self._lines(
                bent_u, self._first_full[:, case], [b[:, case] for b in self._breaks_full]
            )
        current[self.bent] = slope * bent_u + offset
        missing = -leaving(self.plan, current)
        missing -= self.leak_s * v
        if self.injected_a is not None:
            missing += self.injected_a[:, case]
        missing[0] = 0.0
        return current, missing


class Part:
    """Some of the bent elements in some of the cases, for a line search; (B, K) arrays.

    Args:
        slope: slopes of all pieces of all curves.
        offset: their intercepts.
        first: (B, K) where each curve's pieces begin.
        breaks: the first, second, ... breaks of the first rows, those with most breaks first.
    """

    def __init__(
        self, slope: FloatArray, offset: FloatArray, first: IntArray, breaks: list[FloatArray]
    ) -> None:
        self._slope, self._offset, self._first, self._breaks = slope, offset, first, breaks

    def current(self, u: FloatArray) -> FloatArray:
        """Return the currents at voltages."""
        piece = self._first.copy()
        for places in self._breaks:
            piece[: len(places)] += u[: len(places)] > places
        result = self._slope.take(piece)
        result *= u
        result += self._offset.take(piece)
        return result

    def corners(self, u: FloatArray, du: FloatArray) -> FloatArray:
        """Return (C, K) the sorted step lengths at which a curve turns, with 0 and 1."""
        count = u.shape[1]
        lengths = [np.zeros((1, count)), np.ones((1, count))]
        for places in self._breaks:
            rows = len(places)
            far = places - u[:rows]
            t = np.divide(far, du[:rows], out=np.zeros_like(far), where=du[:rows] != 0.0)
            lengths.append(np.where((t > 0.0) & (t < 1.0), t, 0.0))
        return np.sort(np.concatenate(lengths), axis=0)


class Line:
    """The derivative of the co-content along the steps of K cases.

    As long as no element leaves its piece it rises from -`descent` by `rise` over the whole
    step; what elements carry beyond their old line is added.

    Args:
        part: elements that change their piece in the step.
        u: (B, K) their voltages at the start.
        du: (B, K) their change.
        lines: (B, K) slopes and intercepts of their pieces at the start.
        straight: `descent` and `rise`, each (K,).
    """

    def __init__(
        self,
        part: Part,
        u: FloatArray,
        du: FloatArray,
        lines: tuple[FloatArray, FloatArray],
        straight: tuple[FloatArray, FloatArray],
    ) -> None:
        self._part, self._u, self._du = part, u, du
        self._lines = lines
        self._descent, self._rise = straight

    def at(self, t: FloatArray) -> FloatArray:
        """Return the derivative at (K,) step lengths."""
        u = self._u + t * self._du
        beyond = self._part.current(u)
        u *= self._lines[0]
        beyond -= u
        beyond -= self._lines[1]
        extra: FloatArray = np.einsum("bk,bk->k", beyond, self._du)
        return extra + self._rise * t - self._descent

    def root(self) -> FloatArray:
        """Return (K,) where the derivative is zero, by bisection over the corners passed."""
        corners = self._part.corners(self._u, self._du)
        every = np.arange(corners.shape[1])
        low = np.zeros(len(every), dtype=np.int64)
        high = np.full(len(every), len(corners) - 1)
        while (high - low > 1).any():
            middle = (low + high) // 2
            falling = self.at(corners[middle, every]) <= 0.0
            low, high = np.where(falling, middle, low), np.where(falling, high, middle)
        lo, hi = corners[low, every], corners[high, every]
        lo_d, hi_d = self.at(lo), self.at(hi)
        rise = hi_d - lo_d
        part = np.where(rise > 0.0, -lo_d / np.where(rise > 0.0, rise, 1.0), 0.0)
        result: FloatArray = lo + np.clip(part, 0.0, 1.0) * (hi - lo)
        return result
