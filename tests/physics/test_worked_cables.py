"""Worked examples E and field case 22: voltage lost along cables, read by the product's meter.

Cables whose resistance an example states get the section that has it at the makers' practical
56 m/(ohm mm2). The drop of a cable is read as the difference to the same cell with a cable of a
millimetre, so that joints and the supply's own resistance, which the examples leave out, cancel.
"""

from __future__ import annotations

import pytest

from tests.cells.worked.workbench import Bench, codes, finding, number, read

FOOT_M = 0.3048
AT_20_C = "ambient: 20..20 °C\n"


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


def section(ohm_per_m):
    """Return the section that has this resistance at 56 m/(ohm mm2), as the file writes it."""
    return f"{1 / 56 / ohm_per_m:.6f} mm2"


def one_load(cable, length_m, amps, volts=24.0, head=AT_20_C, needs=1.0):
    return f"""
{head}
items:
  T1: {{part: we-supply, volts: {volts} V}}
  E1: {{part: we-load, amps: {amps} A, needs: {needs} V}}
cables:
  W1: {{part: {cable}, length: {length_m:.6f} m}}
joins:
  - T1:+  W1:1  E1:+
  - T1:-  W1:2  E1:-
"""


def lost(bench, make, length_m, a="E1:+", b="E1:-"):
    """Return (low, typ, high) volts lost along cables of this length."""
    near = read(bench.load(make(0.001)), a, b)
    far = read(bench.load(make(length_m)), a, b)
    return near.low - far.high, near.value - far.value, near.high - far.low


# --- one cable, one load --------------------------------------------------------------------


def test_we_16_100_feet_of_16_awg(bench):
    """WE-16, a training page on voltage drop: 3.992 V, 16.63 % of 24 V, +-0.5 %."""
    ohm_per_m = 4.99 / 1000 / FOOT_M
    bench.cable("we-16", section(ohm_per_m))
    _, typ, _ = lost(bench, lambda m: one_load("we-16", m, 4), 100 * FOOT_M)
    assert typ == pytest.approx(3.992, rel=0.005)
    assert typ / 24 == pytest.approx(0.1663, rel=0.005)


def test_we_16_lies_in_the_range_of_the_gauge_itself(bench):
    """WE-16: 16 AWG at 75 °C, from the gauge alone; the source takes a table of one country."""
    bench.cable("we-16-awg", "16 AWG")
    hot = "ambient: 75..75 °C\n"
    low, typ, high = lost(bench, lambda m: one_load("we-16-awg", m, 4, head=hot), 100 * FOOT_M)
    assert low < 3.992 < high
    assert typ == pytest.approx(3.992, rel=0.03)


@pytest.mark.parametrize(
    ("ohm_per_m", "length_m", "volts"),
    [
        (0.235, 10, 0.47), (0.235, 20, 0.94), (0.235, 35, 1.645),
        (0.075, 10, 0.15), (0.075, 20, 0.30), (0.075, 35, 0.525),
    ],
)  # fmt: skip
def test_we_17_drop_table(bench, ohm_per_m, length_m, volts):
    """WE-17, a machine control manual, cable table: 100 mA, +-0.01 V."""
    bench.cable("we-17", section(ohm_per_m))
    _, typ, _ = lost(bench, lambda m: one_load("we-17", m, 0.1), length_m)
    assert typ == pytest.approx(volts, abs=0.01)


@pytest.mark.parametrize("length_m", [10, 20, 35])
def test_we_17_lies_in_the_range_of_a_quarter_square(bench, length_m):
    """WE-17: the printed 0.075 ohm/m is within what 0.25 mm2 may have."""
    bench.cable("we-17-real", "0.25 mm2")
    low, _, high = lost(bench, lambda m: one_load("we-17-real", m, 0.1), length_m)
    assert low - 0.001 <= 2 * length_m * 0.075 * 0.1 <= high + 0.001


def test_we_24_one_conductor_or_the_loop(bench):
    """WE-24, a bus manual, example 1: 4.0 V at 2.0 A and 13 ohm/km, +-0.5 %.

    Counting one conductor 153.8 m; out and back, as the circuit is, 76.9 m.
    """
    bench.cable("we-24", section(0.013))

    def return_apart(length_m):
        text = one_load("we-24", length_m, 2).replace("W1:2", "W2:2")
        return text.replace("cables:", "cables:\n  W2: {part: we-24, length: 0.001 m}")

    _, one_way, _ = lost(bench, return_apart, 153.8)
    _, loop, _ = lost(bench, lambda m: one_load("we-24", m, 2), 76.9)
    assert one_way == pytest.approx(4.0, rel=0.005)
    assert loop == pytest.approx(4.0, rel=0.005)


