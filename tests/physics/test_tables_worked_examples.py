"""Published worked examples, run through the closed formulas of the tables.

Expected figures are recomputed from the inputs each source states; where the source rounds, its
printed figure stands beside. Sources are named without their maker.
"""

import pytest

from ringout.tables import (
    bleeder,
    budget,
    copper,
    length,
    protection,
    read_table,
    supplies,
    suppress,
    timing,
)
from ringout.tables.resistors import preferred_at_most, watt_size

MAX_24_V = 28.8  # 24 V + 20 %: the sources size resistors for the highest supply


# --- A: leakage into an input --------------------------------------------------------------


def test_we_01_bleeder_for_a_switch_with_indicator():
    """WE-01, an I/O module user manual: printed 4.97 kohm, 0.308 W, 4.74 V."""
    assert bleeder.bleeder_by_current_ohm(3e-3, 1.7e-3, 3800) == pytest.approx(4969, rel=0.005)
    assert bleeder.power_w(MAX_24_V, 2700) == pytest.approx(0.3072, rel=0.005)
    off_v = bleeder.off_voltage_v(3e-3, 3800, 2700)
    assert off_v == pytest.approx(4.735, rel=0.005)
    assert off_v <= 5.0
    # without bleeder it fails both limits of that input
    assert bleeder.off_voltage_v(3e-3, 3800) > 5.0


def test_we_03_bleeder():
    """WE-03, an I/O module user manual: printed 3.0 kohm; 2.5 kohm fitted, 0.332 W, 1 to 2 W."""
    assert bleeder.bleeder_by_current_ohm(3e-3, 1.5e-3, 3000) == pytest.approx(3000, rel=0.005)
    watts = bleeder.power_w(MAX_24_V, 2500)
    assert watts == pytest.approx(0.3318, rel=0.005)
    assert watt_size(watts, 3) in {1.0, 2.0}
    assert watt_size(watts, 5) in {1.0, 2.0}


def test_we_05_bleeder_formula_of_a_controller():
    """WE-05, a controller operation manual: R = 7.2/(2.4 I - 3) kohm and W = 2.3/R."""
    found = bleeder.bleeder_by_voltage_ohm(2.0e-3, 3.0, 2400)
    assert found == pytest.approx(7200 / (2.4 * 2.0 - 3), rel=1e-9)
    assert found == pytest.approx(4000, rel=1e-9)
    # 4 times the heat on 24 V is the source's 2.3/R, which is 2.304 rounded
    assert 4 * bleeder.power_w(24, found) == pytest.approx(0.575, rel=0.002)
    assert bleeder.bleeder_by_voltage_ohm(1.25e-3, 3.0, 2400) is None
    assert bleeder.bleeder_by_voltage_ohm(1.3e-3, 3.0, 2400) > 50_000


def test_we_06_two_wire_sensor_on_a_high_impedance_input():
    """WE-06, a forum thread of 2003: 15 V without, 3.75 kohm across the input cures it."""
    assert bleeder.off_voltage_v(1e-3, 15_000) == pytest.approx(15.0)
    assert bleeder.bleeder_by_voltage_ohm(1e-3, 3.0, 15_000) == pytest.approx(3750)
    # the 30 kohm of the post leaves 10 V, which is still "on"
    assert bleeder.off_voltage_v(1e-3, 15_000, 30_000) == pytest.approx(10.0)


def test_we_08_leak_and_parallel_resistance():
    """WE-08, a controller hardware manual, 5.1.4: 6/(I - 1.5) and 4 Rp/(15 - Rp) kohm."""
    assert bleeder.bleeder_by_current_ohm(3e-3, 1.5e-3, 4000) == pytest.approx(4000)
    assert bleeder.bleeder_by_parallel_ohm(10_000, 15_000, 4000) == pytest.approx(8000)
    assert bleeder.bleeder_by_current_ohm(1.5e-3, 1.5e-3, 4000) is None
    assert bleeder.bleeder_by_parallel_ohm(15_000, 15_000, 4000) is None


