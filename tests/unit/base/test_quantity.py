from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.base import Diagnostic, Interval, Span
from ringout.base.codes import CODES
from ringout.base.dimension import DIMENSIONS, awg_area_mm2, unit_table
from ringout.base.quantity import format_interval, format_quantity, parse_quantity
from ringout.base.rare_unit import convert_rare_unit

HERE = Span("cell.yaml", 3, 5, 12)


def read(text: str, dimension: str) -> Interval:
    found = parse_quantity(text, dimension, HERE)
    assert isinstance(found, Interval), found
    return found


@pytest.mark.parametrize(
    ("text", "dimension", "low", "typ", "high"),
    [
        # One value: the prefixes are the SI brochure's.
        ("24 V", "volts", 24, 24, 24),
        ("24V", "volts", 24, 24, 24),
        ("24 V DC", "volts", 24, 24, 24),
        ("-0.7 V", "volts", -0.7, -0.7, -0.7),
        ("0.34 mm2", "mm2", 0.34, 0.34, 0.34),
        ("0.34 mm²", "mm2", 0.34, 0.34, 0.34),
        ("20 mOhm", "ohms", 0.02, 0.02, 0.02),
        ("1.5 Mohm", "ohms", 1.5e6, 1.5e6, 1.5e6),
        ("5.6 Kohm", "ohms", 5600, 5600, 5600),
        ("5 µA", "amps", 5e-6, 5e-6, 5e-6),
        ("5 \u03bcA", "amps", 5e-6, 5e-6, 5e-6),
        ("5 uA", "amps", 5e-6, 5e-6, 5e-6),
        ("1e3 mA", "amps", 1, 1, 1),
        ("2.2 kΩ", "ohms", 2200, 2200, 2200),
        ("2.2 k\u2126", "ohms", 2200, 2200, 2200),
        ("300 µs", "seconds", 3e-4, 3e-4, 3e-4),
        ("2 min", "seconds", 120, 120, 120),
        ("0.7", "ratio", 0.7, 0.7, 0.7),
        ("70 %", "ratio", 0.7, 0.7, 0.7),
        ("6 x", "ratio", 6, 6, 6),
        # Letter code of IEC 60062.
        ("2k2", "ohms", 2200, 2200, 2200),
        ("4R7", "ohms", 4.7, 4.7, 4.7),
        ("R47", "ohms", 0.47, 0.47, 0.47),
        ("1M", "ohms", 1e6, 1e6, 1e6),
        # The inch is 25.4 mm and the foot 12 inches by definition.
        ("1/4 in", "metres", 0.00635, 0.00635, 0.00635),
        ('1/8"', "metres", 0.003175, 0.003175, 0.003175),
        ("1 1/2 in", "metres", 0.0381, 0.0381, 0.0381),
        ("3 ft", "metres", 0.9144, 0.9144, 0.9144),
        # Ranges, tolerances, bounds.
        ("10..45 °C", "celsius", 10, 27.5, 45),
        ("-5 °C .. 45 °C", "celsius", -5, 20, 45),
        ("10..45 ℃", "celsius", 10, 27.5, 45),
        ("10 to 45 degC", "celsius", 10, 27.5, 45),
        ("300 mA..1.2 A", "amps", 0.3, 0.75, 1.2),
        ("5.6 kΩ ± 10 %", "ohms", 5040, 5600, 6160),
        ("5.6 kohm +- 10 %", "ohms", 5040, 5600, 6160),
        ("5.6 kohm +/- 10%", "ohms", 5040, 5600, 6160),
        ("24 V ± 500 mV", "volts", 23.5, 24, 24.5),
        ("24 ± 1 V", "volts", 23, 24, 25),
        ("typ 1 V, 0..2 V", "volts", 0, 1, 2),
        ("0..2 V, typ 1 V", "volts", 0, 1, 2),
        ("typ 8 mA, up to 10 mA", "amps", 0, 0.008, 0.010),
        ("typ 8 mA", "amps", 0.008, 0.008, 0.008),
        ("up to 0.4 mA", "amps", 0, 0.0002, 0.0004),
        ("at most 0.4 mA", "amps", 0, 0.0002, 0.0004),
        ("from 3 mA", "amps", 0.003, 0.003, 0.003),
        ("from 3 mA to 5 mA", "amps", 0.003, 0.004, 0.005),
        # Units of the large library. Water freezes at 32 °F and boils at 212 °F.
        ("32 degF", "celsius", 0, 0, 0),
        ("122 degF ± 90 degF", "celsius", 0, 50, 100),
        ("5 yd", "metres", 4.572, 4.572, 4.572),
    ],
)
def test_reads_what_people_write(text, dimension, low, typ, high):
    found = read(text, dimension)
    assert (found.low, found.typ, found.high) == pytest.approx((low, typ, high), abs=1e-9)