def test_we_24_prove_counts_out_and_back(bench):
    """WE-24: a load that needs 20.4 V at 2 A loses its 3.6 V well before 138 m (one conductor)."""
    bench.cable("we-24", section(0.013))
    cell = one_load("we-24", 100, 2, needs=20.4)
    found = finding(bench.prove(cell), "F303")
    assert number(found, "needs") == pytest.approx(20.4)
    assert "F303" not in codes(bench.prove(one_load("we-24", 50, 2, needs=20.4)))


# --- a shared return ------------------------------------------------------------------------


def shared_return(area, length_m):
    """Return WE-19: electronics of 1 A and valves of 5 A on feeds of their own, one 0 V."""
    return f"""
{AT_20_C}
items:
  T1: we-supply
  E1: {{part: we-load, amps: 1 A}}
  E2: {{part: we-load, amps: 5 A}}
cables:
  W1: {{part: {area}, length: {length_m:.6f} m}}
joins:
  - T1:+  W1:1  E1:+
  - T1:+  W1:2  E2:+
  - T1:-  W1:3  E1:-
  - E1:-  E2:-
"""


@pytest.mark.parametrize(
    ("area", "allowed_v", "length_m"),
    [
        ("1.5 mm2", 3.6, 27.491),  # WE-19, a valve terminal system manual, appendix A.2
        ("2.5 mm2", 3.6, 45.818),  # WE-19
        ("1.5 mm2", 2.4, 18.33),  # WE-21, a valve terminal manual, appendix A.2; printed 18 m
        ("2.5 mm2", 2.4, 30.55),  # WE-21; printed 30 m
    ],
)
def test_we_19_and_21_shared_return(bench, area, allowed_v, length_m):
    """WE-19, WE-21: 24 V less what the terminal needs is lost at that length, +-0.1 %."""
    name = f"we-19-{area.split()[0]}"
    bench.cable(name, area, cores=3)
    _, typ, high = lost(bench, lambda m: shared_return(name, m), length_m, "E2:+", "E2:-")
    assert typ == pytest.approx(allowed_v, rel=0.001)
    assert high > allowed_v  # copper at the limit of its standard loses more than the makers say
    _, electronics, _ = lost(bench, lambda m: shared_return(name, m), length_m, "E1:+", "E1:-")
    assert electronics < typ


# --- cores in parallel ----------------------------------------------------------------------


def bridged_at_the_far_end(cable, length_m, cores, ambient="20..20 °C"):
    """Return a cable, half its cores per pole, bridged at the far end."""
    half = cores // 2
    joins = "".join(
        f"  - X{1 if n <= half else 2}:{n if n <= half else n - half}  W1:{n}  X3:{n}\n"
        for n in range(1, cores + 1)
    )
    return f"""
ambient: {ambient}
items:
  X1: terminal-block-8
  X2: terminal-block-8
  X3: terminal-block-8
cables:
  W1: {{part: {cable}, length: {length_m} m}}
joins:
{joins}
"""


@pytest.mark.parametrize(("cores", "ohm"), [(2, 7.32), (8, 1.83)])
def test_we_23_an_ohmmeter_on_the_loop(bench, cores, ohm):
    """WE-23, a road sensor manual, 4.2.1: 73.2 ohm/km loop; 7.32 and 1.83 ohm, +-0.5 %."""
    bench.cable("we-23", section(0.0732 / 2), cores=8)
    cell = bench.load(bridged_at_the_far_end("we-23", 100, cores))
    shown = read(cell, "X1:8", "X2:8", mode="ohms")
    assert shown.value == pytest.approx(ohm, rel=0.005)
    assert (shown.value < 5.0) == (cores == 8)  # the source's limit for the line


@pytest.mark.parametrize(
    ("area", "ohm_per_km"),
    # IEC 60228, class 5, plain, highest resistance at 20 °C
    [("0.5 mm2", 39.0), ("0.75 mm2", 26.0), ("1.0 mm2", 19.5), ("1.5 mm2", 13.3),
     ("2.5 mm2", 7.98)],
)  # fmt: skip
def test_the_worst_copper_is_that_of_iec_60228(bench, area, ohm_per_km):
    bench.cable("standard", area)
    cell = bench.load(bridged_at_the_far_end("standard", 1000, 2))
    shown = read(cell, "X1:8", "X2:8", mode="ohms")
    assert shown.high == pytest.approx(2 * ohm_per_km, rel=0.003)
    assert shown.low < shown.value < shown.high


@pytest.mark.parametrize(
    ("gauge", "ohm_per_km"),
    # ASTM B258 diameters with IEC 60028 copper; the usual table of solid wire at 20 °C, memory
    [(24, 84.2), (22, 52.96), (20, 33.31), (18, 20.95), (16, 13.17), (14, 8.286)],
)
def test_the_best_copper_is_that_of_the_gauge_table(bench, gauge, ohm_per_km):
    bench.cable("gauge", f"{gauge} AWG")
    cell = bench.load(bridged_at_the_far_end("gauge", 1000, 2))
    shown = read(cell, "X1:8", "X2:8", mode="ohms")
    assert shown.low == pytest.approx(2 * ohm_per_km, rel=0.005)