def test_we_09_output_leak_into_a_load():
    """WE-09, a machine control manual, 3.15: 12.73 kohm, 6.36 V; with 5 kohm 3.59 kohm, 1.79 V."""
    load_ohm = 28 / 2.2e-3
    assert load_ohm == pytest.approx(12_727, rel=0.005)
    assert bleeder.off_voltage_v(500e-6, load_ohm) == pytest.approx(6.364, rel=0.005)
    assert bleeder.parallel_ohm(load_ohm, 5000) == pytest.approx(3590, rel=0.005)
    shunted_v = bleeder.off_voltage_v(500e-6, load_ohm, 5000)
    assert shunted_v == pytest.approx(1.795, rel=0.005)
    assert shunted_v < 3.6 < bleeder.off_voltage_v(500e-6, load_ohm)
    # and the rule turned round: the largest shunt for 3.6 V
    largest = bleeder.bleeder_by_voltage_ohm(500e-6, 3.6, load_ohm)
    assert bleeder.off_voltage_v(500e-6, load_ohm, largest) == pytest.approx(3.6)
    assert 5000 < preferred_at_most(largest) <= largest


# --- E: voltage drop ------------------------------------------------------------------------


def test_we_16_100_feet_of_16_awg():
    """WE-16, a training page on voltage drop: printed 4.0 V and 16.7 %."""
    metres = 100 * length.FOOT_M
    found = length.drop_v(metres, copper.nec_ohm_per_km(16), 4)
    assert found == pytest.approx(3.992, rel=0.005)
    assert found / 24 == pytest.approx(0.1663, rel=0.005)


@pytest.mark.parametrize(
    ("ohm_per_m", "metres", "volts"),
    [
        (0.235, 10, 0.47), (0.235, 20, 0.94), (0.235, 35, 1.645),
        (0.075, 10, 0.15), (0.075, 20, 0.30), (0.075, 35, 0.525),
    ],
)  # fmt: skip
def test_we_17_drop_table(ohm_per_m, metres, volts):
    """WE-17, a machine control manual, cable table: 100 mA through 0.08 and 0.25 mm2."""
    assert length.drop_v(metres, ohm_per_m * 1000, 0.1) == pytest.approx(volts, abs=0.01)


@pytest.mark.parametrize(
    ("allowed_v", "area_mm2", "metres", "rel"),
    [
        (24 - 20.4, 1.5, 27.491, 0.001),  # WE-19, valve terminal system manual, appendix A.2
        (24 - 20.4, 2.5, 45.818, 0.001),  # WE-19
        (24 - 21.6, 1.5, 18.33, 0.001),  # WE-21, valve terminal manual; printed 18 m
        (24 - 21.6, 2.5, 30.55, 0.001),  # WE-21; printed 30 m
    ],
)
def test_we_19_and_21_shared_return(allowed_v, area_mm2, metres, rel):
    found = length.longest_shared_return_m(allowed_v, area_mm2, own_a=1, other_a=5)
    assert found == pytest.approx(metres, rel=rel)


def test_we_23_cores_in_parallel():
    """WE-23, a road sensor operating manual, 4.2.1: printed 7.3 and 1.83 ohm, limit 5 ohm."""
    assert length.loop_ohm(100, 73.2) == pytest.approx(7.32, rel=0.005)
    assert length.loop_ohm(100, 73.2, parallel=4) == pytest.approx(1.83, rel=0.005)


def test_we_24_one_conductor_or_the_loop():
    """WE-24, a bus manual, example 1: 154 m counting one conductor; the loop gives half."""
    assert length.longest_m(4.0, 13, 2.0, conductors=1) == pytest.approx(153.8, rel=0.005)
    assert length.longest_m(4.0, 13, 2.0) == pytest.approx(76.9, rel=0.005)


