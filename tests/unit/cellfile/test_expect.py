from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.base import Diagnostic, Span
from ringout.cellfile import ExpectLine, Scalar, parse_expect


def scalar(text: str) -> Scalar:
    return Scalar(text, Span("cell.yaml", 9, 5, 5 + len(text)))


def read(text: str) -> ExpectLine:
    found = parse_expect(scalar(text))
    assert isinstance(found, ExpectLine), found
    return found


@pytest.mark.parametrize(
    ("words", "low", "high"),
    [
        ("23..24.5 V", 23, 24.5),
        ("24 V ± 5 %", 22.8, 25.2),
        ("under 5 V", -math.inf, 5),
        ("over 15 V", 15, math.inf),
        ("-0.5..0.5 V", -0.5, 0.5),
    ],
)
def test_voltage(words, low, high):
    found = read(f"K1-X1:4 to T1:- is {words} while S1 pressed and B1 target")
    assert (found.kind, str(found.a), str(found.b)) == ("voltage", "K1-X1:4", "T1:-")
    assert (found.low, found.high) == pytest.approx((low, high))
    assert str(found.while_) == "S1 pressed and B1 target"
    assert found.a.pin.span.column == 11


def test_current():
    found = read("current through W1:BN is 2..4 mA")
    assert (found.kind, str(found.conductor)) == ("current", "W1:BN")
    assert (found.low, found.high) == (0.002, 0.004)
    assert found.while_ is None


@pytest.mark.parametrize("state", ["on", "off"])
def test_signal(state):
    found = read(f"signal start is {state} while not S1 pressed")
    assert (found.kind, str(found.signal), found.wanted_on) == ("signal", "start", state == "on")
    assert str(found.while_) == "not S1 pressed"


@pytest.mark.parametrize(
    ("text", "code", "column"),
    [
        ("", "N032", 5),
        ("K1-X1:4", "N032", 12),
        ("K1-X1:4 is 5..6 V", "N032", 13),
        ("K1-X1:4 to is 5..6 V", "N032", 16),
        ("K1-X1 to K1-X1:3 is 5..6 V", "N032", 5),
        ("K1-X1:4 to K1-X1:3 and K1-X1:5 is 5..6 V", "N032", 24),
        ("K1-X1:4 to K1-X1:3 is", "N032", 26),
        ("K1-X1:4 to K1-X1:3 is under", "N032", 32),
        ("K1-X1:4 to K1-X1:3 is 24 V", "N033", 27),
        ("K1-X1:4 to K1-X1:3 is 5..6", "N001", 27),
        ("K1-X1:4 to K1-X1:3 is 5..6 V while", "N031", 39),
        ("signal is on", "N032", 12),
        ("signal a is maybe", "N032", 17),
        ("current W1:BN is 2..4 mA", "N032", 13),
        ("current through W1 is 2..4 mA", "N032", 21),
    ],
)
def test_says_where_it_stops(text, code, column):
    found = parse_expect(scalar(text))
    assert isinstance(found, Diagnostic)
    assert (found.code, found.span.column) == (code, column), found.message
    assert found.fix


WORDS = st.sampled_from(
    [
        "signal",
        "current",
        "through",
        "to",
        "is",
        "under",
        "over",
        "while",
        "on",
        "off",
        "a",
        "K1-X1:4",
        "W1:BN",
        "2..4",
        "mA",
        "V",
        "S1",
        "pressed",
    ]
)


@given(st.one_of(st.text(max_size=60), st.lists(WORDS, max_size=14).map(" ".join)))
def test_never_raises(text):
    found = parse_expect(scalar(text))
    assert 5 <= found.span.column <= found.span.end_column <= 5 + len(text)