@pytest.mark.parametrize(
    ("temp_c", "to_20_iec60028", "to_20"),
    [(10, 1.0409, 1.0417), (40, 0.9271, 0.9259), (70, 0.8358, 0.8333)],
)
def test_we_27_copper_at_temperature(bench, temp_c, to_20_iec60028, to_20):
    """WE-27, a cable maker's page: 1.042, 0.926, 0.833; alpha of 0.00393 up to 0.3 % apart."""
    bench.cable("we-27", "0.5 mm2")
    warm, cold = (
        read(
            bench.load(bridged_at_the_far_end("we-27", 1000, 2, f"{t}..{t} °C")),
            "X1:8",
            "X2:8",
            mode="ohms",
        )
        for t in (temp_c, 20)
    )
    assert cold.value / warm.value == pytest.approx(to_20_iec60028, rel=0.0005)
    assert cold.value / warm.value == pytest.approx(to_20, rel=0.004)


# --- a chain --------------------------------------------------------------------------------


def chain(volts, ohm_per_m=0.05 * 1.5):
    """Return WE-26: three solenoids of 1.5 A, 0.05 ohm/m of loop times the source's 1.5."""
    items = "".join(
        f"  B{n}: {{part: we-locking-switch, ohm: {length * ohm_per_m / 2:.6f} Ω}}\n"
        for n, length in ((1, 10), (2, 5), (3, 10))
    )
    return f"""
items:
  T1: {{part: we-supply, volts: {volts} V}}
{items}
joins:
  - T1:+  B1:IN+
  - T1:-  B1:IN-
  - B1:+  B2:IN+
  - B1:-  B2:IN-
  - B2:+  B3:IN+
  - B2:-  B3:IN-
"""


def test_we_26_drops_of_the_first_two_sections(bench):
    """WE-26, a locking switch manual, 5.1: 3.375 V and 1.125 V, +-1 %; each section adds.

    The source's third term does not follow from its own factors and is left out. Joints, which
    it leaves out, cancel against a chain without resistance.
    """
    real, ideal = bench.load(chain(26.4)), bench.load(chain(26.4, 0.0))

    def between(a, b):
        pairs = ((f"{a}+", f"{b}+"), (f"{b}-", f"{a}-"))
        return sum(read(real, *p).value - read(ideal, *p).value for p in pairs)

    assert between("T1:", "B1:") == pytest.approx(3.375, rel=0.01)
    assert between("B1:", "B2:") == pytest.approx(1.125, rel=0.01)
    assert read(real, "B3:+", "B3:-").value < read(real, "B2:+", "B2:-").value


@pytest.mark.parametrize(("volts", "reliable"), [(24.0, False), (26.4, True)])
def test_we_26_the_last_device(bench, volts, reliable):
    """WE-26: on 24 V the last device is unreliable, on 26.4 V reliable; it needs 24 V - 15 %."""
    judged = bench.prove(chain(volts))
    starved = {f.get("item") for f in judged.findings if f.code == "F303"}
    assert ("B3" in starved) != reliable
    assert not reliable or not starved


# --- field case 22 --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gauge", "amps", "volts"), [(14, 7, 2.9), (14, 8, 3.3), (8, 8, 0.82), (10, 8, 1.3)]
)
def test_fc_22_a_panel_80_feet_away(bench, gauge, amps, volts):
    """FC-O-22: 14 AWG loses 2.9 V at 7 A and 3.3 V at 8 A; 8 AWG 0.82 V, 10 AWG 1.3 V at 8 A."""
    bench.cable("fc-22", f"{gauge} AWG")
    _, typ, _ = lost(bench, lambda m: one_load("fc-22", m, amps, 26.0), 80 * FOOT_M)
    assert typ == pytest.approx(volts, abs=0.05)


def test_fc_22_the_readings(bench):
    """FC-O-22: about 26 V idle, 22 to 23 V with the motor; the loop has 0.41 ohm."""
    bench.cable("fc-22", "14 AWG")

    def panel(amps):
        return read(bench.load(one_load("fc-22", 80 * FOOT_M, amps, 26.0)), "E1:+", "E1:-")

    assert panel(0.01).value == pytest.approx(26.0, abs=0.05)
    assert 22.0 < panel(8).value < panel(7).value < 23.2
    loop = read(bench.load(bridged_at_the_far_end("fc-22", 80 * FOOT_M, 2)), "X1:8", "X2:8",
                mode="ohms")  # fmt: skip
    assert loop.value == pytest.approx(0.41, abs=0.02)
