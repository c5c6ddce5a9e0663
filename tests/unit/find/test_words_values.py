"""How wide a reading is taken, reckoned by hand.

A display of 2000 counts, 0.5 % + 2 digits on volts, 0.9 % + 2 digits on ohms, 1 % + 3 digits for
a loaded tester (common practice); half of the last digit said on top; leads 0.5 ohm.
"""

from __future__ import annotations

import math

import pytest

from ringout.find.words.sentence import UnclearError
from ringout.find.words.value import read_value


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        # range 2 V, digit 1 mV: 0.05 + 0.002 + 0.002
        ("0.4 V", 0.346, 0.454),
        ("-0.4 V", -0.454, -0.346),
        ("400 mV", 0.3955, 0.4045),  # 0.0005 + 0.002 + 0.002
        # range 200 V, digit 0.1 V: 0.5 + 0.12 + 0.2; 0.05 + 0.1205 + 0.2
        ("24 V", 23.18, 24.82),
        ("24.1 V", 23.7295, 24.4705),
        # range 0.2 V, digit 0.1 mV: 0.5 + 0.0002; 0.05 + 0.0002
        ("0 V", -0.5002, 0.5002),
        ("0.0 V", -0.0502, 0.0502),
        ("about 18 V", 16.09, 19.91),  # 1.8 + 0.09 + 0.02
        ("18 V or so", 16.09, 19.91),
        ("about 0 V", -1.0002, 1.0002),  # one of the last digit said
        ("over 20 V", 19.88, math.inf),  # range 20 V: 0.1 + 0.02
        ("under 1 V", -1.007, 1.007),  # range 2 V: 0.005 + 0.002
        ("1..2 V", 0.993, 2.012),  # at each end 0.5 % + 2 mV
        ("1 to 2 V", 0.993, 2.012),
        ("between 1 and 2 V", 0.993, 2.012),
        ("1\u20262 V", 0.993, 2.012),
        ("no voltage", -0.5, 0.5),
    ],
)
def test_volts(text, low, high):
    found = read_value(text, (0, len(text)))
    assert found.quantity == "volts"
    assert found.low == pytest.approx(low, abs=1e-9)
    assert found.high == pytest.approx(high, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        # range 200 ohm, digit 0.1: 0.05 + 0.0027 + 0.2, and leads below
        ("0.3 ohm", 0.0, 0.5527),
        ("2.0 Ω", 1.232, 2.268),  # 0.05 + 0.018 + 0.2, leads 0.5
        # range 20 k, digit 10: 50 + 42.3 + 20
        ("4.7 k", 4587.2, 4812.3),  # 4587.7 less leads
        ("4k7", 4587.2, 4812.3),
        ("4.7 kohm", 4587.2, 4812.3),
        ("open", 1e6, math.inf),
        ("OL", 1e6, math.inf),
        ("5 Mohm", 1e6, math.inf),  # no meter is trusted there
        ("beeps", 0.0, 30.0),
        ("short", 0.0, 30.0),
        ("no continuity", 30.0, math.inf),
    ],
)
def test_ohms(text, low, high):
    found = read_value(text, (0, len(text)))
    assert found.quantity == "ohms"
    assert found.high == pytest.approx(high)
    assert found.low == pytest.approx(low, abs=1e-6)


def test_a_loaded_tester_is_coarser():
    # range 200 V, digit 0.1: 0.05 + 0.241 + 0.3
    found = read_value("24.1 V", (0, 6), "lowz")
    assert (found.low, found.high) == (pytest.approx(23.509), pytest.approx(24.691))


def test_decimal_comma():
    assert read_value("0,4 V", (0, 5)) == read_value("0.4 V", (0, 5))
    assert read_value("0,412 V", (0, 7)) == read_value("0.412 V", (0, 7))
    with pytest.raises(UnclearError, match="comma"):
        read_value("1,234 V", (0, 7))


@pytest.mark.parametrize("text", ["4 kg", "12 VAC", "20 mA", "4 bar", "5 zz"])
def test_other_units(text):
    with pytest.raises(UnclearError) as caught:
        read_value(text, (0, len(text)))
    assert caught.value.code == "N318"
