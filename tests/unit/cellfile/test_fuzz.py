"""Any text whatsoever: never an exception, always diagnostics whose places exist."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from ringout.base.codes import CODES
from ringout.base.show import render_diagnostic
from ringout.cellfile import parse_cell_text, parse_tree
from ringout.cellfile.source import split_lines
from ringout.cellfile.tree import walk
from tests.unit.cellfile.test_statements import GOOD

ODD = st.sampled_from(list("{}[]:-,'\"#&*!|>%@`?~()\t\n\r \\\x00\x07\x85\u2028\ufeff\ud800éS1"))
CUT = st.tuples(st.integers(0, len(GOOD)), st.integers(0, 40), st.text(ODD, max_size=6))


def damaged(cuts: list[tuple[int, int, str]]) -> str:
    text = GOOD
    for start, length, new in cuts:
        text = text[:start] + new + text[start + length :]
    return text


SCALARS = st.one_of(st.text(ODD, max_size=8), st.text(max_size=8), st.sampled_from(GOOD.split()))
KEYS = st.sampled_from(
    [
        "cell",
        "ambient",
        "items",
        "cables",
        "joins",
        "signals",
        "expect",
        "accept",
        "house",
        "include",
        "part",
        "on",
        "channel",
        "from",
    ]
)
YAML = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.dictionaries(KEYS, inner, max_size=4).map(
            lambda d: "{" + ", ".join(f"{k}: {v}" for k, v in d.items()) + "}"
        ),
        st.lists(inner, max_size=4).map(lambda items: "[" + ", ".join(items) + "]"),
    ),
    max_leaves=12,
)
FILES = st.dictionaries(KEYS, YAML, max_size=6).map(
    lambda d: "".join(f"{k}: {v}\n" for k, v in d.items())
)


def check(text: str) -> None:
    cell, problems = parse_cell_text(text, "no folder/cell.yaml")
    assert cell is not None or problems
    lines = split_lines(text)
    for problem in problems:
        span = problem.span
        assert problem.code in CODES
        assert problem.fix
        assert 1 <= span.line <= len(lines)
        assert 1 <= span.column <= span.end_column <= len(lines[span.line - 1]) + 2
        assert "^" in render_diagnostic(problem, lines) or not lines[span.line - 1]


@given(st.text(max_size=200))
def test_random_text(text):
    check(text)


@given(st.lists(CUT, min_size=1, max_size=6))
def test_damaged_file(cuts):
    check(damaged(cuts))


@given(FILES)
def test_random_structure(text):
    check(text)


@given(st.integers(0, len(GOOD) - 1))
def test_half_a_file(length):
    check(GOOD[:length])


@given(st.lists(CUT, max_size=2))
def test_places_in_the_tree_exist(cuts):
    text = damaged(cuts)
    root, _ = parse_tree(text, "cell.yaml")
    lines = split_lines(text)
    for node in walk(root) if root is not None else ():
        span = node.span
        assert 1 <= span.line <= len(lines)
        assert 1 <= span.column <= span.end_column <= len(lines[span.line - 1]) + 2


@given(st.integers(0, GOOD.count("\n") - 1), st.sampled_from(["{", '"', "@", "[", "'"]))
def test_a_broken_line_costs_one_statement(number, opener):
    lines = GOOD.split("\n")
    before, _ = parse_cell_text(GOOD, "cell.yaml")
    head, colon, _ = lines[number].partition(": ")
    if not colon or not lines[number].startswith(" "):
        return
    lines[number] = f"{head}: {opener}"
    after, problems = parse_cell_text("\n".join(lines), "cell.yaml")
    assert {p.span.line for p in problems} == {number + 1}
    for section in ("items", "cables", "joins", "signals", "expects", "accepts"):
        was, now = getattr(before, section), getattr(after, section)
        broken = any(line.span.line == number + 1 for line in was)
        assert len(now) == len(was) - broken
