"""Part files: patterns, settings, values and conditions turn into SI figures."""

from __future__ import annotations

import textwrap

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.cell.catalogue import as_nodes, find_part, load_part, part_file, part_names
from ringout.cell.part_read import FAMILIES
from ringout.cell.templates import expand_name, fill_slots


@pytest.fixture
def read(tmp_path):
    def reader(text, **settings):
        path = tmp_path / "mine.yaml"
        path.write_text("part: mine\nfamily: switch\n" + textwrap.dedent(text), encoding="utf-8")
        return load_part(path, as_nodes(settings))

    return reader


def element(part, name="body"):
    return part.element_by_name[name]


@pytest.mark.parametrize(
    ("written", "low", "typ", "high"),
    [
        ("4.7 kΩ", 4700, 4700, 4700),
        ("5.6 kΩ ± 10 %", 5040, 5600, 6160),
        ("1..2 kΩ", 1000, 1500, 2000),
        ("{typ: 1 kΩ, high: 2 kΩ}", 1000, 1000, 2000),
        ("{low: 1 kΩ, high: 3 kΩ}", 1000, 2000, 3000),
        ("{high: 2 kΩ}", 0, 1000, 2000),
        ("{low: 1 kΩ, typ: 1.2 kΩ, high: 2 kΩ}", 1000, 1200, 2000),
    ],
)
def test_values(read, written, low, typ, high):
    part, problems = read(
        f"""\
        terminals: [1, 2]
        inside:
          body: {{kind: resistance, from: 1, to: 2, ohm: {written}}}
        """
    )
    assert problems == ()
    ohm = element(part).values["ohm"]
    assert (ohm.low, ohm.typ, ohm.high) == pytest.approx((low, typ, high))


def test_up_to_is_from_nothing(read):
    part, _ = read(
        """\
        terminals: [1, 2]
        inside:
          body: {kind: leak, from: 1, to: 2, current: up to 0.4 mA}
        """
    )
    current = element(part).values["current"]
    assert current.low == 0.0
    assert current.high == pytest.approx(0.4e-3)


def test_settings_have_defaults_and_are_replaced(read):
    text = """\
        terminals: [1, 2]
        inside:
          body: {kind: fuse, from: 1, to: 2, rated: $rated}
        settings:
          rated: 2 A
        """
    assert element(read(text)[0]).values["rated"].typ == 2.0
    assert element(read(text, rated="0.5 A")[0]).values["rated"].typ == 0.5
    part, problems = read(text, rated="2 V")
    assert [p.code for p in problems] == ["N007"] or len(problems) == 1, problems
    assert part is not None


def test_list_settings_count_with_the_pattern(read):
    part, problems = read(
        """\
        terminals: {in: in, out1..out3: "out{n}"}
        inside:
          branch1..branch3: {kind: protection, from: in, to: "out{n}", set: "$set.{n}"}
        settings:
          set: [1 A, 2 A, 3 A]
        """
    )
    assert problems == ()
    assert [element(part, f"branch{n}").values["set"].typ for n in (1, 2, 3)] == [1, 2, 3]


@pytest.mark.parametrize(
    ("when", "positions"),
    [
        ("left", ("left",)),
        ("[left, right]", ("left", "right")),
        ("not middle", ("left", "right")),
    ],
)
def test_when(read, when, positions):
    part, problems = read(
        f"""\
        terminals: [1, 2]
        actors:
          handle: [middle, left, right]
        inside:
          body: {{kind: contact, from: 1, to: 2, when: {when}}}
        """
    )
    assert problems == ()
    assert (element(part).actor, element(part).when) == ("handle", positions)


def test_terminals_may_share_a_net_and_have_a_name_of_their_own(read):
    part, problems = read(
        """\
        terminals: {1+: plus, 2+: plus, "-": minus}
        inside:
          body: {kind: resistance, from: plus, to: minus, ohm: 1 kΩ}
        """
    )
    assert problems == ()
    assert part.terminals == {"1+": "plus", "2+": "plus", "-": "minus"}


