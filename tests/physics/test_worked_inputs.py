"""Worked examples A and C: leakage into inputs, bleeders, switches in series and parallel.

Each published figure is a recheck from the stated inputs; the product finds it by solving a cell.
"""

from __future__ import annotations

import pytest

from ringout.tables.bleeder import power_w
from ringout.tables.resistors import watt_size
from tests.cells.worked.workbench import Bench, codes, finding, proposed_resistor, read, signal

JUST_BELOW, JUST_ABOVE = 0.995, 1.005  # the tolerance of the rechecks, 0.5 %
SAID_OK = {"works", "marginal"}


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


def leaky(leak, limits, across="", supply="24 V"):
    """Return a cell: a leaking switch on an input, with or without a resistor across it."""
    resistor = f"  R1: {{part: resistor, ohm: {across}}}\n" if across else ""
    fitted = "  - R1:1  K1:I\n  - R1:2  K1:COM\n" if across else ""
    return f"""
items:
  T1: {{part: we-supply, volts: {supply}}}
  B1: {{part: we-switch, leak: {leak}}}
  K1: {{part: we-input, {limits}}}
{resistor}
joins:
  - T1:+    B1:+
  - B1:OUT  K1:I
  - T1:-    K1:COM
{fitted}
signals:
  seen: {{channel: K1.I, on: B1 target}}
"""


def ohms(value):
    return f"{value:.3f} Ω"


# --- A: leakage into a digital input --------------------------------------------------------

WE_01 = "ohm: 3.8 kΩ, on_v: 15 V, off_v: 5 V, off_a: 1.7 mA"
WE_01_CURRENT = "ohm: 3.8 kΩ, on_v: 15 V, off_v: 15 V, off_a: 1.7 mA"
WE_03 = "ohm: 3 kΩ, on_v: 15 V, off_v: 15 V, off_a: 1.5 mA"
WE_05 = "ohm: 2.4 kΩ, on_v: 15 V, off_v: 3 V"
WE_06 = "ohm: 15 kΩ, on_v: 10 V, off_v: 3 V"
WE_08 = "ohm: 4 kΩ, on_v: 15 V, off_v: 15 V, off_a: 1.5 mA"


def test_the_largest_bleeder_of_we_01_leaves_the_off_current(bench):
    """WE-01, an I/O module user manual: R <= 4.969 kohm keeps the input at 1.7 mA."""
    at_rule = bench.prove(leaky("3 mA", WE_01_CURRENT, "4969 Ω"))
    assert signal(at_rule, "seen").off.i_typ_ma == pytest.approx(1.7, rel=0.005)


@pytest.mark.parametrize(
    ("leak", "limits", "largest_ohm"),
    [
        ("3 mA", WE_01_CURRENT, 4969),  # WE-01, an I/O module user manual
        ("3 mA", WE_03, 3000),  # WE-03, an I/O module user manual
        ("2 mA", WE_05, 4000),  # WE-05, a controller operation manual, 4-8: 7.2/(2.4 I - 3)
        ("1 mA", WE_06, 3750),  # WE-06, a forum thread of 2003
        ("3 mA", WE_08, 4000),  # WE-08, a controller hardware manual, 5.1.4: 6/(I - 1.5)
    ],
    ids=["we-01", "we-03", "we-05", "we-06", "we-08"],
)
def test_the_verdict_turns_at_the_published_largest_bleeder(bench, leak, limits, largest_ohm):
    """WE-01, 03, 05, 06, 08, all +-0.5 %."""
    below = bench.prove(leaky(leak, limits, ohms(largest_ohm * JUST_BELOW)))
    above = bench.prove(leaky(leak, limits, ohms(largest_ohm * JUST_ABOVE)))
    assert signal(below, "seen").verdict in SAID_OK
    assert signal(above, "seen").verdict == "fails"
    assert "F103" in codes(above)


@pytest.mark.parametrize(
    ("leak", "limits", "largest_ohm"),
    [
        ("3 mA", WE_01, 4969),
        ("3 mA", WE_03, 3000),
        ("2 mA", WE_05, 4000),
        ("1 mA", WE_06, 3750),
        ("3 mA", WE_08, 4000),
    ],
    ids=["we-01", "we-03", "we-05", "we-06", "we-08"],
)
def test_prove_proposes_a_bleeder_that_obeys_the_published_rule(bench, leak, limits, largest_ohm):
    """WE-01, 03, 05, 06, 08: the same rule turned round, found by solving, and proven."""
    judged = bench.prove(leaky(leak, limits), remedies=True)
    code = next(c for c in ("F103", "F104") if c in codes(judged))
    found = finding(judged, code)
    assert signal(judged, "seen").verdict == "fails"
    ohm, watts = proposed_resistor(found.remedies)
    assert ohm <= largest_ohm
    assert watts >= power_w(28.8, ohm)  # 24 V + 20 %, as the sources reckon


