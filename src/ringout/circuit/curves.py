"""Current-voltage curves of two-terminal elements: monotone and piecewise linear.

A curve gives the current i(v) in amperes from tail to head at v = V_tail - V_head in volts.
Every slope is at least `MIN_SLOPE_S`, so that a network of such elements has exactly one
solution, and at most `MAX_SLOPE_S`, so that a double holds the current of a joint to 1e-10 A.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

MIN_SLOPE_S = 1e-9
MAX_SLOPE_S = 1e4

_SAME_SLOPE = 1e-12
_SAME_PLACE = 1e-12


@dataclass(frozen=True, slots=True)
class Curve:
    """A continuous, strictly increasing, piecewise-linear curve.

    Use the functions of this module to make one; they keep the slopes within their limits
    and join pieces of equal slope.

    Args:
        break_v: (B,) ascending voltages at which the slope changes.
        slope_s: (B + 1,) slopes, the first left of all breaks.
        base_a: current at the first break, or at 0 V when there is none.
    """

    break_v: tuple[float, ...]
    slope_s: tuple[float, ...]
    base_a: float

    @property
    def is_linear(self) -> bool:
        """Return whether the curve has one piece only."""
        return not self.break_v

    def break_a(self) -> tuple[float, ...]:
        """Return the (B,) currents at the breaks."""
        currents = [self.base_a] if self.break_v else []
        for k in range(1, len(self.break_v)):
            rise = self.slope_s[k] * (self.break_v[k] - self.break_v[k - 1])
            currents.append(currents[-1] + rise)
        return tuple(currents)

    def intercepts_a(self) -> tuple[float, ...]:
        """Return, for each piece, the current its line has at 0 V."""
        if not self.break_v:
            return (self.base_a,)
        at = self.break_a()
        first = at[0] - self.slope_s[0] * self.break_v[0]
        rest = (i - s * v for i, s, v in zip(at, self.slope_s[1:], self.break_v, strict=True))
        return (first, *rest)


def _held(slope_s: float) -> float:
    return min(max(slope_s, MIN_SLOPE_S), MAX_SLOPE_S)


def _pieces(break_v: Sequence[float], slope_s: Sequence[float], base_a: float) -> Curve:
    """Return the curve with its slopes held in their limits and equal neighbours joined."""
    slopes = [_held(slope_s[0])]
    breaks: list[float] = []
    currents: list[float] = []
    current = base_a
    for k, v in enumerate(break_v):
        if k:
            current += _held(slope_s[k]) * (v - break_v[k - 1])
        after = _held(slope_s[k + 1])
        if abs(after - slopes[-1]) <= _SAME_SLOPE * slopes[-1]:
            continue
        breaks.append(v)
        currents.append(current)
        slopes.append(after)
    if breaks:
        return Curve(tuple(breaks), tuple(slopes), currents[0])
    at_zero = base_a - slopes[0] * break_v[0] if break_v else base_a
    return Curve((), tuple(slopes), at_zero)


def points(
    pairs: Sequence[tuple[float, float]],
    left_s: float = MIN_SLOPE_S,
    right_s: float = MIN_SLOPE_S,
) -> Curve:
    """Return the curve through points.

    Args:
        pairs: (V, A) points, ascending in V, not falling in A.
        left_s: slope left of the first point.
        right_s: slope right of the last point.

    Returns:
        The curve; it is exact at the first point, and at the others as far as the slopes
        between them lie within the limits.

    Raises:
        ValueError: there is no point, or the points do not ascend.
    """
    if not pairs:
        raise ValueError("a curve needs at least one point")
    slopes = [left_s]
    for (v0, i0), (v1, i1) in pairwise(pairs):
        if v1 <= v0 or i1 < i0:
            raise ValueError(f"points do not ascend: ({v0}, {i0}), ({v1}, {i1})")
        slopes.append((i1 - i0) / (v1 - v0))
    slopes.append(right_s)
    return _pieces([v for v, _ in pairs], slopes, pairs[0][1])


# -- makers ------------------------------------------------------------------------------


def resistor(r_ohm: float) -> Curve:
    """Return a resistance; below 0.1 mOhm it counts as 0.1 mOhm."""
    return Curve((), (_slope(r_ohm),), 0.0)


def open_circuit() -> Curve:
    """Return what stands for nothing connected: 1 GOhm."""
    return Curve((), (MIN_SLOPE_S,), 0.0)


def _slope(r_ohm: float) -> float:
    return _held(1.0 / r_ohm) if r_ohm > 0.0 else MAX_SLOPE_S


def diode(forward_v: float, r_ohm: float) -> Curve:
    """Return a diode, anode at the tail: blocks below `forward_v`, then rises with `r_ohm`."""
    return _pieces([forward_v], [0.0, _slope(r_ohm)], MIN_SLOPE_S * forward_v)


def clamp(forward_v: float, breakdown_v: float, r_ohm: float) -> Curve:
    """Return a diode that also conducts in reverse beyond `breakdown_v` (a positive figure)."""
    steep = _slope(r_ohm)
    return _pieces([-breakdown_v, forward_v], [steep, 0.0, steep], -MIN_SLOPE_S * breakdown_v)


def drop(
    drop_v: float, r_ohm: float, limit_a: float | None = None, reverse_v: float | None = None
) -> Curve:
    """Return a switched-on output or two-wire sensor.

    Args:
        drop_v: what it keeps before it carries current; 0 V makes it ohmic.
        r_ohm: rise beyond that.
        limit_a: current it limits itself to; None for no limit.
        reverse_v: voltage from which it conducts in reverse, as a body diode does, again
            with `r_ohm`; 0 V makes it ohmic in both directions; None: it blocks.

    Returns:
        The curve, tail at the side the current enters.
    """
    steep = _slope(r_ohm)
    breaks, slopes = [drop_v], [0.0, steep]
    if limit_a is not None:
        breaks.append(drop_v + max(limit_a - MIN_SLOPE_S * drop_v, 1e-9) / steep)
        slopes.append(0.0)
    if reverse_v is None:
        return _pieces(breaks, slopes, MIN_SLOPE_S * drop_v)
    if -reverse_v >= drop_v:
        return _pieces(breaks[1:], [steep, *slopes[2:]], steep * (breaks[-1] - drop_v))
    return _pieces([-reverse_v, *breaks], [steep, *slopes], -MIN_SLOPE_S * reverse_v)


def constant_current(current_a: float, knee_v: float, reverse_v: float | None = None) -> Curve:
    """Return a load that draws `current_a` from `knee_v` on and is ohmic below.

    Args:
        current_a: current beyond the knee.
        knee_v: where the ohmic part ends.
        reverse_v: voltage from which it conducts in reverse (0.1 ohm); None: it blocks.

    Returns:
        The curve; the current at the knee is exact, beyond it 1 nA per volt is added.
    """
    if current_a <= 0.0 or knee_v <= 0.0:
        breaks, slopes, base = [0.0], [0.0, 0.0], 0.0
    else:
        breaks, slopes, base = [0.0, knee_v], [0.0, current_a / knee_v, 0.0], 0.0
    if reverse_v is None:
        return _pieces(breaks, slopes, base)
    back = max(reverse_v, 1e-6)
    return _pieces([-back, *breaks], [10.0, *slopes], -MIN_SLOPE_S * back)


def source(
    open_v: float,
    r_ohm: float,
    limit_a: float | None = None,
    short_a: float | None = None,
    *,
    can_sink: bool = False,
) -> Curve:
    """Return a supply, + at the tail and - at the head.

    Args:
        open_v: voltage without load.
        r_ohm: source resistance.
        limit_a: current at which it leaves regulation; None for no limit.
        short_a: current into a dead short where it is larger than `limit_a`. A smaller one
            (fold-back, hiccup) is not monotone: that supply has two states, each a curve.
        can_sink: takes current when pushed above `open_v`; without it the supply blocks.

    Returns:
        The curve; delivered current is negative.

    Raises:
        ValueError: `short_a` is smaller than `limit_a`.
    """
    steep = _slope(r_ohm)
    above = steep if can_sink else 0.0
    if limit_a is None:
        return _pieces([open_v], [steep, above], 0.0)
    limit_v = open_v - limit_a / steep
    flat = 0.0
    if short_a is not None:
        if short_a < limit_a:
            raise ValueError("a supply that folds back is not one monotone curve")
        flat = (short_a - limit_a) / limit_v if limit_v > 0.0 else 0.0
    return _pieces([limit_v, open_v], [flat, steep, above], -limit_a)


def lamp_led(forward_v: float, r_ohm: float, reverse_v: float | None = None) -> Curve:
    """Return a light with its resistor; with `reverse_v` it also lights the other way round."""
    rise = _slope(r_ohm)
    if reverse_v is None:
        return _pieces([forward_v], [0.0, rise], MIN_SLOPE_S * forward_v)
    return _pieces([-reverse_v, forward_v], [rise, 0.0, rise], -MIN_SLOPE_S * reverse_v)


def limited(r_ohm: float, limit_a: float) -> Curve:
    """Return a resistance that lets no more than `limit_a` pass, in either direction."""
    steep = _slope(r_ohm)
    return _pieces([-limit_a / steep, limit_a / steep], [0.0, steep, 0.0], -limit_a)


# -- reading and combining ---------------------------------------------------------------


def mirrored(curve: Curve) -> Curve:
    """Return the same element with tail and head swapped."""
    if not curve.break_v:
        return Curve((), curve.slope_s, -curve.base_a)
    last = curve.break_a()[-1]
    return Curve(tuple(-v for v in reversed(curve.break_v)), curve.slope_s[::-1], -last)


def slope_at(curve: Curve, v: float) -> float:
    """Return the slope in siemens at a voltage (at a break, of the piece left of it)."""
    return curve.slope_s[bisect_left(curve.break_v, v)]


def value(curve: Curve, v: float) -> float:
    """Return the current in amperes at a voltage."""
    if not curve.break_v:
        return curve.base_a + curve.slope_s[0] * v
    k = bisect_left(curve.break_v, v)
    if k == 0:
        return curve.base_a + curve.slope_s[0] * (v - curve.break_v[0])
    return curve.break_a()[k - 1] + curve.slope_s[k] * (v - curve.break_v[k - 1])


def inverse(curve: Curve, i: float) -> float:
    """Return the voltage at a current in amperes."""
    if not curve.break_v:
        return (i - curve.base_a) / curve.slope_s[0]
    at = curve.break_a()
    k = bisect_left(at, i)
    if k == 0:
        return curve.break_v[0] + (i - at[0]) / curve.slope_s[0]
    return curve.break_v[k - 1] + (i - at[k - 1]) / curve.slope_s[k]


def upper(curves: Sequence[Curve]) -> Curve:
    """Return the largest current any of the curves has, at every voltage."""
    return _envelope(list(dict.fromkeys(curves)), max)


def lower(curves: Sequence[Curve]) -> Curve:
    """Return the smallest current any of the curves has, at every voltage."""
    return _envelope(list(dict.fromkeys(curves)), min)


def parallel(curves: Sequence[Curve]) -> Curve:
    """Return the sum of the currents, at every voltage; its slope is held in the limits."""
    breaks = sorted({v for c in curves for v in c.break_v})
    tests = _between(breaks)
    slopes = [sum(slope_at(c, v) for c in curves) for v in tests]
    at = breaks[0] if breaks else 0.0
    return _pieces(breaks, slopes, sum(value(c, at) for c in curves))


def series(first: Curve, second: Curve) -> Curve:
    """Return two elements one after the other: their voltages add at every current."""
    currents = sorted({*first.break_a(), *second.break_a()})
    if not currents:
        slope = 1.0 / (1.0 / first.slope_s[0] + 1.0 / second.slope_s[0])
        at_zero = slope * (first.base_a / first.slope_s[0] + second.base_a / second.slope_s[0])
        return Curve((), (_held(slope),), at_zero)

    def slope_of(i: float) -> float:
        pair = (first, second)
        return 1.0 / sum(1.0 / slope_at(c, inverse(c, i)) for c in pair)

    breaks = [inverse(first, i) + inverse(second, i) for i in currents]
    slopes = [slope_of(i) for i in _between(currents)]
    return _pieces(breaks, slopes, currents[0])


def _between(places: Sequence[float]) -> list[float]:
    """Return one number below, between each two of, and above ascending numbers."""
    if not places:
        return [0.0]
    middles = [(a + b) / 2 for a, b in pairwise(places)]
    return [places[0] - 1.0, *middles, places[-1] + 1.0]


def _crossings(curves: Sequence[Curve], test_v: float, low: float, high: float) -> list[float]:
    """Return where the curves' lines around `test_v` cross strictly between two voltages."""
    lines = {(slope_at(c, test_v), value(c, test_v)) for c in curves}
    found = []
    ordered = sorted(lines)
    for k, (slope0, value0) in enumerate(ordered):
        for slope1, value1 in ordered[k + 1 :]:
            if slope1 - slope0 > _SAME_SLOPE * slope1:
                v = test_v + (value0 - value1) / (slope1 - slope0)
                if low < v < high:
                    found.append(v)
    return found


def _envelope(curves: Sequence[Curve], pick: Callable[..., Curve]) -> Curve:
    if len(curves) == 1:
        return curves[0]
    if not curves:
        raise ValueError("no curves to choose from")
    breaks = sorted({v for c in curves for v in c.break_v})
    ends = pairwise([float("-inf"), *breaks, float("inf")])
    places = list(breaks)
    for test_v, (low, high) in zip(_between(breaks), ends, strict=True):
        places += _crossings(curves, test_v, low, high)
    places = _apart(sorted(places))
    chosen = [pick(curves, key=lambda c, v=v: value(c, v)) for v in _between(places)]
    slopes = [slope_at(c, v) for c, v in zip(chosen, _between(places), strict=True)]
    at = places[0] if places else 0.0
    return _pieces(places, slopes, value(pick(curves, key=lambda c: value(c, at)), at))


def _apart(places: Sequence[float]) -> list[float]:
    """Return ascending voltages without those a rounding error apart."""
    kept: list[float] = []
    for v in places:
        if not kept or v - kept[-1] > _SAME_PLACE * max(1.0, abs(v)):
            kept.append(v)
    return kept
