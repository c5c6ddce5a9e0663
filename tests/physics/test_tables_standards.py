"""Cells of standards and published tables, and the laws the closed formulas must keep."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.tables import (
    colours,
    contacts,
    ferrule,
    inputs,
    meters,
    protection,
    read_table,
    supplies,
    timing,
    torque,
)

# IEC 61131-2, table of limits of digital inputs: UL max limited / unlimited, IT min, UH min and
# max, IH min and max. From memory, cells agreeing with technical data of four makers.
INPUT_CELLS = {
    "iec-61131-2-type-1": (15, 5, 0.5, 15, 30, 2, 15),
    "iec-61131-2-type-2": (11, 5, 2.0, 11, 30, 6, 30),
    "iec-61131-2-type-3": (11, 5, 1.5, 11, 30, 2, 15),
}


# --- inputs and supply -----------------------------------------------------------------------


@pytest.mark.parametrize(("kind", "cells"), INPUT_CELLS.items())
def test_input_types(kind, cells):
    found = inputs.input_limits(kind)
    assert (
        found.off_with_current_v, found.off_v, found.off_a * 1000, found.on_v, found.on_max_v,
        found.on_a * 1000, found.on_max_a * 1000,
    ) == pytest.approx(cells)  # fmt: skip
    assert found.off_min_v == -3
    assert found.off_v < found.on_v


def test_input_types_are_all_there():
    assert set(inputs.input_kinds()) == set(INPUT_CELLS)
    with pytest.raises(KeyError, match=r"did you mean iec-61131-2-type-\d"):
        inputs.input_limits("iec-61131-2-type-4")


def test_supply_range():
    # IEC 61131-2, 24 V -15 %/+20 %; a bus module's data sheet prints 20.4 to 28.8 V
    rated = inputs.supply_range_v()
    assert (rated.low, rated.high) == pytest.approx((24 * 0.85, 24 * 1.20))
    absolute = inputs.supply_range_v("absolute")
    assert (absolute.low, absolute.high) == (19.2, 30)


def test_output_currents():
    # IEC 61131-2, DC outputs, from memory: continuous maximum 1.2 times rated, drop at most 3 V
    for row in read_table("output_ratings"):
        assert row.number("continuous_max_a") == pytest.approx(1.2 * row.number("rated_a"))
        assert row.number("on_drop_max_v") == 3
    assert inputs.output_leak_a(0.5) == pytest.approx(0.5e-3)
    assert inputs.output_leak_a(2.0) == pytest.approx(1e-3)


def test_a_two_wire_sensor_is_off_on_type_2_and_3_but_not_on_type_1():
    # IEC 60947-5-2 allows 1.5 mA off-state; IEC 61131-2 IT min 0.5, 2, 1.5 mA. The compatibility
    # notes of a sensor maker say the same: type 1 for contacts, not for two-wire sensors
    leak_a = next(
        r.number("off_current_max_ma") for r in read_table("sensor_limits")
        if r.text("kind") == "two-wire"
    ) / 1000  # fmt: skip
    fits = {k: leak_a <= inputs.input_limits(k).off_a for k in INPUT_CELLS}
    assert list(fits.values()) == [False, True, True]


def test_silver_is_below_its_comfort_on_types_1_and_3():
    # IEC 60947-5-4 and a relay maker's data: about 17 V, 5 mA; types 1 and 3 draw 2 mA at least
    limit = contacts.wetting("silver")
    assert (limit.min_v, limit.min_a) == pytest.approx((17, 5e-3))
    assert inputs.input_limits("iec-61131-2-type-1").on_a < limit.min_a
    assert inputs.input_limits("iec-61131-2-type-2").on_a > limit.min_a
    assert contacts.wetting("gold").min_a < limit.min_a


def test_connector_ratings_take_the_lower_of_two_sources():
    # rating guides and memory disagree on M12 5 pin (60 or 250 V) and M8 (3 or 4 A)
    assert contacts.connector_rating("m12-a-5").voltage_v == 60
    assert contacts.connector_rating("m8-3").current_a == 3
    assert contacts.connector_rating("m12-a-4").current_a == 4
    assert contacts.connector_rating("m12-a-8").current_a == 2
    assert contacts.connector_rating("m12-a-12").current_a == 1.5
    for row in read_table("contact_materials"):
        ohm = contacts.contact_ohm(row.text("material"))
        assert ohm.low < ohm.typ < ohm.high


# --- protection ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("curve", "low", "high"),
    # IEC 60898-1 (three trade pages); K and Z from makers' habit
    [("B", 3, 5), ("C", 5, 10), ("D", 10, 20), ("Z", 2, 3), ("K", 8, 14)],
)
def test_magnetic_range(curve, low, high):
    assert protection.mcb_magnetic_a(curve, 10, dc=False) == (low * 10, high * 10)
    # maker guidance, from memory: about 1.5 times on DC
    assert protection.mcb_magnetic_a(curve, 10) == (low * 10, high * 15)


def test_breaker_verdicts():
    # IEC 60898-1: holds 1.13 x for an hour, trips by 1.45 x within it
    at = {1.13: "HOLDS", 1.3: "MAY_TRIP_SLOWLY", 1.45: "TRIPS_SLOWLY", 4: "MAY_TRIP_AT_ONCE",
          7.5: "TRIPS_AT_ONCE"}  # fmt: skip
    for multiple, verdict in at.items():
        assert protection.mcb_trip("B", 1, multiple) is protection.Trip[verdict]


def test_fuse_gates():
    # IEC 60127-2 sheets 2 (from memory), 3 and 5 (data sheets)
    assert protection.fuse_opening_s("F", 1.0) == (3600, None)
    assert protection.fuse_opening_s("F", 4.0) == (0.01, 0.3)
    assert protection.fuse_opening_s("F", 12.0) == (None, 0.02)
    assert protection.fuse_opening_s("T", 2.75, rated_a=0.08) == (0.2, 10)
    assert protection.fuse_opening_s("TH", 4.0, rated_a=5) == (0.15, 5)
    assert protection.fuse_opening_s("TH", 4.0, rated_a=2) == (0.095, 5)
    assert protection.fuse_opening_s("T", 2.1, rated_a=16) == (None, None)
    with pytest.raises(KeyError, match="row of fuse_gates with kind FF"):
        protection.fuse_opening_s("FF", 2)


@given(st.sampled_from(["F", "T", "TH"]), st.floats(0.5, 30), st.floats(1, 3), st.floats(1, 6))
def test_a_fuse_never_opens_later_at_higher_current(kind, multiple, more, rated_a):
    def pair(m):
        low, high = protection.fuse_opening_s(kind, m, rated_a)
        return (0.0 if low is None else low, math.inf if high is None else high)

    slow, fast = pair(multiple), pair(multiple * more)
    assert fast[0] <= slow[0]
    assert fast[1] <= slow[1]
    assert slow[0] <= slow[1]


def test_class_2_fuse():
    # NEC chapter 9 table 11(B): 100/V, printed as 4.2 A at 24 V
    assert supplies.class2_fuse_a(24) == pytest.approx(4.2, abs=0.05)


def test_supply_overload():
    # power supply makers' pages: reacts at 105 to 150 %, fold-back to about 20 %
    reacts = supplies.overload_range_x("constant-current")
    assert (reacts.low, reacts.high) == (1.05, 1.5)
    assert supplies.short_current_x("fold-back").typ == 0.2
    assert supplies.short_current_x("hiccup") is None


def test_breaker_by_section():
    # a drive manual, table of breakers by section at up to 40 and 55 °C
    assert supplies.breaker_for_section_a(1.5, 40) == 10
    assert supplies.breaker_for_section_a(2.5, 45) == 10
    assert supplies.breaker_for_section_a(3.0, 30) == 16
    assert supplies.breaker_for_section_a(1.0, 30) is None
    assert supplies.breaker_for_section_a(1.5, 60) is None


# --- ferrules, torque, colours, timing, meters -----------------------------------------------


@pytest.mark.parametrize(
    ("area_mm2", "series", "size", "colour", "strip_mm"),
    [
        # three ferrule charts; strip by common practice: barrel and 2 mm
        (0.34, "din-46228-4", 0.34, "turquoise", 10),
        (0.5, "din-46228-4", 0.5, "white", 10),
        (1.0, "din-46228-4", 1.0, "red", 10),
        (1.5, "old-german", 1.5, "red", 10),
        (2.5, "french", 2.5, "grey", 10),
        (6, "din-46228-4", 6, "yellow", 14),
        # gauge sizes take the next larger
        (0.823, "din-46228-4", 1.0, "red", 10),
        (0.5176, "din-46228-4", 0.5, "white", 10),
        (0.2047, "french", 0.25, "violet", 10),
    ],
)
def test_ferrules(area_mm2, series, size, colour, strip_mm):
    found = ferrule.ferrule_for(area_mm2, series)
    assert (found.area_mm2, found.colour, found.strip_mm) == (size, colour, strip_mm)
    assert found.barrel_mm in ferrule.barrels_mm(size)


def test_every_series_has_the_same_sizes_and_each_size_one_usual_barrel():
    sizes = {}
    for row in read_table("ferrules"):
        sizes.setdefault(row.text("series"), []).append(row.number("area_mm2"))
    assert len({tuple(found) for found in sizes.values()}) == 1
    usual = [
        r.number("area_mm2") for r in read_table("ferrule_barrels") if r.text("usual") == "yes"
    ]
    assert usual == sizes["french"]


def test_no_ferrule_for_a_hair_or_a_rod():
    assert ferrule.ferrule_for(0.05) is None
    assert ferrule.ferrule_for(25) is None
    with pytest.raises(KeyError, match="row of ferrules with series"):
        ferrule.ferrule_for(1.0, "swiss")


def test_strip_and_torque():
    # four device manuals; M3.5 to M5 also a drive manual; M12 by common practice
    assert ferrule.strip_length_mm("screw-terminal").typ == 6.5
    assert ferrule.sheath_length_mm("m12-field").low == 20
    assert ferrule.sheath_length_mm("spring-terminal") is None
    assert torque.clamp_torque_nm("M3") == 0.5
    assert torque.clamp_torque_nm("M4") == 1.2
    assert torque.connector_torque_nm("m12-a-4").typ == 0.6
    assert torque.connector_torque_nm("m12", "plastic").typ == 0.4
    assert torque.connector_torque_nm("m8-3").high == 0.4


def test_colours():
    # IEC 60757 codes; sensor colours of IEC 60947-5-2; market rules of IEC 60204-1 and NFPA 79
    assert colours.wire_colour("BN").name == "brown"
    assert colours.wire_colour("GNYE").second_rgb == colours.wire_colour("YE").rgb
    assert colours.wire_colour("BK").second_rgb is None
    by_pin = [colours.usual_core_colour("m12-a-5", pin) for pin in "12345"]
    assert by_pin == ["BN", "WH", "BU", "BK", "GY"]
    assert colours.usual_core_colour("m8-3", "4") == "BK"
    assert colours.usual_core_colour("m12-a-8", "1") == "WH"
    assert colours.usual_core_colour("m12-a-12", "1") is None
    assert colours.rule_colours("iec", "control-dc") == ("BU",)
    assert colours.rule_colours("us", "grounded-dc") == ("WH/BU",)


def test_every_colour_used_has_a_code_and_every_screen_colour_is_one():
    codes = {row.text("code") for row in read_table("wire_colours")}
    assert {r.text("colour") for r in read_table("core_colours")} <= codes
    used = {
        c for r in read_table("colour_rules") for w in r.text("colours").split(";")
        for c in w.split("/")
    }  # fmt: skip
    assert used <= codes
    shades = [colours.wire_colour(code) for code in codes]
    assert all(0 <= v <= 255 for shade in shades for v in shade.rgb)
    # no two colours look the same on the screen
    assert len({(s.rgb, s.second_rgb) for s in shades}) == len(codes)


def test_bounce_and_filters():
    # a published survey of 18 switches: mean 1.6 ms, ordinary worst 6.2 ms
    assert timing.longest_bounce_s("push-button") == pytest.approx(6.2e-3)
    assert timing.longest_bounce_s("relay") >= 2e-3  # a published measurement
    # a bus module offers seven filters from 1 us to 20 ms
    assert timing.offered_filters_s("a")[0] == pytest.approx(1e-6)
    assert len(timing.offered_filters_s("a")) == 7


def test_test_pulses_against_filters():
    # a light curtain's instructions: 150 us typical, 300 us at most
    longest = timing.ossd_pulse_s().high
    assert longest == pytest.approx(300e-6)
    assert timing.filter_hides_pulse(0.5e-3, longest)
    assert not timing.filter_hides_pulse(0.1e-3, longest)


@given(st.floats(0, 0.05), st.floats(0, 0.1), st.floats(0, 0.05))
def test_response_is_an_interval(delay_s, scan_s, out_s):
    found = timing.response_s(delay_s, scan_s, out_s)
    assert found.low <= found.typ <= found.high
    assert found.high - found.low == pytest.approx(scan_s, abs=1e-12)


def test_meters():
    # usual hand meter: 10 Mohm, 0.5 % + 2 digits; from memory
    assert meters.meter_ohm("volts").typ == 10e6
    assert meters.meter_ohm("lowz").typ < 10_000
    assert meters.reading_error("volts", -24.0, 0.01) == pytest.approx(0.14)
    test_a, open_v = meters.ohms_test()
    assert 0 < test_a < 2e-3
    assert 0 < open_v < 5
    assert 20 <= meters.beeps_below_ohm() <= 50
    with pytest.raises(TypeError, match="input_min_ohm"):
        meters.meter_ohm("ohms")