def test_we_26_chain_of_locking_switches():
    """WE-26, a locking switch manual, 5.1: 3.4 and 1.1 V; 18 V is too low, 20.4 V will do.

    The source's third term does not follow from its own factors and is left out.
    """
    drops = length.chain_drops_v([10, 5, 10], [1.5, 1.5, 1.5], 0.05, factor=1.5)
    assert drops[:2] == pytest.approx((3.375, 1.125), rel=0.01)
    lowest = 20.4  # 24 V - 15 %
    assert 24 - sum(drops) < lowest <= 26.4 - sum(drops)


@pytest.mark.parametrize(
    ("temp_c", "to_20", "to_20_iec60028"),
    [(10, 1.0417, 1.0409), (40, 0.9259, 0.9271), (70, 0.8333, 0.8358)],
)
def test_we_27_temperature_correction(temp_c, to_20, to_20_iec60028):
    """WE-27, a cable maker's page: 1.042, 0.926, 0.833; the two laws agree within 0.5 %."""
    assert 1 / copper.temperature_factor(temp_c, 0.004) == pytest.approx(to_20, abs=5e-5)
    assert 1 / copper.temperature_factor(temp_c) == pytest.approx(to_20_iec60028, abs=5e-5)
    assert 1 / copper.temperature_factor(temp_c) == pytest.approx(to_20, rel=0.005)


# --- F: protection --------------------------------------------------------------------------


@pytest.mark.parametrize("row", read_table("breaker_lengths"))
def test_we_28_tested_lengths_trip_at_once(row):
    """WE-28, documentation of a 24 V supply: total wire lengths at which breakers opened fast."""
    curve, rated_a = row.text("curve"), row.number("rated_a")
    short_a = 24 / copper.copper_ohm(row.number("wire_m"), row.number("area_mm2"), 20).high
    assert protection.mcb_trip(curve, rated_a, short_a) is protection.Trip.TRIPS_AT_ONCE
    # a longer wire never trips faster
    order = list(protection.Trip)
    verdicts = [
        order.index(protection.mcb_trip(curve, rated_a, short_a / n)) for n in (1, 2, 4, 8, 60)
    ]
    assert verdicts == sorted(verdicts, reverse=True)


def test_we_30_mean_magnetic_trip():
    """WE-30, a series on circuit lengths: 6 A curve B trips at 24 A on average; C 7.5, D 15 x.

    The source prints 12.5 as mean of 10 and 20, which is not their mean; D is left out.
    """
    assert sum(protection.mcb_magnetic_a("B", 6, dc=False)) / 2 == pytest.approx(24)
    assert sum(protection.mcb_magnetic_a("C", 1, dc=False)) / 2 == pytest.approx(7.5)


def test_we_31_electronic_protection():
    """WE-31, data sheet of a four-channel 24 V selectivity module, set to 3 A."""
    assert protection.electronic_trip_s(3, 3) is None
    assert protection.electronic_trip_s(3, 4) == pytest.approx(5)
    assert protection.electronic_trip_s(3, 100) == pytest.approx(0.1)
    assert protection.electronic_limit_a(3) == pytest.approx(4.5)
    assert protection.electronic_trip_s(3, 4, supply_v=19) == pytest.approx(0.0005)


def test_we_33_retrying_supply():
    """WE-33, manual of a 24 V 5 A supply: sags from 5.25 to 6.75 A, retries above 7 A."""
    sag_a, off_a = supplies.hiccup_a(5)
    assert (sag_a.low, sag_a.high, off_a) == pytest.approx((5.25, 6.75, 7.0))
    assert supplies.hiccup_state(5, 5.0) is supplies.Sag.HOLDS
    assert supplies.hiccup_state(5, 6.0) is supplies.Sag.MAY_SAG
    assert supplies.hiccup_state(5, 6.9) is supplies.Sag.SAGS
    assert supplies.hiccup_state(5, 7.1) is supplies.Sag.RETRIES
    # so a 4 A breaker of curve C, sure at 60 A, never sees its magnetic current
    assert protection.mcb_magnetic_a("C", 4)[1] == pytest.approx(60)
    assert protection.mcb_trip("C", 4, off_a) is not protection.Trip.TRIPS_AT_ONCE


