from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.base import Diagnostic, Span
from ringout.cellfile import And, Is, Not, Or, Scalar, leaves, parse_condition


def scalar(text: str) -> Scalar:
    return Scalar(text, Span("cell.yaml", 7, 11, 11 + len(text)))


def read(text: str):
    found = parse_condition(scalar(text))
    assert not isinstance(found, Diagnostic), found
    return found


@pytest.mark.parametrize(
    ("text", "meaning"),
    [
        ("S1 pressed", "S1 pressed"),
        ("S1 is pressed", "S1 pressed"),
        ("K1.O1 on", "K1.O1 on"),
        ("S2 not pressed", "not S2 pressed"),
        ("S2 is not pressed", "not S2 pressed"),
        ("not S2 pressed", "not S2 pressed"),
        ("not not S2 pressed", "not not S2 pressed"),
        ("S1 a and S2 b and S3 c", "S1 a and S2 b and S3 c"),
        ("S1 a or S2 b and S3 c", "S1 a or (S2 b and S3 c)"),
        ("(S1 a or S2 b) and S3 c", "(S1 a or S2 b) and S3 c"),
        ("not (S1 a or S2 b)", "not (S1 a or S2 b)"),
        ("not S1 a and S2 b", "not S1 a and S2 b"),
        ("S3 0", "S3 0"),
        ("P1.red half-open", "P1.red half-open"),
    ],
)
def test_reads(text, meaning):
    assert str(read(text)) == meaning


def test_shape_and_places():
    found = read("S1 pressed and not K1.O1 on")
    assert isinstance(found, And)
    first, second = found.parts
    assert isinstance(first, Is)
    assert isinstance(second, Not)
    assert (first.span.column, first.span.end_column) == (11, 21)
    assert (first.position.span.column, first.position.span.end_column) == (14, 21)
    assert second.span.column == 26
    assert [str(leaf.actor) for leaf in leaves(found)] == ["S1", "K1.O1"]
    assert isinstance(read("S1 a or S2 b"), Or)


@pytest.mark.parametrize(
    ("text", "column", "understood"),
    [
        ("", 11, ""),
        ("S1", 13, "`S1`"),
        ("S1 pressed and", 25, "`S1 pressed and`"),
        ("S1 pressed S2", 22, "`S1 pressed`"),
        ("and S1 pressed", 11, ""),
        ("(S1 pressed", 22, "`(S1 pressed`"),
        ("S1 pressed)", 21, "`S1 pressed`"),
        ("S1 and", 14, "`S1`"),
        ("S1 & S2", 14, "`S1`"),
        ("1S pressed", 11, ""),
        ("S1 pressed, S2 pressed", 14, "`S1`"),
    ],
)
def test_says_how_far_it_got(text, column, understood):
    found = parse_condition(scalar(text))
    assert isinstance(found, Diagnostic)
    assert (found.code, found.span.line, found.span.column) == ("N031", 7, column)
    if understood:
        assert f"understood so far: {understood}" in found.message
    assert found.fix


def test_starts_where_it_is_told():
    found = parse_condition(scalar("x is 1..2 V while S1 pressed"), start=17)
    assert str(found) == "S1 pressed"
    assert found.span.column == 11 + 18


def test_depth_and_length_have_limits():
    for text in ("(" * 500 + "S1 a" + ")" * 500, "not " * 190 + "S1 a", "S1 a and " * 300 + "S1 a"):
        assert isinstance(parse_condition(scalar(text)), Diagnostic)


NAMES = st.sampled_from(["S1", "B12", "K1.O1", "P1.red"])
POSITIONS = st.sampled_from(["pressed", "on", "off", "0", "half-open"])
LEAVES = st.builds("{} {}".format, NAMES, POSITIONS)
TEXTS = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        st.builds("not ({})".format, inner),
        st.builds("({}) and ({})".format, inner, inner),
        st.builds("({}) or ({})".format, inner, inner),
    ),
    max_leaves=8,
)


@given(TEXTS, st.dictionaries(NAMES, POSITIONS))
def test_means_what_it_says(text, positions):
    # The second reading is Python's own, of the same words.
    def holds(condition) -> bool:
        if isinstance(condition, Is):
            return positions.get(str(condition.actor)) == str(condition.position)
        if isinstance(condition, Not):
            return not holds(condition.inner)
        parts = [holds(part) for part in condition.parts]
        return all(parts) if isinstance(condition, And) else any(parts)

    import re

    python = re.sub(r"([A-Z][\w.]*) ([\w-]+)", lambda m: str(positions.get(m[1]) == m[2]), text)
    assert holds(read(text)) == eval(python)
    assert str(read(str(read(text)))) == str(read(text))


WORDS = st.sampled_from(["S1", "pressed", "and", "or", "not", "is", "(", ")", "K1.O1", "%", "é"])


@given(st.one_of(st.text(max_size=60), st.lists(WORDS, max_size=30).map(" ".join)))
def test_never_raises(text):
    found = parse_condition(scalar(text))
    assert 11 <= found.span.column <= found.span.end_column <= 11 + len(text)
