"""What a file may be before it is even text, and what a tree keeps of it."""

from __future__ import annotations

import os

import pytest

from ringout.cellfile import Mapping, Scalar, Sequence, as_list, as_text, parse_tree, read_tree
from ringout.cellfile.build import DEEPEST
from ringout.cellfile.source import LARGEST_BYTES
from ringout.cellfile.tree import as_plain, walk


def only(problems):
    assert len(problems) == 1, problems
    return problems[0]


def parsed(text: str) -> Mapping:
    root, problems = parse_tree(text, "cell.yaml")
    assert root is not None
    assert not problems
    return root


def test_words_stay_words():
    # YAML 1.1 would make truth values, octal numbers, a time and a date of these.
    text = "a: NO\nb: on\nc: off\nd: 0123\ne: 12:30:45\nf: 2024-01-01\ng: 1_000\nh: ~\non: yes\n"
    root = parsed(text)
    texts = ["NO", "on", "off", "0123", "12:30:45", "2024-01-01", "1_000", "~", "yes"]
    assert [as_text(value) for _, value in root.entries] == texts
    assert root.keys()[-1] == "on"


def test_places_count_from_one():
    root = parsed("cell: Tea\nitems:\n  S1: {part: 'button', set: [1 A, 2 A]}\n")
    item = root.get("items").get("S1")
    part = item.get("part")
    assert (part.text, part.quoted) == ("button", True)
    assert (part.span.line, part.span.column, part.span.end_column) == (3, 14, 22)
    assert (part.part(2, 4).column, part.part(2, 4).end_column) == (17, 19)
    second = as_list(item.get("set"))[1]
    assert (second.span.column, second.span.end_column) == (35, 38)
    assert (item.span.column, item.span.end_column) == (7, 40)
    assert root.key("items").span.line == 2


def test_text_over_several_lines_has_one_place():
    root = parsed("note: one\n  two\nother: |\n  three\n  four\n")
    assert as_text(root.get("note")) == "one two"
    assert root.get("note").part(4, 7) == root.get("note").span
    assert as_text(root.get("other")) == "three\nfour\n"


def test_line_ends_and_byte_order_mark(tmp_path):
    path = tmp_path / "cell.yaml"
    path.write_bytes(b"\xef\xbb\xbfcell: Tea\r\nitems:\r\n  S1: button\r\n")
    root, problems = read_tree(path)
    assert not problems
    assert root.key("cell").span.column == 1
    assert root.get("items").get("S1").span.line == 3
    assert as_plain(parsed("a: 1\rb: 2\r")) == {"a": "1", "b": "2"}


def test_helpers():
    root = parsed("a: [x, y]\nb: z\nc:\n")
    assert [as_text(i) for i in as_list(root.get("a"))] == ["x", "y"]
    assert [as_text(i) for i in as_list(root.get("b"))] == ["z"]
    assert as_list(root.get("c")) == as_list(root.get("d")) == ()
    assert as_text(root.get("a")) is None
    assert as_plain(root) == {"a": ["x", "y"], "b": "z", "c": None}
    kinds = [type(node) for node in walk(root)]
    assert kinds == [Mapping, Scalar, Sequence, Scalar, Scalar, Scalar, Scalar, Scalar, Scalar]


@pytest.mark.parametrize("text", ["", "\n\n", "# only a remark\n", "---\n...\n", "  \n"])
def test_empty(text):
    root, problems = parse_tree(text, "cell.yaml")
    assert root is None
    assert only(problems).code == "T009"


@pytest.mark.parametrize("text", ["- a\n- b\n", "just words\n", "[a, b]\n"])
def test_no_names_at_the_top(text):
    root, problems = parse_tree(text, "cell.yaml")
    assert root is None
    assert (only(problems).code, problems[0].span.line) == ("T027", 1)


def test_missing_file(tmp_path):
    root, problems = read_tree(tmp_path / "no.yaml")
    assert root is None
    assert only(problems).code == "T001"


def test_folder(tmp_path):
    assert only(read_tree(tmp_path)[1]).code == "T002"


def test_device():
    if os.name == "posix":
        assert only(read_tree("/dev/null")[1]).code == "T002"


@pytest.mark.parametrize("name", ["a\x00b.yaml", "x" * 5000])
def test_impossible_names(name):
    assert only(read_tree(name)[1]).code in {"T001", "T003"}


