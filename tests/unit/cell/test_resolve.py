"""Statements to cell: every name resolved, every value in SI units, one bad line costs itself."""

from __future__ import annotations

import textwrap

import pytest

from ringout import run
from ringout.base import Severity
from tests.contract.house import ROOT

DEMO = ROOT / "examples" / "caddy-lidder" / "corrected.yaml"


@pytest.fixture
def load(tmp_path):
    def loader(text):
        path = tmp_path / "cell.yaml"
        path.write_text(textwrap.dedent(text), encoding="utf-8")
        return run.load(str(path))

    return loader


def test_the_demo_cell_is_resolved_as_it_is_written():
    cell = run.load(str(DEMO)).cell
    assert (cell.name, cell.revision) == ("Caddy lidder", "B")
    assert (cell.ambient_c.low, cell.ambient_c.high) == (10.0, 45.0)
    assert len(cell.items) == 22
    assert cell.cables["W33"].length_m.typ == 9.0
    assert cell.items["F1"].part.element_by_name["branch3"].values["set"].typ == 1.0
    assert cell.items["R1"].settings["ohm"] == "4.7 kΩ"
    assert cell.signals["magazine_low"].channel_name == "K2.I3"
    assert str(cell.signals["magazine_low"].on) == "B6 target"
    assert [a.name for a in cell.actors.values() if a.item == "B4"] == ["B4"]
    assert cell.actors["K1.O3"].moved_by == "command"
    assert cell.actors["K5"].moved_by == "coil"
    assert cell.actors["T1"].moved_by == "supply"
    assert cell.actors["S1"].moved_by == "person"
    # every join is found from both of its ends
    for join in cell.joins:
        assert join in cell.join_at[join.a] and join in cell.join_at[join.b]


def test_every_place_in_the_file_is_where_it_says():
    lines = DEMO.read_text(encoding="utf-8").split("\n")
    cell = run.load(str(DEMO)).cell

    def stands(span, word):
        assert lines[span.line - 1][span.column - 1 :].startswith(word), (span, word)
        assert span.end_column is None or span.end_column >= span.column

    for item in cell.items.values():
        stands(item.span, item.name)
        stands(item.part_span, item.part.name)
    for cable in cell.cables.values():
        stands(cable.span, cable.name)
        stands(cable.part_span, cable.part.name)
    for signal in cell.signals.values():
        stands(signal.span, signal.name)
        stands(signal.channel_span, signal.channel_name)
    for join in cell.joins:
        stands(join.a_span, join.a.item)
        stands(join.b_span, join.b.item)
        if join.cable:
            stands(join.core_span, join.cable)


def test_a_bad_line_costs_only_itself(load):
    loaded = load(
        """\
        cell: Half
        items:
          T1: supply-24v-5a
          K1: io-block-8-inputs
          S1: pushbutton-1no
          S2: pushbuton-1no
        cables:
          W1: {part: cable-4x0.34, length: 5 m}
          W2: {part: cable-4x0.34, length: 5 V}
        joins:
          - S1:13  W1:BN  K1-X1:1
          - S1:14  W1:XX  K1-X1:4
          - S1:14  W1:BK  K1-X1:4
        signals:
          good: {channel: K1.I1, on: S1 pressed}
          bad: {channel: K1.I99, on: S1 pressed}
        """
    )
    assert [(p.span.line) for p in loaded.problems if p.severity is Severity.ERROR] == [
        6,
        9,
        12,
        16,
    ]
    cell = loaded.cell
    assert set(cell.items) == {"T1", "K1", "S1"}
    assert set(cell.cables) == {"W1"}
    assert [j.conductor for j in cell.joins] == ["W1:BN", "W1:BK"]
    assert set(cell.signals) == {"good"}


def test_things_that_follow_from_an_unknown_part_are_not_told_again(load):
    # S2's part is unknown; that S2 then "does not exist" would send the person to the wrong line
    loaded = load(
        """\
        cell: Once
        items:
          S2: pushbuton-1no
          K1: io-block-8-inputs
        joins:
          - S2:13  K1-X1:1
        signals:
          bad: {channel: K1.I2, on: S2 pressed}
        """
    )
    assert [p.code for p in loaded.problems] == ["N301"], [p.message for p in loaded.problems]


@pytest.mark.parametrize(
    ("condition", "true", "false"),
    [
        ("S1 pressed", {"S1": "pressed"}, {"S1": "released"}),
        ("not S1 pressed", {"S1": "released"}, {"S1": "pressed"}),
        ("S1 pressed and not S2 pressed", {"S1": "pressed", "S2": "released"},
         {"S1": "pressed", "S2": "pressed"}),
        ("S1 pressed or S2 pressed", {"S1": "released", "S2": "pressed"},
         {"S1": "released", "S2": "released"}),
        ("S1 pressed and (S2 pressed or S3 left)",
         {"S1": "pressed", "S2": "released", "S3": "left"},
         {"S1": "pressed", "S2": "released", "S3": "right"}),
    ],
)  # fmt: skip
def test_conditions(load, condition, true, false):
    loaded = load(
        f"""\
        cell: Conditions
        items:
          K1: io-block-8-inputs
          S1: pushbutton-1no
          S2: pushbutton-1no
          S3: selector-3pos
        signals:
          told: {{channel: K1.I1, on: {condition}}}
        """
    )
    assert loaded.problems == ()
    on = loaded.cell.signals["told"].on
    assert on.holds(true)
    assert not on.holds(false)


def test_links_have_length_and_cross_section(load):
    loaded = load(
        """\
        cell: Links
        items:
          T1: supply-24v-5a
          K1: io-block-8-inputs
        joins:
          - T1:+  K1-XS:1
        """
    )
    assert loaded.problems == ()
    assert loaded.cell.joins[0].length_m == 0.0


def test_without_ambient_a_workshop_is_taken(load):
    cell = load("cell: Plain\n").cell
    assert (cell.ambient_c.low, cell.ambient_c.typ, cell.ambient_c.high) == (5.0, 20.0, 40.0)


def test_settings_filter_and_shortest_are_seconds(load):
    loaded = load(
        """\
        cell: Times
        items:
          K1: io-block-8-inputs
          S1: pushbutton-1no
        signals:
          told: {channel: K1.I1, on: S1 pressed, filter: 0.1 ms, shortest: 12 ms}
        """
    )
    signal = loaded.cell.signals["told"]
    assert signal.filter_s.typ == pytest.approx(1e-4)
    assert signal.shortest_s.typ == pytest.approx(12e-3)
    assert signal.filter_span is not None
