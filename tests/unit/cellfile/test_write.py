"""Edits change what they are about and nothing else."""

from __future__ import annotations

import difflib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.cellfile import parse_tree
from ringout.cellfile.tree import as_plain
from ringout.cellfile.write import AddEntry, AddLine, EditError, Remove, SetValue, rewrite

TEXT = """\
# the head
cell: Tea   # its name
revision: 'A'

items:
  # buttons
  S1:   {part: button,  note: "start"}   # green
  S2: button-nc
  F1: {part: breaker, set: [2 A, 1 A]}

  # sensors
  B1:
    part: sensor
    note: at the stop

joins:
  - S1:13  W1:BN  K1-X1:1      # first
  - S1:14  W1:BK  K1-X1:4

# the end
"""


def changes(edits, text=TEXT):
    old, new = text.splitlines(), rewrite(text, edits).splitlines()
    return [d for d in difflib.ndiff(old, new) if d[:1] in "+-"]


@pytest.mark.parametrize(
    ("edit", "wanted"),
    [
        (
            SetValue(("cell",), "Coffee"),
            ["- cell: Tea   # its name", "+ cell: Coffee   # its name"],
        ),
        (SetValue(("revision",), "B"), ["- revision: 'A'", "+ revision: 'B'"]),
        (
            SetValue(("items", "S1", "note"), "stop"),
            [
                '-   S1:   {part: button,  note: "start"}   # green',
                '+   S1:   {part: button,  note: "stop"}   # green',
            ],
        ),
        (
            SetValue(("items", "S2", "note"), "a: b, c"),
            ["-   S2: button-nc", "+   S2: {part: button-nc, note: 'a: b, c'}"],
        ),
        (
            SetValue(("items", "F1", "set", 1), "3 A"),
            [
                "-   F1: {part: breaker, set: [2 A, 1 A]}",
                "+   F1: {part: breaker, set: [2 A, 3 A]}",
            ],
        ),
        (
            SetValue(("items", "F1", "note"), "two"),
            [
                "-   F1: {part: breaker, set: [2 A, 1 A]}",
                "+   F1: {part: breaker, set: [2 A, 1 A], note: two}",
            ],
        ),
        (SetValue(("items", "B1", "range"), "1 m"), ["+     range: 1 m"]),
        (SetValue(("ambient",), "5..40 °C"), ["+ ambient: 5..40 °C"]),
        (
            AddEntry("items", "R1", {"part": "resistor", "ohm": "2.7 kΩ"}),
            ["+   R1: {part: resistor, ohm: 2.7 kΩ}"],
        ),
        (AddEntry("cables", "W9", "wire"), ["+ cables:", "+   W9: wire"]),
        (AddLine("joins", "R1:1  K1-X1:4"), ["+   - R1:1  K1-X1:4"]),
        (AddLine("expect", "signal a is on"), ["+ expect:", "+   - signal a is on"]),
        (Remove(("items", "S2")), ["-   S2: button-nc"]),
        (Remove(("items", "B1")), ["-   B1:", "-     part: sensor", "-     note: at the stop"]),
        (Remove(("joins", 0)), ["-   - S1:13  W1:BN  K1-X1:1      # first"]),
        (
            Remove(("items", "S1", "note")),
            [
                '-   S1:   {part: button,  note: "start"}   # green',
                "+   S1:   {part: button}   # green",
            ],
        ),
        (
            Remove(("items", "F1", "set", 0)),
            [
                "-   F1: {part: breaker, set: [2 A, 1 A]}",
                "+   F1: {part: breaker, set: [1 A]}",
            ],
        ),
    ],
)
def test_only_its_own_line_changes(edit, wanted):
    found = [d.rstrip() for d in changes([edit])]
    assert sorted(found) == sorted(wanted)


def test_where_lines_are_added():
    lines = rewrite(TEXT, [AddEntry("items", "R1", "resistor"), AddLine("joins", "a b")]).split(
        "\n"
    )
    assert lines[lines.index("    note: at the stop") + 1] == "  R1: resistor"
    assert lines[lines.index("  - S1:14  W1:BK  K1-X1:4") + 1] == "  - a b"


def test_edits_follow_each_other():
    edits = [Remove(("joins", 0)), Remove(("joins", 0)), AddLine("joins", "a b")]
    root, _ = parse_tree(rewrite(TEXT, edits), "")
    assert as_plain(root)["joins"] == ["a b"]


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_line_ends_stay(end):
    text = TEXT.replace("\n", end)
    new = rewrite(text, [AddLine("joins", "a b"), Remove(("items", "S2"))])
    assert new.count(end) == text.count(end)
    assert new.replace(end, "").count("\n") == 0


def test_a_last_line_without_end():
    assert rewrite("cell: x", [AddEntry("items", "S1", "p")]) == "cell: x\nitems:\n  S1: p\n"
    assert rewrite("cell: x\njoins:\n- a b", [AddLine("joins", "c d")]).endswith("- a b\n- c d\n")


def test_braces_and_blanks():
    text = "cell: x\nitems: {}\njoins: []\nnote:\n"
    edits = [AddEntry("items", "S1", "p"), SetValue(("note",), "y")]
    assert rewrite(text, edits) == "cell: x\nitems: {S1: p}\njoins: []\nnote: y\n"


@pytest.mark.parametrize(
    "edit",
    [
        SetValue(("items", "S9", "note"), "x"),
        SetValue((), "x"),
        Remove(("items", "S9")),
        Remove(("joins", 7)),
        Remove(()),
        AddEntry("items", "S1", "p"),
        AddEntry("joins", "S1", "p"),
        AddLine("items", "x y"),
        SetValue(("cell",), "two\nlines"),
    ],
)
def test_refuses(edit):
    with pytest.raises(EditError):
        rewrite(TEXT, [edit])


def test_refuses_a_file_with_errors():
    with pytest.raises(EditError, match="error"):
        rewrite(TEXT + "items: {}\n", [Remove(("items", "S1"))])


def test_refuses_text_over_several_lines():
    with pytest.raises(EditError):
        rewrite("cell: x\nnote: |\n  a\n  b\n", [SetValue(("note",), "y")])


VALUES = st.text(
    st.characters(
        codec="utf-8",
        exclude_categories=["Cc", "Cs", "Zl", "Zp"],
        exclude_characters="\ufeff\ufffe\uffff",
    ),
    max_size=30,
)
PLACES = st.sampled_from(
    [("cell",), ("revision",), ("items", "S1", "note"), ("items", "S2"), ("items", "F1", "set", 0)]
)


@given(PLACES, VALUES)
def test_any_text_comes_back_as_it_was(path, value):
    new = rewrite(TEXT, [SetValue(path, value)])
    root, problems = parse_tree(new, "")
    assert not problems
    found = as_plain(root)
    for step in path:
        found = found[step]
    assert found == value
    assert new.count("#") >= TEXT.count("#")


@given(st.lists(st.sampled_from(["items", "cables", "signals"]), max_size=5), st.integers(0, 3))
def test_adding_and_removing_again_gives_the_old_text(sections, last):
    text = TEXT + "cables:\n  W0: wire\nsignals:\n  a: {channel: K1.I1}\n"
    new = text
    for number, section in enumerate(sections):
        new = rewrite(new, [AddEntry(section, f"N{number}", "part")])
    for number, section in reversed(list(enumerate(sections))):
        new = rewrite(new, [Remove((section, f"N{number}"))])
    assert new == text