@pytest.mark.parametrize(
    ("gauge", "area_mm2"),
    # ASTM B258, nominal areas of solid wire, rounded there to these digits.
    [("26 AWG", 0.129), ("22 AWG", 0.324), ("AWG 18", 0.823), ("14AWG", 2.08), ("4/0 AWG", 107)],
)
def test_wire_gauge(gauge, area_mm2):
    assert read(gauge, "mm2").typ == pytest.approx(area_mm2, rel=0.006)


def test_gauges_count_backwards():
    found = read("24..22 AWG", "mm2")
    assert (found.low, found.high) == (awg_area_mm2(24), awg_area_mm2(22))


@pytest.mark.parametrize(
    ("text", "dimension", "code", "fix"),
    [
        ("", "volts", "N001", "24 V"),
        ("24", "volts", "N001", "24 V"),
        ("10..45", "celsius", "N001", "10..45 °C"),
        ("22", "mm2", "N001", "0.34 mm2"),
        ("24 Volst", "volts", "N002", "24 volt"),
        ("20 MA", "amps", "N002", "20 mA"),
        ("5 M", "metres", "N002", "5 m"),
        ("3 __import__", "volts", "N005", "24 V"),
        ("3 m**9**9", "metres", "N002", "5 m"),
        ("24 A", "volts", "N003", "24 V"),
        ("3 parsec", "volts", "N003", "24 V"),
        ("22 AWG", "metres", "N003", "5 m"),
        ("0,34 mm2", "mm2", "N004", "0.34 mm2"),
        ("10-45 °C", "celsius", "N005", "10..45 °C"),
        ("many", "volts", "N005", "24 V"),
        ("1/0 in", "metres", "N005", "5 m"),
        ("1..2..3 V", "volts", "N005", "24 V"),
        ("5 V ± -1 V", "volts", "N005", "24 V"),
        ("9" * 500 + " V", "volts", "N005", "24 V"),
        ("nan V", "volts", "N006", "24 V"),
        ("inf V", "volts", "N006", "24 V"),
        ("1e999 V", "volts", "N006", "check"),
        ("1e12 V", "volts", "N006", "check"),
        ("77 AWG", "mm2", "N006", "22 AWG"),
        ("-3 m", "metres", "N007", "5 m"),
        ("1 Ω ± 200 %", "ohms", "N007", "kΩ"),
        ("-300 °C", "celsius", "N007", "°C"),
        ("45..10 °C", "celsius", "N008", "exchange"),
        ("typ 5 V, 0..2 V", "volts", "N008", "correct"),
    ],
)
def test_refuses_with_a_cure(text, dimension, code, fix):
    found = parse_quantity(text, dimension, HERE)
    assert isinstance(found, Diagnostic), found
    assert (found.code, found.span) == (code, HERE)
    assert fix in found.fix
    assert code in CODES


def test_a_minimum_is_kept():
    assert isinstance(parse_quantity("5 V", "volts", HERE, minimum=0.0), Interval)
    refused = parse_quantity("-5..5 V", "volts", HERE, minimum=0.0)
    assert isinstance(refused, Diagnostic)
    assert refused.code == "N007"


