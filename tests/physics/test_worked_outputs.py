"""Worked examples B and D, and field cases on outputs: leakage, pull-ups, the wrong polarity."""

from __future__ import annotations

import pytest

from ringout.tables.bleeder import power_w
from ringout.tables.resistors import watt_size
from tests.cells.worked.workbench import Bench, codes, finding, number, read, signal


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


# --- B: leakage of an output ----------------------------------------------------------------


def leaking_output(shunt=""):
    """Return WE-09: an output that leaks 0.5 mA on a load of 28 V, 2.2 mA."""
    resistor = f"  R1: {{part: resistor, ohm: {shunt}}}\n" if shunt else ""
    fitted = "  - R1:1  E1:+\n  - R1:2  E1:-\n" if shunt else ""
    return f"""
items:
  T1: {{part: we-supply, volts: 28 V}}
  K1: {{part: we-output, leak: 500 uA}}
  E1: we-rated-load
{resistor}
joins:
  - T1:+  K1:+
  - T1:-  K1:-
  - K1:1  E1:+
  - T1:-  E1:-
{fitted}
signals:
  seen: {{channel: K1.O1, drives: E1}}
"""


def test_we_09_without_shunt(bench):
    """WE-09, a machine control manual, 3.15: 12.727 kohm, 6.364 V, not a valid 0."""
    judged = bench.prove(leaking_output())
    found = signal(judged, "seen")
    assert found.off.v_typ == pytest.approx(6.364, rel=0.005)
    assert found.verdict == "fails"
    assert "F302" in codes(judged)
    cell = bench.load(leaking_output())
    shown = read(cell, "E1:+", "E1:-", mode="ohms")
    assert shown.value == pytest.approx(12_727, rel=0.005)


def test_we_09_with_shunt(bench):
    """WE-09: 5 kohm makes it 3.590 kohm and 1.795 V, a valid 0 below 3.6 V; a 1 stays valid."""
    judged = bench.prove(leaking_output("5 kΩ"))
    found = signal(judged, "seen")
    assert found.off.v_typ == pytest.approx(1.795, rel=0.005)
    assert found.off.margin_v == pytest.approx(3.6 - 1.795, abs=0.01)
    assert found.on.margin_v > 10.0
    assert found.verdict == "works"
    cell = bench.load(leaking_output("5 kΩ"))
    assert read(cell, "E1:+", "E1:-").value == pytest.approx(1.795, rel=0.005)
    assert read(cell, "E1:+", "E1:-", mode="ohms").value == pytest.approx(3590, rel=0.005)


def off_output(joined):
    """Return FC-O-17: an output with 100 kohm across it, off, and a coil of 500 ohm."""
    return f"""
items:
  T1: we-supply
  K1: we-output-ohmic
  Q1: {{part: we-coil, ohm: 500 Ω}}
cables:
  W1: {{part: cable-2x0.5, length: 5 m}}
joins:
  - T1:+  K1:+
  - T1:-  K1:-
  - K1:OUT  W1:BN  Q1:1
  - T1:-    W1:BU  Q1:2
signals:
  valve: {{channel: K1.O, drives: Q1}}
{joined}"""


def test_fc_17_an_off_output_shows_full_voltage_without_its_load(bench):
    """FC-O-17, a chiller service manual: 23.8 V on 10 Mohm with the load off, 0.12 V with it on."""
    cell = bench.load(off_output(""))
    assert read(cell, "K1:OUT", "K1:-").value == pytest.approx(0.12, abs=0.005)
    alone = read(cell, "K1:OUT", "K1:-", lifted=["W1:BN@K1"])
    assert alone.value == pytest.approx(23.8, abs=0.05)
    loaded = read(cell, "K1:OUT", "K1:-", lifted=["W1:BN@K1"], mode="lowz")
    assert loaded.high < 1.0  # a low-impedance meter is not fooled
    # the 100 kohm of the output are its way to the supply
    assert "no supply" not in alone.why