@pytest.mark.parametrize(
    ("amps", "gate"),
    [
        (3.0, (3600, None)),  # 1.5 x: holds an hour, no promise to open
        (4.2, (0.6, 120)),  # 2.1 x: within 120 s; holds as the 2.75 gate
        (5.5, (0.6, 10)),
        (8.0, (0.15, 3)),
        (20.0, (0.02, 0.3)),
    ],
)
def test_we_34_time_lag_fuse_of_2_a(amps, gate):
    """WE-34, data sheets of two 5 x 20 mm time-lag fuses; gates of sheet 3."""
    assert protection.fuse_opening_s("T", amps / 2.0, rated_a=2.0) == gate


# --- G: power budget ------------------------------------------------------------------------


def test_we_36_drive_system():
    """WE-36, a drive system manual, table 9-9: 14.25 A."""
    loads = [
        budget.Load(0.8), budget.Load(0.1, 8), budget.Load(1.5), budget.Load(0.85, 2),
        budget.Load(0.9, 3), budget.Load(0.25, 5), budget.Load(1.1, 5),
    ]  # fmt: skip
    assert budget.total_a(loads) == pytest.approx(14.25)


def test_we_38_duty_is_for_heat_only():
    """WE-38, an article on a 24 V bus: 0.79 A mean and 0.99 A with 25 %."""
    watts = [(10, 1.0), (2, 1.0), (12, 0.5), (1, 1.0)]
    loads = [budget.Load(budget.current_from_power_a(w), duty=d) for w, d in watts]
    assert budget.mean_a(loads) == pytest.approx(0.79, rel=0.01)
    assert budget.mean_a(loads) * 1.25 == pytest.approx(0.9875, rel=0.01)
    # at the instant the valve is on the bus carries all 25 W
    assert budget.total_a(loads) == pytest.approx(25 / 24)


def test_we_39_nothing_left_to_feed_through():
    """WE-39, fieldbus box documentation: 8 outputs of 0.5 A fill the 4 A of the pins."""
    assert budget.left_for_others_a(4.0, [budget.Load(0.5, 8)]) == 0.0


def test_we_40_safety_switch():
    """WE-40, instructions of a non-contact safety switch: own, monitoring and two outputs."""
    loads = [budget.Load(0.045), budget.Load(0.050), budget.Load(0.150, 2)]
    assert budget.total_a(loads) == pytest.approx(0.395)


def test_we_41_mains_side():
    """WE-41, an article on cabinet power: 120 W at 84 % takes 142.9 W."""
    assert budget.input_power_w(24 * 5, 0.84) == pytest.approx(142.86, rel=0.001)


# --- H: inductive loads and lamps -----------------------------------------------------------


def test_we_42_solenoid_with_diode_and_resistor():
    """WE-42, an electronics magazine's quiz: 200 mA, 10 mJ, 8.3 ms; 1.6 ms with about 250 ohm."""
    henry = suppress.coil_inductance_h(10e-3, 0.2)
    assert henry == pytest.approx(0.5)
    assert suppress.coil_energy_j(henry, 0.2) == pytest.approx(10e-3)
    assert suppress.time_constant_s(henry, 60) == pytest.approx(8.3e-3, rel=0.05)
    added = suppress.added_for_time_constant_ohm(henry, 60, 1.6e-3)
    assert added == pytest.approx(250, rel=0.05)
    assert suppress.time_constant_s(henry, 60, added) == pytest.approx(1.6e-3)
    assert suppress.peak_v(0.2, added) == pytest.approx(50, rel=0.05)


