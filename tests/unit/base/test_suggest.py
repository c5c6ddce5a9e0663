from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from ringout.base.suggest import did_you_mean

SECTIONS = ("items", "cables", "joins", "signals")


def test_near_words():
    assert did_you_mean("cabels", SECTIONS) == "cables"
    assert did_you_mean("Items", SECTIONS) == "items"
    assert did_you_mean("singals", iter(SECTIONS)) == "signals"


def test_nothing_near():
    assert did_you_mean("zzz", SECTIONS) is None
    assert did_you_mean("", SECTIONS) is None
    assert did_you_mean("items", ()) is None


@given(st.text(max_size=80), st.lists(st.text(max_size=10), max_size=10))
def test_gives_a_choice_or_nothing(word, choices):
    assert did_you_mean(word, choices) in {None, *choices}