# --- D: current-sinking sensor on a sinking input -------------------------------------------


def pulled_up(ohm, wanted="B1 target", inner="900 MΩ", limits="ohm: 3 kΩ"):
    """Return a cell: an NPN switch on an input with its common at 0 V, with a pull-up."""
    resistor = f"  R1: {{part: resistor, ohm: {ohm}, watts: 10 W}}\n" if ohm else ""
    fitted = "  - R1:1  T1:+\n  - R1:2  K1:I\n" if ohm else ""
    return f"""
items:
  T1: we-supply
  B1: {{part: we-npn, pull_up: {inner}}}
  K1: {{part: we-input-type-1, {limits}}}
{resistor}
cables:
  W1: {{part: cable-3x0.34, length: 2 m}}
joins:
  - T1:+    W1:BN  B1:+
  - T1:-    W1:BU  B1:-
  - B1:OUT  W1:BK  K1:I
  - T1:-    K1:COM
{fitted}
signals:
  seen: {{channel: K1.I, on: {wanted}}}
"""


def test_we_14_smallest_pull_up(bench):
    """WE-14, an article on NPN to PNP conversion: 120 ohm carries the 200 mA of the output."""
    below = bench.prove(pulled_up("119 Ω"))
    over = [f for f in below.findings if f.code in {"F201", "F202"}]
    assert len(over) == 1
    assert number(over[0], "may carry") == pytest.approx(0.2)
    assert number(over[0], "current") == pytest.approx(0.2, rel=0.01)
    above = bench.prove(pulled_up("120.5 Ω"))
    assert not codes(above) & {"F201", "F202"}


def test_we_14_power_of_the_pull_up(bench):
    """WE-14: 4.8 W, fit 5 W, with the output on and the input pulled to 0 V."""
    cell = bench.load(pulled_up("120 Ω"))
    across_v = read(cell, "R1:1", "R1:2", {"B1": "target"}).value
    assert power_w(across_v, 120) == pytest.approx(4.8, rel=0.01)
    assert watt_size(power_w(across_v, 120), 1) == 5.0


def test_we_14_the_sense_is_inverted(bench):
    """WE-14: on while nothing is seen; naming it the other way round is right."""
    assert "F105" in codes(bench.prove(pulled_up("1 kΩ")))
    right = bench.prove(pulled_up("1 kΩ", "B1 clear"))
    assert signal(right, "seen").verdict == "works"


@pytest.mark.parametrize(("ohm", "verdict"), [(1790, "marginal"), (1810, "fails")])
def test_we_14_the_divider_must_reach_15_v(bench, ohm, verdict):
    """WE-14: also require the divider R_in/(R_in + R) x 24 V to reach 15 V: 1.8 kohm on 3 kohm."""
    judged = bench.prove(pulled_up(f"{ohm} Ω", "B1 clear"))
    assert signal(judged, "seen").verdict == verdict


FC_05 = [("2.2 kΩ", "3.1 kΩ", 14.9), ("3.3 kΩ", "4.6 kΩ", 16.2), ("4.7 kΩ", "6.6 kΩ", 17.5)]


@pytest.mark.parametrize(("input_ohm", "inner", "cured_v"), FC_05)
def test_fc_05_the_two_readings(bench, input_ohm, inner, cured_v):
    """FC-O-05: 24 V with the core lifted, 10 V landed, for a pull-up of 1.4 times the input."""
    cell = bench.load(pulled_up("", inner=inner, limits=f"ohm: {input_ohm}"))
    lifted = read(cell, "W1:BK@K1", "K1:COM", lifted=["W1:BK@K1"])
    assert lifted.value == pytest.approx(24.0, abs=0.05)
    landed = read(cell, "K1:I", "K1:COM")
    assert landed.value == pytest.approx(10.0, abs=0.1)
    judged = bench.prove(pulled_up("", "B1 clear", inner, f"ohm: {input_ohm}"))
    assert signal(judged, "seen").verdict == "fails"  # never on: 10 V is the undefined band


