from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from ringout.circuit import curves as cv
from tests.physics.networks import curves

PROBES = np.linspace(-70.0, 70.0, 561)
volts = st.floats(-100.0, 100.0)


def values(curve, at=PROBES):
    return np.array([cv.value(curve, float(v)) for v in at])


@given(curves())
def test_every_slope_is_within_its_limits(curve):
    assert all(cv.MIN_SLOPE_S <= s <= cv.MAX_SLOPE_S for s in curve.slope_s)
    assert list(curve.break_v) == sorted(set(curve.break_v))
    assert len(curve.slope_s) == len(curve.break_v) + 1
    assert all(a != b for a, b in zip(curve.slope_s, curve.slope_s[1:], strict=False))


@given(curves(), volts, volts)
def test_more_volts_never_give_less_current(curve, a, b):
    assume(a < b)
    assert cv.value(curve, a) <= cv.value(curve, b) + 1e-12 * abs(cv.value(curve, b))


@given(curves(), volts)
def test_inverse_undoes_value(curve, v):
    i = cv.value(curve, v)
    back = cv.inverse(curve, i)
    # The voltage is as sharp as the current is: 1e-16 of it over the flattest slope.
    assert abs(cv.value(curve, back) - i) <= 1e-9 * max(1.0, abs(i))


@given(curves())
def test_intercepts_and_breaks_describe_the_same_curve(curve):
    edges = [-np.inf, *curve.break_v, np.inf]
    for v in PROBES:
        piece = next(k for k in range(len(edges) - 1) if edges[k] < v <= edges[k + 1])
        line = curve.intercepts_a()[piece] + curve.slope_s[piece] * v
        assert line == pytest.approx(cv.value(curve, v), abs=1e-9, rel=1e-9)


@given(curves())
def test_a_mirror_twice_is_the_same(curve):
    assert values(cv.mirrored(curve)) == pytest.approx(-values(curve, -PROBES), abs=1e-9)
    assert values(cv.mirrored(cv.mirrored(curve))) == pytest.approx(values(curve), abs=1e-9)


@given(st.lists(curves(), min_size=1, max_size=4))
def test_envelopes_are_the_largest_and_the_smallest_everywhere(drawn):
    breaks = [v for c in drawn for v in c.break_v]
    at = np.array([*PROBES, *breaks, *(v + 1e-6 for v in breaks)])
    table = np.array([values(c, at) for c in drawn])
    scale = 1e-9 * (1.0 + np.abs(table).max(axis=0))
    assert (np.abs(values(cv.upper(drawn), at) - table.max(axis=0)) <= scale).all()
    assert (np.abs(values(cv.lower(drawn), at) - table.min(axis=0)) <= scale).all()


@given(st.lists(curves(), min_size=1, max_size=4))
def test_envelopes_do_not_depend_on_order(drawn):
    for envelope in (cv.upper, cv.lower):
        first, second = envelope(drawn), envelope(drawn[::-1])
        assert values(first) == pytest.approx(values(second), rel=1e-9, abs=1e-9)
        assert envelope([first, *drawn]) is not None
        again = envelope([first, *drawn])
        assert values(again) == pytest.approx(values(first), rel=1e-9, abs=1e-9)


@given(curves(), curves())
def test_currents_add_in_parallel(a, b):
    both = values(a) + values(b)
    assume(max(*a.slope_s, *b.slope_s) < cv.MAX_SLOPE_S / 2)
    assert values(cv.parallel([a, b])) == pytest.approx(both, rel=1e-9, abs=1e-9)


@st.composite
def bends(draw):
    """Draw a curve whose slopes stay far from their limits when two are put in series."""
    ohms = [draw(st.floats(0.1, 1e4)) for _ in range(4)]
    knee = draw(st.floats(0.1, 5.0))
    pairs = [(-knee, -knee / ohms[0]), (0.0, 0.0), (knee, knee / ohms[1])]
    return cv.points(pairs, 1.0 / ohms[2], 1.0 / ohms[3])


