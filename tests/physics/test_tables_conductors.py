"""Copper resistance, gauge sizes and current capacity against published tables."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.tables import ampacity, copper, read_table

# IEC 60228, tables 1 to 3, ohm/km at 20 °C: class 1 and 2 plain, tinned; class 5 plain, tinned.
# Three cable makers' restatements.
IEC_60228 = {
    0.5: (36.0, 36.7, 39.0, 40.1),
    0.75: (24.5, 24.8, 26.0, 26.7),
    1.0: (18.1, 18.2, 19.5, 20.0),
    1.5: (12.1, 12.2, 13.3, 13.7),
    2.5: (7.41, 7.56, 7.98, 8.21),
    4.0: (4.61, 4.70, 4.95, 5.09),
    6.0: (3.08, 3.11, 3.30, 3.39),
}
# ASTM B258: gauge, diameter in mm, section in mm2, ohm/km solid at 20 °C. The sections of 24 to
# 18 stand in a drive manual, those of 18 to 10 in NEC chapter 9 table 8.
AWG = {
    28: (0.3211, 0.0810, 212.9),
    26: (0.4049, 0.1288, 133.9),
    24: (0.5106, 0.2047, 84.21),
    22: (0.6438, 0.3255, 52.96),
    20: (0.8118, 0.5176, 33.31),
    18: (1.0237, 0.8230, 20.95),
    16: (1.2908, 1.3087, 13.17),
    14: (1.6277, 2.0809, 8.29),
    12: (2.0525, 3.3088, 5.21),
    10: (2.5882, 5.2612, 3.28),
}


# --- copper ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("area_mm2", "cells"), IEC_60228.items())
def test_iec_60228(area_mm2, cells):
    found = tuple(
        copper.resistance_ohm_per_km(area_mm2, klass, plating)
        for klass in (2, 5)
        for plating in ("plain", "tinned")
    )
    assert found == cells
    assert copper.resistance_ohm_per_km(area_mm2, 1) == cells[0]


@pytest.mark.parametrize(
    ("area_mm2", "plain", "tinned", "worst"),
    # a trade reference for fine strands; the last column is the highest met in data sheets
    [(0.14, 134, 138, 138), (0.22, 96, 99, 99), (0.25, 76, 79, 79), (0.34, 53, 56, 57)],
)
def test_thin_strands_take_the_highest_figure_met(area_mm2, plain, tinned, worst):
    row = next(
        r for r in read_table("conductor_resistance")
        if r.text("class") == "5" and r.number("area_mm2") == area_mm2
    )  # fmt: skip
    assert (row.number("plain_ohm_per_km"), row.number("tinned_ohm_per_km")) == (plain, tinned)
    for plating in ("plain", "tinned"):
        assert copper.resistance_ohm_per_km(area_mm2, 5, plating) == worst


@pytest.mark.parametrize(("awg", "cells"), AWG.items())
def test_awg(awg, cells):
    diameter_mm, area_mm2, ohm_per_km = cells
    assert copper.awg_diameter_mm(awg) == pytest.approx(diameter_mm, abs=5e-5)
    assert copper.awg_area_mm2(awg) == pytest.approx(area_mm2, abs=5.5e-5)
    assert copper.awg_ohm_per_km(awg) == pytest.approx(ohm_per_km, rel=1e-3)
    assert copper.nearest_awg(area_mm2) == awg


@pytest.mark.parametrize(
    ("awg", "solid", "stranded"),
    # NEC chapter 9 table 8 in ohm/km, 75 °C, uncoated copper
    [(18, 25.5, 26.1), (16, 16.0, 16.4), (14, 10.1, 10.3), (12, 6.34, 6.50)],
)
def test_nec_table_8(awg, solid, stranded):
    assert copper.nec_ohm_per_km(awg, stranded=False) == pytest.approx(solid, rel=0.005)
    assert copper.nec_ohm_per_km(awg) == pytest.approx(stranded, rel=0.005)
    # the gauge formula, warmed to 75 °C, meets the published solid figure
    warm = copper.awg_ohm_per_km(awg) * copper.temperature_factor(75)
    assert warm == pytest.approx(copper.nec_ohm_per_km(awg, stranded=False), rel=0.005)


@given(st.floats(0.05, 16), st.floats(0.1, 500), st.floats(-25, 90))
def test_copper_interval_is_ordered(area_mm2, length_m, temp_c):
    for plating in ("plain", "tinned"):
        found = copper.copper_ohm(length_m, area_mm2, temp_c, plating=plating)
        assert 0 < found.low <= found.typ <= found.high
        # IEC 60228 class 5 lies 8 to 17 % above pure copper (19.5 to 20.5 against 17.24)
        assert found.high < 1.25 * found.low


@given(st.floats(0.05, 16), st.floats(1.0001, 5))
def test_thicker_copper_has_less_resistance(area_mm2, ratio):
    thin = copper.resistance_ohm_per_km(area_mm2)
    # between listed sizes the worse neighbour counts, so a step of some 3 % is possible
    assert copper.resistance_ohm_per_km(area_mm2 * ratio) <= thin * 1.04


@given(st.floats(0.14, 16))
def test_size_between_two_listed_ones_is_no_better_than_either(area_mm2):
    ohm_mm2 = copper.resistance_ohm_per_km(area_mm2) * area_mm2
    assert ohm_mm2 <= max(
        r.number("area_mm2") * copper.resistance_ohm_per_km(r.number("area_mm2"))
        for r in read_table("conductor_resistance") if r.text("class") == "5"
    ) * (1 + 1e-12)  # fmt: skip


@pytest.mark.parametrize(("area_mm2", "size"), [(0.3, 0.34), (0.5, 0.5), (1.6, 2.5), (17, None)])
def test_next_size(area_mm2, size):
    assert copper.next_area_mm2(area_mm2) == size


def test_a_conductor_that_cannot_be_is_refused():
    with pytest.raises(ValueError, match="not positive"):
        copper.resistance_ohm_per_km(0.0)
    with pytest.raises(KeyError, match="class 6"):
        copper.resistance_ohm_per_km(1.0, 6)


# --- ampacity --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("area_mm2", "method", "amps"),
    # IEC 60204-1 table 6 at 40 °C, as a drive manual prints it (B2, C, E); B1 from memory
    [(0.75, "b2", 8.5), (1.0, "c", 11.7), (1.5, "e", 16.1), (1.5, "b1", 13.5), (2.5, "b2", 17.4),
     (4, "c", 28), (6, "e", 37)],
)  # fmt: skip
def test_current_capacity(area_mm2, method, amps):
    assert ampacity.current_capacity_a(area_mm2, method=method) == amps


def test_current_capacity_of_signal_pairs():
    # IEC 60204-1 table 6, electronics, as a drive manual prints it: 0.2 and 0.5 mm2, B2
    assert ampacity.current_capacity_a(0.2, use="signal") == 4.3
    assert ampacity.current_capacity_a(0.5, use="signal", method="c") == 7.5
    # 0.34 mm2 lies on the line between them
    assert ampacity.current_capacity_a(0.34, use="signal") == pytest.approx(4.3 + 3.2 * 14 / 30)


def test_factors():
    # ambient factors: two drive manuals; grouping and multicore: IEC 60204-1, from memory
    assert ampacity.ambient_factor(50) == 0.82
    assert ampacity.ambient_factor(20) == 1.15
    assert ampacity.ambient_factor(61) is None
    assert ampacity.grouping_factor(4, "b2") == 0.65
    assert ampacity.grouping_factor(3, "b2") == 0.65  # the next larger listed number
    assert ampacity.grouping_factor(10, "b2") is None
    assert ampacity.multicore_factor(7, 1.5) == 0.65
    assert ampacity.multicore_factor(3, 0.5) == 0.5
    assert ampacity.multicore_factor(25, 0.5) is None
    found = ampacity.current_capacity_a(1.5, method="b2", ambient_c=50, circuits=4, loaded_cores=7)
    assert found == pytest.approx(13.1 * 0.82 * 0.65 * 0.65)


def test_outside_the_tables_there_is_no_answer():
    assert ampacity.current_capacity_a(10) is None
    assert ampacity.current_capacity_a(0.14, use="signal") is None
    assert ampacity.current_capacity_a(1.5, ambient_c=70) is None
    assert ampacity.nfpa79_ampacity_a(8) is None
    with pytest.raises(KeyError, match="laying method d"):
        ampacity.current_capacity_a(1.5, method="d")


@given(st.floats(0.75, 6), st.floats(-10, 60), st.integers(1, 9), st.integers(1, 24))
def test_company_and_heat_never_raise_the_capacity(area_mm2, ambient_c, circuits, cores):
    alone = ampacity.current_capacity_a(area_mm2, ambient_c=ambient_c)
    crowded = ampacity.current_capacity_a(
        area_mm2, ambient_c=ambient_c, circuits=circuits, loaded_cores=cores
    )
    warm = ampacity.current_capacity_a(area_mm2, ambient_c=min(60.0, ambient_c + 5))
    assert crowded <= alone
    assert warm <= alone


@given(st.floats(30, 60))
def test_ambient_interpolation_is_on_the_safe_side(ambient_c):
    # IEC 60364 law behind the table: root of what is left to 70 °C over 30 K; 0.01 for rounding
    exact = math.sqrt((70 - ambient_c) / 30)
    assert ampacity.ambient_factor(ambient_c) <= exact + 0.01


def test_us_ampacity_and_least_sections():
    # NFPA 79 table 12.5.1 and IEC 60204-1 table 5, from memory
    assert ampacity.nfpa79_ampacity_a(22) == 3
    assert ampacity.nfpa79_ampacity_a(14) == 20
    assert ampacity.min_section_mm2("outside", "control", "two-core-screened") == 0.2
    assert ampacity.min_section_mm2("inside", "power", "single") == 0.75
    us = ampacity.min_section_mm2("outside", "control", "single", market="us")
    assert us == pytest.approx(copper.awg_area_mm2(18), rel=1e-3)