def test_we_01_off_voltage_and_power(bench):
    """WE-01, an I/O module user manual: 2.7 kohm: 0.3072 W at 28.8 V, 1 to 2 W, 4.735 V."""
    bare = bench.prove(leaky("3 mA", WE_01))
    assert signal(bare, "seen").off.v_typ > 5.0
    cured = signal(bench.prove(leaky("3 mA", WE_01, "2.7 kΩ")), "seen")
    assert cured.off.v_typ == pytest.approx(4.735, rel=0.005)
    assert cured.off_limit_v == pytest.approx(5.0)
    assert cured.off.margin_v == pytest.approx(5.0 - 4.735, abs=0.005 * 4.735)
    assert cured.verdict == "marginal"  # the source accepts it, with little to spare
    high = bench.load(leaky("3 mA", WE_01, "2.7 kΩ", supply="28.8 V"))
    across_v = read(high, "R1:1", "R1:2", {"B1": "target"}).value
    assert power_w(across_v, 2700) == pytest.approx(0.3072, rel=0.005)
    assert watt_size(power_w(across_v, 2700)) in {1.0, 2.0}


def test_we_03_power(bench):
    """WE-03, an I/O module user manual: 2.5 kohm: 0.3318 W at 28.8 V, 1 to 2 W."""
    cured = bench.prove(leaky("3 mA", WE_03, "2.5 kΩ"))
    assert signal(cured, "seen").verdict in SAID_OK
    high = bench.load(leaky("3 mA", WE_03, "2.5 kΩ", supply="28.8 V"))
    across_v = read(high, "R1:1", "R1:2", {"B1": "target"}).value
    assert power_w(across_v, 2500) == pytest.approx(0.3318, rel=0.005)
    assert watt_size(power_w(across_v, 2500), 3) in {1.0, 2.0}


def test_we_05_small_leakage_needs_nothing(bench):
    """WE-05, a controller operation manual: at 1.25 mA the rule gives no limit.

    The source lets 1.3 mA pass, for which its own rule asks for 60 kohm.
    """
    assert signal(bench.prove(leaky("1.249 mA", WE_05)), "seen").verdict in SAID_OK
    assert signal(bench.prove(leaky("1.3 mA", WE_05)), "seen").verdict == "fails"
    below, above = (
        signal(bench.prove(leaky("1.3 mA", WE_05, ohms(60_000 * f))), "seen").verdict
        for f in (0.98, 1.02)
    )
    assert below in SAID_OK
    assert above == "fails"


def test_we_05_power(bench):
    """WE-05, a controller operation manual: W = 2.3/R[kohm], 0.575 W at 4 kohm: 4 times 24 V."""
    cell = bench.load(leaky("2 mA", WE_05, "4 kΩ"))
    across_v = read(cell, "R1:1", "R1:2", {"B1": "target"}).value
    assert 4 * power_w(across_v, 4000) == pytest.approx(0.575, rel=0.005)


def across_the_sensor(limits, ohm):
    return (
        leaky("1 mA", limits, ohm)
        .replace("R1:1  K1:I", "R1:1  B1:+")
        .replace("R1:2  K1:COM", "R1:2  B1:OUT")
    )


def test_we_06_the_field_attempt(bench):
    """WE-06 and FC-O-01, a forum thread of 2003.

    No resistor 15 V (on); 10 kohm across the sensor 20.4 V (worse); across the input 30 kohm
    10.0 V (just on), 10 kohm 6.0 V (undefined).
    """
    bare = bench.prove(leaky("1 mA", WE_06))
    assert signal(bare, "seen").off.v_typ == pytest.approx(15.0, abs=0.01)
    assert "F104" in codes(bare)
    worse = bench.prove(across_the_sensor(WE_06, "10 kΩ"))
    assert signal(worse, "seen").off.v_typ == pytest.approx(20.4, abs=0.01)
    assert "F104" in codes(worse)
    asked = bench.prove(leaky("1 mA", WE_06, "30 kΩ"))
    assert signal(asked, "seen").off.v_typ == pytest.approx(10.0, abs=0.01)
    assert signal(asked, "seen").verdict == "fails"
    between = bench.prove(leaky("1 mA", WE_06, "10 kΩ"))
    assert signal(between, "seen").off.v_typ == pytest.approx(6.0, abs=0.01)
    assert "F103" in codes(between)


def test_fc_01_the_meter_sees_the_same(bench):
    """FC-O-01: what a meter on the input shows, with the resistor in the wrong and right place."""
    for text, volts in (
        (leaky("1 mA", WE_06), 15.0),
        (across_the_sensor(WE_06, "10 kΩ"), 20.4),
        (leaky("1 mA", WE_06, "3.75 kΩ"), 3.0),
    ):
        shown = read(bench.load(text), "K1:I", "K1:COM")
        # a meter of 10 Mohm takes 0.15 % of what 15 kohm would show
        assert shown.value == pytest.approx(volts, rel=0.002)