@given(bends() | curves(), bends(), st.floats(-3.0, 3.0))
def test_voltages_add_in_series(a, b, i):
    chain = cv.series(a, b)
    total = cv.inverse(a, i) + cv.inverse(b, i)
    if min(chain.slope_s) > cv.MIN_SLOPE_S:
        assert cv.value(chain, total) == pytest.approx(i, rel=1e-6, abs=1e-6)
        assert cv.inverse(chain, i) == pytest.approx(total, rel=1e-6, abs=1e-6)


def test_two_resistors_in_series():
    assert cv.series(cv.resistor(10.0), cv.resistor(30.0)) == cv.resistor(40.0)


def check(curve, expected):
    """Compare a curve at some voltages; what blocks may carry its 1 nA per volt."""
    assert {v: cv.value(curve, v) for v in expected} == pytest.approx(expected, abs=2e-7)


# Each element at a few points told by its description.
def test_resistor_and_open():
    check(cv.resistor(100.0), {24.0: 0.24, -24.0: -0.24})
    assert cv.value(cv.open_circuit(), 24.0) == pytest.approx(24e-9)
    assert cv.resistor(0.0).slope_s == (cv.MAX_SLOPE_S,)


def test_diode_and_clamp():
    check(cv.diode(0.7, 0.1), {-100.0: 0.0, 0.7: 0.0, 1.0: 3.0})
    check(cv.clamp(0.7, 40.0, 0.1), {1.0: 3.0, 0.0: 0.0, -40.0: 0.0, -41.0: -10.0})


def test_output_stage():
    stage = cv.drop(1.5, 2.0, 0.2, 0.7)
    check(stage, {1.5: 0.0, 1.7: 0.1, 1.9: 0.2, 24.0: 0.2, -0.7: 0.0, -1.0: -0.15})
    check(cv.drop(0.0, 2.0), {-24.0: 0.0, 0.2: 0.1})
    check(cv.drop(0.0, 2.0, 0.2, 0.0), {0.2: 0.1, -24.0: -12.0, 24.0: 0.2})
    assert cv.drop(0.0, 2.0, None, 0.0) == cv.resistor(2.0)


def test_constant_current():
    check(cv.constant_current(0.01, 5.0), {2.5: 0.005, 24.0: 0.01, -24.0: 0.0})
    check(cv.constant_current(0.01, 5.0, 0.7), {-0.7: 0.0, -1.0: -3.0})
    check(cv.constant_current(0.0, 5.0), {24.0: 0.0, -24.0: 0.0})


def test_supply():
    supply = cv.source(24.0, 0.1, 5.0)
    # Pushed above its voltage it blocks.
    check(supply, {24.0: 0.0, 23.8: -2.0, 23.5: -5.0, 0.0: -5.0, 30.0: 0.0})
    check(cv.source(24.0, 0.1, 5.0, can_sink=True), {25.0: 10.0})
    check(cv.source(24.0, 0.1, 5.0, 7.5), {23.5: -5.0, 0.0: -7.5})
    check(cv.source(24.0, 0.1), {0.0: -240.0, 30.0: 0.0})
    with pytest.raises(ValueError, match="folds back"):
        cv.source(24.0, 0.1, 5.0, 2.0)


def test_light_and_protection():
    check(cv.lamp_led(2.0, 1100.0), {24.0: 0.02, -24.0: 0.0})
    check(cv.lamp_led(2.0, 1100.0, 2.0), {24.0: 0.02, -24.0: -0.02})
    check(cv.limited(0.03, 2.0), {24.0: 2.0, -24.0: -2.0, 0.03: 1.0})


def test_points_that_do_not_ascend_are_refused():
    for pairs in ([], [(0.0, 0.0), (0.0, 1.0)], [(0.0, 1.0), (1.0, 0.0)]):
        with pytest.raises(ValueError, match="point"):
            cv.points(pairs)


def test_pieces_of_equal_slope_are_one():
    assert cv.points([(0.0, 0.0), (1.0, 1.0), (2.0, 2.0)], 1.0, 1.0) == cv.resistor(1.0)


# Two resistors: the upper envelope takes the smaller one above 0 V, the larger one below.
def test_envelope_of_two_resistors_by_hand():
    both = [cv.resistor(100.0), cv.resistor(200.0)]
    assert cv.upper(both) == cv.Curve((0.0,), (0.005, 0.01), 0.0)
    assert cv.lower(both) == cv.Curve((0.0,), (0.01, 0.005), 0.0)