def test_a_bad_element_costs_only_itself(read):
    part, problems = read(
        """\
        terminals: [1, 2, 3]
        inside:
          bad: {kind: resistor, from: 1, to: 2, ohm: 1 kΩ}
          body: {kind: resistance, from: 2, to: 3, ohm: 1 kΩ}
        """
    )
    assert [p.code for p in problems] == ["N209"]
    assert [e.name for e in part.elements] == ["body"]


def test_a_user_part_wins_over_a_shipped_one(tmp_path):
    parts = tmp_path / "parts"
    parts.mkdir()
    (parts / "resistor.yaml").write_text(
        "part: resistor\nfamily: component\ntitle: Mine\nterminals: [1, 2]\n", encoding="utf-8"
    )
    (parts / "my-own.yaml").write_text(
        "part: my-own\nfamily: component\nterminals: [1, 2]\n", encoding="utf-8"
    )
    assert find_part("resistor", folder=str(tmp_path)).title == "Mine"
    assert find_part("resistor").title != "Mine"
    assert "my-own" in part_names(str(tmp_path))
    assert "my-own" not in part_names()


@pytest.mark.parametrize("name", ["../secret", "..", "", "a/b", "a\\b", "parts/../../x"])
def test_a_part_name_never_leaves_the_folder(tmp_path, name):
    (tmp_path / "secret.yaml").write_text("part: secret\n", encoding="utf-8")
    inner = tmp_path / "cell"
    (inner / "parts").mkdir(parents=True)
    assert part_file(name, str(inner)) is None


def test_a_changed_user_part_is_read_again(tmp_path):
    import os

    parts = tmp_path / "parts"
    parts.mkdir()
    path = parts / "mine.yaml"
    for number, title in enumerate(("One", "Two")):
        path.write_text(f"part: mine\nfamily: component\ntitle: {title}\n", encoding="utf-8")
        os.utime(path, (1e9 + number, 1e9 + number))
        assert find_part("mine", folder=str(tmp_path)).title == title


@pytest.mark.parametrize(
    ("pattern", "names"),
    [
        ("X1..X3", ["X1", "X2", "X3"]),
        ("1..3", ["1", "2", "3"]),
        ("1..2a", ["1a", "2a"]),
        ("out9..out11", ["out9", "out10", "out11"]),
        ("X3..X1", ["X3..X1"]),
        ("X1..Y3", ["X1..Y3"]),
        ("plain", ["plain"]),
        ("X1..X99999", ["X1..X99999"]),
    ],
)
def test_patterns(pattern, names):
    assert [name for name, _ in expand_name(pattern)] == names


@given(st.integers(0, 999), st.integers(1, 9), st.integers(-20, 20))
def test_slots_calculate(n, factor, offset):
    sign = f"{offset:+d}" if offset else ""
    assert fill_slots(f"I{{{factor}n{sign}}}", n) == f"I{factor * n + offset}"
    assert fill_slots("I{n}", n) == f"I{n}"
    assert fill_slots("plain", n) == "plain"
    assert fill_slots("I{n}", None) == "I{n}"


words = st.sampled_from(
    ["part", "family", "terminals", "inside", "actors", "sockets", "channels", "cores", "ends",
     "alive", "settings", "facts", "marks", "main", "mistakes", "kind", "from", "to", "when", "x"]
)  # fmt: skip
values = st.recursive(
    st.one_of(st.sampled_from(["1", "4 kΩ", "$x", "left", "resistance", "contact", "X1..X9", "~",
                               "{n}", "1..2 V", "", *FAMILIES])),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda v: "[" + ", ".join(v) + "]"),
        st.dictionaries(words, inner, max_size=4).map(
            lambda d: "{" + ", ".join(f"{k}: {v}" for k, v in d.items()) + "}"
        ),
    ),
    max_leaves=10,
)  # fmt: skip


@given(st.dictionaries(words, values, min_size=1, max_size=8))
def test_any_part_file_is_read_without_an_exception(sections):
    import tempfile
    from pathlib import Path

    text = "".join(f"{key}: {value}\n" for key, value in sections.items())
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "any.yaml"
        path.write_text(text, encoding="utf-8")
        part, problems = load_part(path)
    for problem in problems:
        assert problem.message
        assert problem.span is None or problem.span.line >= 1
    assert part is not None or problems
