"""Printed limits: never narrower than what was reckoned, and the words say them exactly."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.checkout.limits import limit_words, printed_limits
from tests.physics.test_checkout_proof import text_limits

COARSE = 1.02  # a printed limit may be this much wider, three digits being kept: 1 of 100, twice
OHMS = st.floats(0.0, 4e6)
VOLTS = st.floats(-60.0, 60.0)


@given(OHMS, OHMS)
def test_ohms_are_widened_a_little_at_most(a, b):
    low, high = min(a, b), max(a, b)
    printed = printed_limits(low, high, "ohms")
    assert printed[0] - 1e-6 <= low <= high <= printed[1] * (1 + 1e-9) + 1e-6
    assert printed[1] <= high * COARSE + 0.1
    assert printed[0] >= low / COARSE - 0.2  # two last digits of a meter, common practice


@given(VOLTS, VOLTS)
def test_volts_are_widened_a_little_at_most(a, b):
    low, high = min(a, b), max(a, b)
    printed = printed_limits(low, high, "volts")
    assert printed[0] - 1e-6 <= low <= high <= printed[1] + 1e-6
    assert printed[1] <= max(high, -low) + 0.1 + 1e-6


@given(OHMS, OHMS)
def test_the_words_say_the_ohms(a, b):
    printed = printed_limits(min(a, b), max(a, b), "ohms")
    said = text_limits(limit_words(*printed, "ohms"))
    assert said == pytest.approx(printed, rel=1e-6, abs=1e-6)


@given(VOLTS, VOLTS)
def test_the_words_say_the_volts(a, b):
    printed = printed_limits(min(a, b), max(a, b), "volts")
    said = text_limits(limit_words(*printed, "volts"))
    assert said == pytest.approx(printed, rel=1e-6, abs=1e-6)


@given(OHMS, OHMS)
def test_printing_twice_changes_nothing(a, b):
    once = printed_limits(min(a, b), max(a, b), "ohms")
    assert printed_limits(*once, "ohms") == pytest.approx(once, rel=1e-9)


@pytest.mark.parametrize(
    ("low", "high", "kind", "words"),
    [
        (0.0, 0.2126, "ohms", "at most 0.22 Ω"),
        (0.15, 0.7212, "ohms", "at most 0.73 Ω"),
        (0.3807, 1.0498, "ohms", "0.38 Ω to 1.1 Ω"),
        (2264.9, 101_400.0, "ohms", "2.26 kΩ to 102 kΩ"),
        (99.97, 99.98, "ohms", "99.9 Ω to 100 Ω"),
        (999.6, 999.7, "ohms", "999 Ω to 1.00 kΩ"),
        (12_345.0, math.inf, "ohms", "over 12.3 kΩ"),
        (5e6, math.inf, "ohms", "open (over 5.00 MΩ)"),
        (-0.02, 0.026, "volts", "at most 0.03 V, either sign"),
        (23.57, 24.51, "volts", "23.5 to 24.6 V"),
        (0.512, 2.91, "volts", "0.51 to 3.0 V"),
    ],
)
def test_what_is_printed(low, high, kind, words):
    assert limit_words(*printed_limits(low, high, kind), kind) == words
