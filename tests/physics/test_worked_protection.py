"""Worked examples F: what a short at the far end draws, and what the protection makes of it."""

from __future__ import annotations

import re

import pytest

from ringout.circuit.compile import compile_circuit
from ringout.findings.protection import FarShort, far_shorts
from ringout.findings.survey import survey
from ringout.tables.protection import electronic_limit_a, electronic_trip_s, fuse_opening_s
from tests.cells.worked.workbench import Bench, branch, codes, finding, number, read

ORDER = ["never", "late", "at once"]


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


def far_short(cell) -> FarShort:
    """Return the one far short of a cell."""
    circuit = compile_circuit(cell)
    (short,) = far_shorts(cell, survey(circuit), circuit)
    return short


def verdict(judged) -> str:
    """Return what prove says of the short at the far end."""
    found = codes(judged)
    return "never" if "F501" in found else "late" if "F502" in found else "at once"


def fed(protection, cable, length_m, supply="we-supply", amps=0.1):
    """Return a load at the end of a cable behind one protection, terminals 1 and 2."""
    return f"""
ambient: 20..20 °C
items:
  T1: {{part: {supply}}}
  F1: {{part: {protection}}}
  E1: {{part: we-load, amps: {amps} A}}
cables:
  W1: {{part: {cable}, length: {length_m:.4f} m}}
joins:
  - T1:+  F1:1
  - F1:2  W1:1  E1:+
  - T1:-  W1:2  E1:-
"""


# --- WE-28: tested lengths ------------------------------------------------------------------

# WE-28, documentation of a 24 V supply with breakers, 4.2: curve, rated A, mm2, metres of wire
# out and back together at which the breaker still opened magnetically within about 10 ms.
TESTED = [
    ("c", 2, 0.75, 23), ("c", 2, 1.0, 28), ("c", 2, 1.5, 43), ("c", 2, 2.5, 69),
    ("c", 4, 0.75, 6), ("c", 4, 1.0, 12), ("c", 4, 1.5, 18), ("c", 4, 2.5, 28),
    ("b", 6, 0.75, 9), ("b", 6, 1.0, 14), ("b", 6, 1.5, 19), ("b", 6, 2.5, 33),
]  # fmt: skip


def breaker(curve, rated_a, ohm="1 mΩ"):
    """Return a breaker without resistance of its own, as the source's inequality takes it."""
    return f"breaker-{curve}, rated: {rated_a} A, ohm: {ohm}"


@pytest.mark.parametrize(("curve", "rated_a", "area", "wire_m"), TESTED)
def test_we_28_tested_lengths_open_at_once(bench, curve, rated_a, area, wire_m):
    """WE-28: at these lengths 24 V / R_wire exceeds the ceiling of 15 x (C) or 7.5 x (B) at DC."""
    bench.cable("we-28", f"{area} mm2")
    cell = bench.load(fed(breaker(curve, rated_a), "we-28", wire_m / 2))
    short = far_short(cell)
    ceiling_a = {"c": 15.0, "b": 7.5}[curve] * rated_a
    assert short.fast_a == pytest.approx(ceiling_a)
    assert short.low_a > ceiling_a
    assert short.low_a <= short.high_a < 24 / (17.241e-3 * wire_m / area)  # pure copper alone


@pytest.mark.parametrize(("curve", "rated_a", "area", "wire_m"), TESTED[::4])
def test_we_28_a_longer_wire_never_opens_faster(bench, curve, rated_a, area, wire_m):
    """WE-28: doubling the length must never turn "no trip" into "trip", and some length ends it."""
    bench.cable("we-28", f"{area} mm2")
    verdicts = [
        ORDER.index(verdict(bench.prove(fed(breaker(curve, rated_a), "we-28", wire_m * n / 2))))
        for n in (1, 2, 4, 8, 16, 64)
    ]
    assert verdicts == sorted(verdicts, reverse=True)
    assert verdicts[0] == ORDER.index("at once")
    assert verdicts[-1] == ORDER.index("never")


@pytest.mark.parametrize(("curve", "rated_a", "area", "wire_m"), TESTED[1::4])
def test_we_28_the_longest_length_prove_names(bench, curve, rated_a, area, wire_m):
    """WE-28: the largest length prove allows is no shorter than what was tested."""
    bench.cable("we-28", f"{area} mm2")
    too_long = fed(breaker(curve, rated_a), "we-28", wire_m * 8)
    judged = bench.prove(too_long, remedies=True)
    found = finding(judged, "F502" if "F502" in codes(judged) else "F501")
    texts = [r.text for r in found.remedies if r.proven]
    named = [float(m[1]) for t in texts if (m := re.search(r"may be ([\d.]+) m at most", t))]
    assert len(named) == 1
    assert named[0] >= wire_m / 2 - 0.5  # told in half metres
    assert verdict(bench.prove(fed(breaker(curve, rated_a), "we-28", named[0]))) == "at once"