def test_unreadable_file(tmp_path, monkeypatch):
    path = tmp_path / "cell.yaml"
    path.write_text("cell: x\n")

    def refuse(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "open", refuse)
    problem = only(read_tree(path)[1])
    assert problem.code == "T003"
    assert "permission denied" in problem.message


def test_fifty_megabytes_are_refused_at_once(tmp_path):
    path = tmp_path / "big.yaml"
    with path.open("wb") as stream:
        stream.truncate(50_000_000)
    assert only(read_tree(path)[1]).code == "T004"
    assert only(parse_tree("a" * (LARGEST_BYTES + 1), "x")[1]).code == "T004"


def test_binary(tmp_path):
    path = tmp_path / "picture.yaml"
    path.write_bytes(b"cell: x\nabc\x00\x01")
    problem = only(read_tree(path)[1])
    assert (problem.code, problem.span.line, problem.span.column) == ("T005", 2, 4)


def test_old_encoding_is_placed(tmp_path):
    path = tmp_path / "latin.yaml"
    # The degree sign of Latin-1; the µ before it is good UTF-8 and counts as one column.
    path.write_bytes("cell: x\nµ: 45 ".encode() + b"\xb0C\n")
    problem = only(read_tree(path)[1])
    assert (problem.code, problem.span.line, problem.span.column) == ("T006", 2, 7)
    assert "UTF-8" in problem.fix


def test_references_cannot_blow_up():
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 12)]
    root, problems = parse_tree("\n".join(lines), "cell.yaml")
    assert {p.code for p in problems} == {"T015"}
    assert sum(1 for _ in walk(root)) < 200


@pytest.mark.parametrize("opener", ["[", "{a: ", "- "])
def test_depth_has_a_limit(opener):
    root, problems = parse_tree(f"b: 1\na: {opener * 5000}", "cell.yaml")
    assert problems
    assert as_plain(root)["b"] == "1"
    deep = "a: " + "[" * (DEEPEST - 1) + "]" * (DEEPEST - 1)
    parsed(deep)


def test_one_bad_line_costs_one_statement():
    text = "items:\n" + "".join(f"  S{i}: button\n" for i in range(30))
    broken = text.replace("S7: button", "S7: {part: button").replace("S9:", "S9")
    root, problems = parse_tree(broken, "cell.yaml")
    assert [(p.code, p.span.line) for p in problems] == [("T012", 9), ("T024", 11)]
    kept = {name.text for name, _ in root.get("items").entries}
    assert kept == {f"S{i}" for i in range(30)} - {"S7", "S9"}


def test_many_bad_lines_are_reported_up_to_a_limit():
    text = "items:\n" + "".join(f"  S{i}: [\n" for i in range(500))
    _, problems = parse_tree(text, "cell.yaml")
    assert 40 <= len(problems) <= 60


def test_list_at_the_indentation_of_its_name():
    root, problems = parse_tree("joins:\n- a b\n- 'c\n- d e\nitems\n  S1: x\n", "cell.yaml")
    assert [p.code for p in problems] == ["T012", "T024"]
    assert as_plain(root) == {"joins": ["a b", "d e"], "items": {"S1": "x"}}


def test_a_long_file_that_is_not_plain_costs_little_and_says_the_same():
    lines = [f"  S{i}: {{part: button, set: [1 A, 2 A]}}" for i in range(4000)]
    for number, line in ((70, "  S70: 'button''s'"), (71, "  S71: [x"), (3000, " S3000: late")):
        lines[number] = line
    long, problems = parse_tree("\n".join(["cell: x", "items:", *lines]), "x")
    # The same lines in a file short enough for the full reader.
    short, fewer = parse_tree("\n".join(["cell: x", "items:", *lines[:80], *lines[2990:]]), "x")
    assert [(p.code, p.message) for p in problems] == [(p.code, p.message) for p in fewer]
    assert [p.span.line for p in problems] == [74, 3003]
    items, some = long.get("items"), short.get("items")
    assert len(items.entries) == 3999
    assert as_text(items.get("S70")) == as_text(some.get("S70")) == "button's"
    assert as_text(items.get("S3000")) == as_text(some.get("S3000")) == "late"