@pytest.mark.parametrize(("input_ohm", "inner", "cured_v"), FC_05)
def test_fc_05_the_pull_up_is_marginal(bench, input_ohm, inner, cured_v):
    """FC-O-05: with 2.4 kohm added 14.9, 16.2, 17.5 V against 15 V; at 2.2 kohm it fails."""
    judged = bench.prove(pulled_up("2.4 kΩ", "B1 clear", inner, f"ohm: {input_ohm}"))
    found = signal(judged, "seen")
    assert found.on.v_typ == pytest.approx(cured_v, abs=0.06)
    assert found.verdict in ({"fails"} if cured_v < 15.0 else {"works", "marginal"})
    cell = bench.load(pulled_up("2.4 kΩ", "B1 clear", inner, f"ohm: {input_ohm}"))
    across_v = read(cell, "R1:1", "R1:2", {"B1": "target"}).value
    assert power_w(across_v, 2400) == pytest.approx(0.24, abs=0.005)
    assert watt_size(power_w(across_v, 2400)) == 0.5


# --- a sourcing output on an input that must be pulled low ----------------------------------


def cannot_let_go(volts, pull_down=""):
    """Return FC-O-02: a PNP normally-closed switch on inputs that are on when pulled low."""
    resistor = f"  R1: {{part: resistor, ohm: {pull_down}}}\n" if pull_down else ""
    fitted = "  - R1:1  B1:OUT\n  - R1:2  B1:-\n" if pull_down else ""
    return f"""
items:
  T1: {{part: we-supply, volts: {volts}}}
  B1: we-pnp-nc
  K1: we-input-pulled-low
{resistor}
joins:
  - T1:+  B1:+
  - T1:-  B1:-
  - B1:OUT  K1:I
  - T1:+    K1:COM
{fitted}
signals:
  seen: {{channel: K1.I, on: B1 target}}
"""


def test_fc_02_a_sourcing_output_cannot_pull_down(bench):
    """FC-O-02, a public issue of a motion firmware: the input was never pulled low, 1.8 kohm did.

    The input's own resistance is not stated; 10 kohm is taken.
    """
    bare = bench.prove(cannot_let_go("12 V"))
    assert signal(bare, "seen").verdict == "fails"
    assert codes(bare) & {"F101", "F106"}
    assert signal(bench.prove(cannot_let_go("12 V", "1.8 kΩ")), "seen").verdict == "works"


@pytest.mark.parametrize(
    ("volts", "amps", "watts", "size_w"),
    [("12 V", 6.7e-3, 0.080, 0.25), ("24 V", 13.3e-3, 0.32, 0.5)],
)
def test_fc_02_what_the_pull_down_costs(bench, volts, amps, watts, size_w):
    """FC-O-02: 6.7 mA and 80 mW on 12 V (1/4 W), 13.3 mA and 0.32 W on 24 V (1/2 W)."""
    cell = bench.load(cannot_let_go(volts, "1.8 kΩ"))
    across_v = read(cell, "R1:1", "R1:2", {"B1": "clear"}).value
    found_w = power_w(across_v, 1800)
    assert found_w == pytest.approx(watts, rel=0.01)
    assert found_w / across_v == pytest.approx(amps, rel=0.01)
    assert watt_size(found_w, 1.5) == size_w


def test_fc_02_prove_speaks_of_no_other_fault(bench):
    """FC-O-02: the switch itself is fed and nothing is shorted."""
    judged = bench.prove(cannot_let_go("12 V"))
    assert finding(judged, next(iter(codes(judged) & {"F101", "F106"}))).get("signal") == "seen"
    assert not codes(judged) & {"F201", "F202", "F203", "F303", "F401"}