def test_we_28_the_breaker_itself_counts(bench):
    """WE-28, C 2 A: with the 0.5 ohm such a breaker has, less than half of the short is left.

    The library says so of a 2 A breaker; the tested length then no longer surely opens it.
    """
    bench.cable("we-28", "0.75 mm2")
    bare = far_short(bench.load(fed(breaker("c", 2), "we-28", 11.5)))
    real = far_short(bench.load(fed(breaker("c", 2, "0.5 Ω"), "we-28", 11.5)))
    assert real.low_a < 0.6 * bare.low_a
    assert real.low_a > real.sure_a


def test_we_30_the_ac_mean_lies_below_what_is_asked_for(bench):
    """WE-30, a series on circuit lengths: B 6 A opens at 24 A on average with AC; 45 A is sure."""
    bench.cable("we-30", "1.5 mm2")
    short = far_short(bench.load(fed(breaker("b", 6), "we-30", 5)))
    assert short.fast_a == pytest.approx(45.0)
    assert short.sure_a < 24.0 < short.fast_a


# --- WE-31: electronic protection -----------------------------------------------------------


def electronic(set_a, cable, length_m, amps=0.1, volts="24 V"):
    return f"""
ambient: 20..20 °C
items:
  T1: {{part: we-supply, volts: {volts}}}
  F1: {{part: electronic-breaker-4ch, set: [{set_a} A, 1 A, 1 A, 1 A]}}
  E1: {{part: we-load, amps: {amps} A}}
cables:
  W1: {{part: {cable}, length: {length_m:.4f} m}}
joins:
  - T1:+     F1:in+
  - T1:-     F1:in-
  - F1:out1  W1:1  E1:+
  - F1:m1    W1:2  E1:-
"""


def test_we_31_a_short_is_held_and_opened(bench):
    """WE-31, data sheet of a selectivity module: set 3 A: held to 4.5 A, off after about 100 ms."""
    bench.cable("we-31", "1.5 mm2")
    short = far_short(bench.load(electronic(3, "we-31", 10)))
    assert (short.low_a, short.high_a) == pytest.approx((4.5, 4.5), rel=0.001)
    assert short.high_a == pytest.approx(electronic_limit_a(3), rel=0.001)
    assert short.sure_a == pytest.approx(3.0)
    # the held current is what it would draw without protection, or less
    assert electronic_trip_s(3, short.high_a * 1.001) == pytest.approx(0.1)
    assert verdict(bench.prove(electronic(3, "we-31", 10))) == "at once"


def test_we_31_a_weak_short_opens_late(bench):
    """WE-31: between 1.0 and 1.5 times the setting it opens after about 5 s; below it, never."""
    bench.cable("we-31", "0.14 mm2")
    late = far_short(bench.load(electronic(3, "we-31", 23)))
    assert late.sure_a < late.low_a < late.high_a < 4.5
    assert electronic_trip_s(3, late.low_a) == pytest.approx(5.0)
    assert electronic_trip_s(3, late.high_a) == pytest.approx(5.0)
    assert verdict(bench.prove(electronic(3, "we-31", 23))) == "late"
    never = far_short(bench.load(electronic(3, "we-31", 40)))
    assert electronic_trip_s(3, never.low_a) is None
    assert verdict(bench.prove(electronic(3, "we-31", 40))) == "never"


def test_we_31_an_overload_of_4_a(bench):
    """WE-31: 4 A on a branch set to 3 A: off after about 5 s; an overload, and no short."""
    bench.cable("we-31", "1.5 mm2")
    judged = bench.prove(electronic(3, "we-31", 5, amps=4))
    found = finding(judged, "F202")
    assert "F201" not in codes(judged)
    assert number(found, "current") == pytest.approx(4.0, rel=0.001)
    assert number(found, "may carry") == pytest.approx(3.0)
    assert "E1" in found.message
    assert found.where
    amps = number(found, "current")
    assert electronic_trip_s(3, amps) == pytest.approx(5.0)
    assert electronic_trip_s(3, amps, supply_v=19.9) == pytest.approx(0.0005)
    assert not codes(bench.prove(electronic(3, "we-31", 5, amps=2.9))) & {"F201", "F202", "F204"}