def test_we_08_parallel_resistance(bench):
    """WE-08, a controller hardware manual, 5.1.4: 4 Rp/(15 - Rp) kohm, so 8.0 kohm for 10 kohm.

    The input stands 15 kohm across the contact without help; 8 kohm across the input must bring
    10 kohm across the contact to the same level.
    """
    across = across_the_sensor("ohm: 4 kΩ", "15 kΩ").replace("leak: 1 mA", "leak: 0 mA")
    stood_v = read(bench.load(across), "K1:I", "K1:COM").value
    both = across.replace("ohm: 15 kΩ}", "ohm: 10 kΩ}\n  R2: {part: resistor, ohm: 8 kΩ}").replace(
        "\nsignals:", "  - R2:1  K1:I\n  - R2:2  K1:COM\nsignals:"
    )
    assert read(bench.load(both), "K1:I", "K1:COM").value == pytest.approx(stood_v, rel=0.001)


# --- C: sensors in parallel and in series ---------------------------------------------------


def test_we_11_leakages_in_parallel_add(bench):
    """WE-11, a handbook on sensors, p. 90: three times 1.7 mA are 5.1 mA; a shunt may be needed."""
    text = """
items:
  T1: we-supply
  B1: {part: we-switch, leak: 1.7 mA}
  B2: {part: we-switch, leak: 1.7 mA}
  B3: {part: we-switch, leak: 1.7 mA}
  K1: {part: we-input, ohm: 3.3 kΩ}
joins:
  - T1:+    B1:+
  - B1:+    B2:+
  - B2:+    B3:+
  - B1:OUT  K1:I
  - B2:OUT  B1:OUT
  - B3:OUT  B2:OUT
  - T1:-    K1:COM
signals:
  any: {channel: K1.I, on: B1 target or B2 target or B3 target}
"""
    judged = bench.prove(text, remedies=True)
    assert signal(judged, "any").off.i_typ_ma == pytest.approx(5.1, abs=0.001)
    ohm, _ = proposed_resistor(finding(judged, "F104").remedies)
    assert ohm < 3300


def in_series(count, drop, limits, kind="we-input"):
    """Return a cell with switches in series on one input."""
    items = "".join(f"  B{n}: {{part: we-switch, drop: {drop}}}\n" for n in range(1, count + 1))
    chain = "".join(f"  - B{n}:OUT  B{n + 1}:+\n" for n in range(1, count))
    wanted = " and ".join(f"B{n} target" for n in range(1, count + 1))
    return f"""
items:
  T1: we-supply
{items}
  K1: {{part: {kind}, {limits}}}
joins:
  - T1:+  B1:+
{chain}
  - B{count}:OUT  K1:I
  - T1:-  K1:COM
signals:
  all: {{channel: K1.I, on: {wanted}}}
"""


@pytest.mark.parametrize(("count", "volts"), [(19, 5.0), (20, 4.0)])
def test_we_12_drops_in_series_add(bench, count, volts):
    """WE-12, an article on sensors in series: 19 of 1 V leave the load 5 V, by voltage alone."""
    cell = bench.load(in_series(count, "1 V", "ohm: 3 kΩ"))
    state = {f"B{n}": "target" for n in range(1, count + 1)}
    # each switch adds its milliohm and the joints between
    assert read(cell, "K1:I", "K1:COM", state).value == pytest.approx(volts, abs=0.005)


@pytest.mark.parametrize(
    ("count", "kind", "ohm", "verdict"),
    [
        (2, "we-input-type-1", "3 kΩ", "works"),
        (3, "we-input-type-1", "3 kΩ", "fails"),
        (3, "we-input-type-3", "3 kΩ", "works"),
        (4, "we-input-type-3", "3 kΩ", "fails"),
    ],
)
def test_we_12_the_real_limit_is_that_of_the_input(bench, count, kind, ohm, verdict):
    """WE-12: "a real check must also limit n by the input's 11 V or 15 V"; 4 V each, FC-O-33."""
    judged = bench.prove(in_series(count, "4 V", f"ohm: {ohm}", kind))
    found = signal(judged, "all")
    assert found.on.v_typ == pytest.approx(24 - 4 * count, abs=0.01)
    assert found.verdict == verdict


def test_fc_33_two_and_three_cylinder_switches(bench):
    """FC-O-33, a cylinder switch specification: 16 V, 1 V over the 15 V limit; a third: 12 V."""
    two = signal(bench.prove(in_series(2, "4 V", "ohm: 3 kΩ", "we-input-type-1")), "all")
    assert two.on.v_typ == pytest.approx(16.0, abs=0.01)
    assert two.on.margin_v == pytest.approx(1.0, abs=0.01)
    judged = bench.prove(in_series(3, "4 V", "ohm: 3 kΩ", "we-input-type-1"))
    three = signal(judged, "all")
    assert three.on.v_typ == pytest.approx(12.0, abs=0.01)
    assert three.off_limit_v < three.on.v_typ < three.on_limit_v  # undefined
    assert "F102" in codes(judged)