def test_every_unit_of_the_table_agrees_with_the_library():
    import csv
    from importlib.resources import files

    text = files("ringout.base").joinpath("units.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert len(rows) == len({row["unit"] for row in rows}) == len(unit_table())
    import pint

    registry = pint.UnitRegistry()
    own = {name: kind.symbol for name, kind in DIMENSIONS.items()}
    own |= {"mm2": "mm**2", "a2s": "A**2*s", "celsius": "degC", "ratio": "dimensionless"}
    own |= {"newton_metre": "N*m", "ohms": "ohm"}
    for row in rows:
        one = registry.Quantity(1.0, row["check"]).to(own[row["dimension"]]).magnitude
        assert float(row["factor"]) == pytest.approx(one, rel=1e-9), row["unit"]
        assert row["source"]
        assert read(f"0.5 {row['unit']}", row["dimension"]).typ == pytest.approx(0.5 * one)


def test_known_units_do_not_load_the_library():
    words = (
        "import sys; from ringout.base import Span; from ringout.base.quantity import *\n"
        "parse_quantity('5.6 kΩ ± 10 %', 'ohms', Span('f', 1, 1))\n"
        "sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", words], check=False).returncode == 0


def test_the_library_is_given_nothing_costly():
    assert convert_rare_unit(1.0, "m**9**9**9", "metres") is None
    assert convert_rare_unit(1.0, "exec", "metres") is None


@pytest.mark.parametrize(
    ("value", "dimension", "text"),
    [
        (2700, "ohms", "2.7 kΩ"),
        (0.34, "mm2", "0.34 mm²"),
        (6.7, "volts", "6.7 V"),
        (999.7, "ohms", "1 kΩ"),
        (0.0004, "amps", "400 µA"),
        (0.003, "seconds", "3 ms"),
        (-24.04, "volts", "-24 V"),
        (0, "volts", "0 V"),
        (0.008, "metres", "8 mm"),
        (1234, "metres", "1234 m"),
        (0.7, "ratio", "0.7"),
        (math.nan, "volts", "unknown"),
        (math.inf, "volts", "no limit"),
    ],
)
def test_format(value, dimension, text):
    assert format_quantity(value, dimension) == text


def test_format_interval():
    assert format_interval(Interval(2.5, 3, 3.5), "volts") == "2.5..3.5 V"
    assert format_interval(Interval(0.0005, 0.5, 1), "amps") == "500 µA..1 A"
    assert format_interval(Interval.exact(24), "volts") == "24 V"


@given(st.floats(1e-6, 1e8), st.sampled_from(sorted(DIMENSIONS)), st.integers(2, 6))
def test_what_is_formatted_is_read_back(value, dimension, digits):
    text = format_quantity(value, dimension, digits=digits)
    found = read(text, dimension)
    smallest = (
        1e-12 if dimension not in {"mm2", "celsius", "a2s", "ratio", "newton_metre"} else 1e-9
    )
    assert found.typ == pytest.approx(value, rel=10 ** (1 - digits), abs=smallest)


UNITS = st.sampled_from(
    [*unit_table(), "AWG", "degF", "furlong", "%", "", "typ", "±", "..", "up to"]
)
NEAR = st.lists(
    st.one_of(UNITS, st.floats(allow_nan=True).map(str), st.integers().map(str), st.just(" ")),
    max_size=8,
).map("".join)


@given(st.one_of(st.text(max_size=40), NEAR), st.sampled_from(sorted(DIMENSIONS)))
def test_never_raises_and_is_ordered(text, dimension):
    found = parse_quantity(text, dimension, HERE)
    if isinstance(found, Interval):
        assert found.low <= found.typ <= found.high
        assert math.isfinite(found.low)
        assert math.isfinite(found.high)
    else:
        assert found.code in CODES
        assert found.fix
