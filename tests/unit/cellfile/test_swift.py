"""The quick reader of plain files gives what the full reader gives, or leaves it to that one."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.cellfile.build import Builder
from ringout.cellfile.source import clean_text
from ringout.cellfile.swift import build_swiftly
from tests.contract.house import PACKAGE, ROOT
from tests.unit.cellfile.test_statements import GOOD

PARTS = sorted((PACKAGE / "cell" / "library").glob("*/*.yaml"))
FILES = [*sorted(ROOT.glob("examples/**/*.yaml")), *PARTS]
PLAIN = """\
a: one two   # remark
b:
  - x y
  - {c: 1 A, d: [2, 'z: z', "w"], e: {}}
  - f: g
    h:
i: text
  goes on
j: {k: l,
    m: [n,
        o]}
p:
- q
r: 5.6 kΩ ± 10 %
"""


def full(lines):
    builder = Builder("cell.yaml")
    return builder.build(lines), builder.problems


def compare(text: str) -> bool:
    clean, problems = clean_text(text, "cell.yaml")
    found = None if problems else build_swiftly(clean.lines, "cell.yaml")
    if found is None:
        return False
    # The full reader raises where the text has an error, and so would this test.
    assert (found, []) == full(clean.lines)
    return True


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_files_of_the_house(path):
    compare(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("text", ["  a: b\n  c: {d: e}\n", "- a: b\n- c\n", "   - S1:13  S1:X1\n"])
def test_pieces_of_a_file(text):
    assert compare(text)
    lines = text.split("\n")
    assert build_swiftly(lines, "x", 7) == Builder("x").build(lines, 7)


def test_most_files_are_plain():
    plain = [compare(path.read_text(encoding="utf-8")) for path in FILES]
    assert sum(plain) > 0.9 * len(FILES)
    assert compare(PLAIN)
    assert compare(GOOD)


@pytest.mark.parametrize(
    "text",
    [
        "a: &x b\n",
        "a: *x\n",
        "a: !t b\n",
        "a: |\n  b\n",
        "a: >\n  b\n",
        "? a\n",
        "a: b: c\n",
        "a: b\na: c\n",
        "a: {b: c, b: d}\n",
        "a: [b\n",
        "a: {b}\n",
        "a: [b,]\n",
        "a: 'b' c\n",
        "a: 'b''c'\n",
        'a: "\\n"\n',
        "a: 'b\n  c'\n",
        "a: b # c\n  d\n",
        "a: b\n  # c\n  d\n",
        "a: [b] c\n",
        "a:b\n",
        "a\n",
        "a:\n  b: c\n d: e\n",
        "a:\n - b\n- c\n",
        "a: [\nb]\n",
        "a: @b\n",
        "a: " + "[" * 12 + "]" * 12 + "\n",
    ],
)
def test_leaves_what_is_not_plain_to_the_full_reader(text):
    assert not compare(text)


ODD = st.sampled_from([*"{}[]:-,'\"#&*!|>%@`?~() \n\\éS1", ": ", " #", "- ", "\n  "])
NEW = st.lists(ODD, max_size=3).map("".join)
CUTS = st.lists(st.tuples(st.integers(0, 400), st.integers(0, 6), NEW), max_size=3)


@given(st.sampled_from([PLAIN, GOOD[:400], GOOD[400:]]), CUTS)
def test_damaged_text(text, cuts):
    for start, length, new in cuts:
        text = text[:start] + new + text[start + length :]
    compare(text)
