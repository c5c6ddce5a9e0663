"""What people say at a step: understood, judged against the printed limits, or asked back."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.records import RunStep, UnclearReadingError, read_reading


def step(low=None, high=None, unit="", expect="as wanted"):
    return RunStep(1, "k", "dead", "ohms", "Do it.", expect, low, high, unit, (), "", ())


CORE = step(0.0, 1.7, "ohm")
OPEN = step(2e6, math.inf, "ohm")
COIL = step(2310.0, 202e3, "ohm")
RAIL = step(23.6, 24.6, "V")
NONE = step(-0.03, 0.03, "V")
LOOK = step()


@pytest.mark.parametrize(
    ("at", "said", "value", "verdict"),
    [
        (CORE, "0.8", 0.8, "right"),
        (CORE, "0,8 Ω", 0.8, "right"),
        (CORE, "1.7", 1.7, "right"),  # the limit itself, as printed, is good
        (CORE, "1.71 ohm", 1.71, "wrong"),
        (CORE, "OL", math.inf, "wrong"),
        (CORE, "over 20 ohm", 20.0, "wrong"),
        (CORE, "0.2 to 0.4", 0.4, "right"),
        (OPEN, "open", math.inf, "right"),
        (OPEN, "o.l", math.inf, "right"),
        (OPEN, "3 MΩ", 3e6, "right"),
        (OPEN, "1.2 k", 1200.0, "wrong"),
        (COIL, "4k7", 4700.0, "right"),
        (COIL, "4.7 kΩ", 4700.0, "right"),
        (COIL, "2.2k", 2200.0, "wrong"),
        (COIL, "open", math.inf, "wrong"),
        (RAIL, "24", 24.0, "right"),
        (RAIL, "23.9 V", 23.9, "right"),
        (RAIL, "-24", -24.0, "wrong"),
        (RAIL, "nothing", 0.0, "wrong"),
        (NONE, "0", 0.0, "right"),
        (NONE, "-20 mV", -0.02, "right"),
        (LOOK, "ok", None, "right"),
        (LOOK, "Yes.", None, "right"),
        (LOOK, "no", None, "wrong"),
        (LOOK, "no: lamp of S1 is lit", None, "wrong"),
        (LOOK, "wrong, stop stays on", None, "wrong"),
    ],
)
def test_what_people_say(at, said, value, verdict):
    read = read_reading(at, said)
    assert read.verdict == verdict
    assert read.value is None if value is None else math.isclose(read.value, value)


def test_what_is_seen_instead_is_kept_in_words():
    assert read_reading(LOOK, "no: lamp of S1 is lit").text == "lamp of S1 is lit"
    assert read_reading(LOOK, "no stop stays on").text == "stop stays on"


@pytest.mark.parametrize(
    ("at", "said"),
    [
        (CORE, ""),
        (CORE, "ok"),
        (CORE, "24 V"),
        (CORE, "beeps"),  # below 30 ohm may be 20: too much for a core
        (CORE, "about 1.7"),
        (CORE, "over 0.5"),
        (CORE, "-1"),
        (RAIL, "5 mA"),
        (RAIL, "230 VAC"),
        (RAIL, "0.8 ohm"),
        (RAIL, "1,234"),
        (LOOK, "24"),
        (LOOK, "maybe"),
    ],
)
def test_what_is_not_clear_is_asked_back(at, said):
    with pytest.raises(UnclearReadingError) as told:
        read_reading(at, said)
    assert told.value.message
    assert told.value.cure


@given(st.sampled_from([CORE, OPEN, COIL, RAIL, NONE, LOOK]), st.text(max_size=40))
def test_any_text_is_judged_or_asked_back(at, said):
    try:
        verdict = read_reading(at, said).verdict
    except UnclearReadingError as told:
        verdict = "unclear" if told.message and told.cure else "untold"
    assert verdict in ("right", "wrong", "unclear")


@given(st.floats(0, 1e4, allow_nan=False).map(lambda v: round(v, 2)))
def test_a_plain_figure_is_right_within_the_limits_and_wrong_outside(value):
    read = read_reading(COIL, f"{value}")
    assert (read.verdict == "right") == (COIL.low <= value <= COIL.high)