def test_we_31_the_load_of_an_overloaded_branch(bench):
    """WE-31: the branch is told with the 4 A it must carry, not with what is left when cut."""
    bench.cable("we-31", "1.5 mm2")
    carried = branch(bench.prove(electronic(3, "we-31", 5, amps=4)), "F1.branch1")
    assert carried.limit_a == pytest.approx(3.0)
    assert carried.rest_a == pytest.approx(4.0, rel=0.001)
    assert carried.high_a == pytest.approx(4.0, rel=0.001)


# --- WE-33: a supply that retries -----------------------------------------------------------


def on_hiccup(amps):
    """Return a constant-current load straight on the library's supply of 5 A that retries."""
    return f"""
items:
  T1: supply-24v-5a-hiccup
  E1: {{part: we-load, amps: {amps} A}}
joins:
  - T1:+  E1:+
  - T1:-  E1:-
"""


@pytest.mark.parametrize(
    ("amps", "may_hold", "may_sag"), [(5.2, True, False), (6.0, True, True), (6.8, False, True)]
)
def test_we_33_where_the_voltage_sags(bench, amps, may_hold, may_sag):
    """WE-33, manual of a 5 A supply, 6.4: the voltage sags somewhere from 5.25 to 6.75 A."""
    at = read(bench.load(on_hiccup(amps)), "E1:+", "E1:-")
    assert (at.high > 23.0) == may_hold
    assert (at.low < 20.0) == may_sag


def test_we_33_no_breaker_opens_magnetically(bench):
    """WE-33: a 4 A breaker type C needs up to 60 A, of which this supply gives a tenth."""
    bench.cable("we-33", "2.5 mm2")
    text = fed(breaker("c", 4), "we-33", 0.5, supply="supply-24v-5a-hiccup")
    short = far_short(bench.load(text))
    assert short.fast_a == pytest.approx(60.0)
    assert 5.25 * 0.999 <= short.low_a <= short.high_a <= 6.75 * 1.001
    assert verdict(bench.prove(text)) != "at once"
    # on a strong supply the same branch opens at once
    assert verdict(bench.prove(fed(breaker("c", 4), "we-33", 0.5))) == "at once"


def test_we_33_prove_tells_an_overloaded_supply(bench):
    """WE-33: more than it gives is an overload by the load, and no short."""
    over = bench.prove(on_hiccup(7.2))
    assert "F201" not in codes(over)
    assert "E1" in finding(over, "F202").message
    assert not codes(bench.prove(on_hiccup(4.9))) & {"F201", "F202", "F204"}


# --- WE-34: a time-lag fuse of 2 A ----------------------------------------------------------


def behind_fuse(limit_a):
    """Return a fuse T 2 A behind a supply that gives just this current into a short."""
    supply = f"we-supply-limited, limit: {limit_a} A"
    return fed("fuse-glass-t, rated: 2 A, ohm: 1 mΩ", "we-34", 1, supply=supply)


@pytest.mark.parametrize(
    ("amps", "expected", "within_s"),
    [
        (3.0, "never", None),  # 1.5 x: at least 60 min, no promise to open
        (4.19, "never", None),
        (4.21, "late", 120),  # 2.1 x: within 120 s
        (8.0, "late", 3),  # 4 x: within 3 s
        (20.1, "at once", 0.3),  # 10 x: within 300 ms
    ],
)
def test_we_34_time_lag_fuse(bench, amps, expected, within_s):
    """WE-34, data sheets of two 5 x 20 mm time-lag fuses, gates of sheet 3."""
    bench.cable("we-34", "2.5 mm2")
    short = far_short(bench.load(behind_fuse(amps)))
    assert (short.low_a, short.high_a) == pytest.approx((amps, amps), rel=0.001)
    assert verdict(bench.prove(behind_fuse(amps))) == expected
    assert fuse_opening_s("T", short.low_a / 2.0, rated_a=2.0)[1] == within_s


def test_we_34_the_figures_prove_prints(bench):
    """WE-34: surely open from 2.1 x, at once from 10 x."""
    bench.cable("we-34", "2.5 mm2")
    found = finding(bench.prove(behind_fuse(3.0)), "F501")
    assert number(found, "short current lowest") == pytest.approx(3.0, rel=0.001)
    assert number(found, "surely opens from") == pytest.approx(4.2)
    assert number(found, "opens at once from") == pytest.approx(20.0)
