from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from ringout.base import Diagnostic, Related, Severity, Span
from ringout.base.show import render_diagnostic
from ringout.base.span import ASKED

JOIN = "  - S1:14  W22:WH  K1-X1:4"


def test_form():
    # The form is the one the design gives; column 20 is where K1-X1:4 stands in the line.
    diagnostic = Diagnostic(
        "W107",
        Severity.ERROR,
        "terminal K1-X1:4 already holds core W19:BK",
        Span("caddy.yaml", 41, 20, 27),
        (Related("first", "core W19:BK", Span("caddy.yaml", 38, 5)),),
        "land W22:WH on K1-X1:2 (free, channel K1.I9)",
    )
    assert render_diagnostic(diagnostic, [""] * 40 + [JOIN]).split("\n") == [
        "caddy.yaml:41:20: error[W107]: terminal K1-X1:4 already holds core W19:BK",
        " 41 |   - S1:14  W22:WH  K1-X1:4",
        "    |                    ^^^^^^^",
        "  first: caddy.yaml:38:5, core W19:BK",
        "  fix:   land W22:WH on K1-X1:2 (free, channel K1.I9)",
    ]


def test_without_place_or_lines():
    bare = Diagnostic("F001", Severity.WARNING, "nothing is joined")
    assert render_diagnostic(bare) == "warning[F001]: nothing is joined"
    placed = Diagnostic("F001", Severity.NOTE, "here", Span("a.yaml", 9, 2, 4))
    assert render_diagnostic(placed, ["one line"]) == "a.yaml:9:2: note[F001]: here"


def test_unknown_end_gives_one_caret():
    shown = render_diagnostic(Diagnostic("T011", Severity.ERROR, "x", Span("a", 1, 3)), ["abcd"])
    assert shown.split("\n")[2] == "   |   ^"


def test_a_long_line_is_cut_around_its_place():
    line = "a" * 1000 + "HERE" + "b" * 1000
    shown = render_diagnostic(
        Diagnostic("T011", Severity.ERROR, "x", Span("a", 1, 1001, 1005)), [line]
    ).split("\n")
    assert len(shown[1]) < 200
    start = shown[2].index("^")
    assert shown[1][start : start + 4] == "HERE"
    assert shown[2].count("^") == 4


@given(st.text(max_size=300), st.integers(0, 400), st.integers(0, 400))
def test_carets_stay_under_the_line(line, column, width):
    span = Span("a", 1, column + 1, column + 1 + width)
    shown = render_diagnostic(Diagnostic("T011", Severity.ERROR, "x", span), [line])
    lines = shown.split("\n")
    assert len(lines) == 3
    assert "^" in lines[2]
    assert len(lines[2]) <= 6 + 161


def test_typed_words_have_no_line_number():
    span = Span(ASKED, 1, 4, 10)
    problem = Diagnostic("N307", Severity.ERROR, "S1 is never `presed`", span, fix="say pressed")
    assert render_diagnostic(problem, ["S1 presed"]) == (
        "error[N307]: S1 is never `presed`\n  S1 presed\n     ^^^^^^\n  fix: say pressed"
    )