def test_we_44_relay_with_parallel_resistor():
    """WE-44, a forum measurement: 65 V bare with 680 ohm built in; diode slows release 3 times."""
    assert suppress.peak_v(12 / 120, 680) == pytest.approx(65, rel=0.10)
    slow = suppress.release_factor("diode")
    assert slow.low * 0.95 <= 8 / 2.6 <= slow.high


def test_we_45_lamp_inrush_stays_below_the_planning_figure():
    """WE-45, a magazine on inrush: 41 A peak, 5.7 A steady, a ratio of 7.2."""
    assert budget.inrush_a("lamp", 5.7).low > 41


@pytest.mark.parametrize(
    ("kind", "steady_a", "rating_a"), [("lamp", 5 / 24, 2.083), ("motor", 0.5, 3.0)]
)
def test_we_46_contact_rating(kind, steady_a, rating_a):
    """WE-46, a relay maker's page on load types: lamp 10 x, motor 6 x."""
    assert budget.contact_rating_a(kind, steady_a) == pytest.approx(rating_a, rel=0.001)


def test_we_47_resistor_across_an_indicator():
    """WE-47, an article on ghost glow: 0.17 W fits 0.5 W; 1.44 W fits 2 W."""
    assert bleeder.power_w(24, 3300) == pytest.approx(0.1745, rel=0.01)
    assert watt_size(bleeder.power_w(24, 3300)) == 0.5
    assert bleeder.power_w(120, 10_000) == pytest.approx(1.44, rel=0.01)
    # the source leaves less reserve here than twice the heat
    assert watt_size(bleeder.power_w(120, 10_000), factor=1.2) == 2.0
    low, high = bleeder.usual_cure_ohm()
    assert low <= 3300 <= high


# --- I: timing ------------------------------------------------------------------------------


def test_we_48_response_time():
    """WE-48, a controller manual, 6-5: 39.73 and 59.5 ms."""
    found = timing.response_s(1.5e-3, 20e-3, 15e-3, refresh_s=0.23e-3, overhead_s=3e-3)
    assert found.low == pytest.approx(39.73e-3)
    assert found.high == pytest.approx(59.50e-3)


def test_we_49_fastest_turn():
    """WE-49, an article on counting pulses: 50 pulses a second are 3000 turns a minute."""
    assert timing.highest_speed_rpm(50) == pytest.approx(3000)


@pytest.mark.parametrize(
    ("filter_s", "scan_s", "seen"),
    [
        (10e-3, 0.0, timing.Seen.MISSED),
        (2e-3, 0.0, timing.Seen.SURE),
        (2e-3, 20e-3, timing.Seen.PERHAPS),  # needs 22 ms
    ],
)
def test_we_51_pulse_of_5_ms(filter_s, scan_s, seen):
    """WE-51, an article on input filters with a university tutorial's rule."""
    assert timing.pulse_seen(5e-3, filter_s, scan_s) is seen
    assert timing.shortest_certain_pulse_s(2e-3, 20e-3) == pytest.approx(22e-3)


def test_we_53_test_pulse_classes():
    """WE-53, a locking switch manual, 11: C2 sinks take C2 and C3; C2 sources feed C1 and C2."""
    classes = ("C1", "C2", "C3")
    assert [timing.cb24i_fits(s, "C2") for s in classes] == [False, True, True]
    assert [timing.cb24i_fits("C2", k) for k in classes] == [True, True, False]
    assert timing.cb24i_margin_s(450e-6, "C2") == pytest.approx(50e-6)


@pytest.mark.parametrize(
    ("kind", "gap_s", "starts"),
    [("III", 0.6, False), ("III", 0.4, True), ("I", 0.6, True), ("II", 0.6, True)],
)
def test_we_55_two_hand_window(kind, gap_s, starts):
    """WE-55, a safety handbook's table of two-hand types: 0.5 s for type III only."""
    assert timing.two_hand_accepts(kind, gap_s) is starts
