"""Typed questions: a state in words, core ends taken off, where a probe is held."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout import run
from ringout.cell.ask import (
    lift_names,
    resolve_condition,
    resolve_lifts,
    resolve_probe,
    resolve_state,
)
from ringout.cell.model import Terminal
from tests.contract.house import ROOT

CELL = run.load(str(ROOT / "examples" / "caddy-lidder" / "corrected.yaml")).cell
assert CELL is not None


@pytest.mark.parametrize(
    ("text", "state"),
    [
        ("", {}),
        ("S1 pressed", {"S1": "pressed"}),
        ("S1 pressed and B1 target", {"S1": "pressed", "B1": "target"}),
        ("K1.O1 on", {"K1.O1": "on"}),
        ("not S1 pressed", {"S1": "released"}),
        ("not (S1 pressed or B1 target)", {"S1": "released", "B1": "clear"}),
        ("not not S1 pressed", {"S1": "pressed"}),
        ("K5 energised", {"K5": "energised"}),
        ("T1 off", {"T1": "off"}),
        ("S1 pressed and S1 pressed", {"S1": "pressed"}),
        ("start_lidding on", {"S1": "pressed"}),  # an input: what makes it on
        ("start_lidding off", {"S1": "released"}),
        ("conveyor_run on and finish_cycle off", {"K1.O3": "on", "S2": "pressed"}),
    ],
)
def test_states_in_words(text, state):
    found, problems = resolve_state(CELL, text)
    assert problems == []
    assert found == state


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("S1 pressed or B1 target", "N314", "join the positions with `and`"),
        ("not (S1 pressed and B1 target)", "N314", "join the positions with `and`"),
        ("S1 pressed and S1 released", "N314", "cannot be"),
        ("S9 pressed", "N302", "there is no item S9"),
        ("S1 presed", "N307", "did you mean `pressed`"),
        ("K1 on", "N307", "say which one"),
        ("W1 pressed", "N302", "there is no item W1"),
    ],
)
def test_states_that_are_none(text, code, words):
    found, problems = resolve_state(CELL, text)
    assert found == {}
    assert [p.code for p in problems] == [code]
    assert words in problems[0].message + " " + (problems[0].fix or "")
    assert problems[0].span.column >= 1


def test_a_not_of_three_positions_leaves_it_open(tmp_path):
    path = tmp_path / "cell.yaml"
    path.write_text("cell: Three\nitems:\n  S1: selector-3pos\n", encoding="utf-8")
    cell = run.load(str(path)).cell
    found, problems = resolve_state(cell, "not S1 left")
    assert found == {}
    assert problems[0].code == "N314"
    assert "middle" in problems[0].fix and "right" in problems[0].fix


def test_a_condition_may_hold_or():
    condition, problems = resolve_condition(CELL, "S1 pressed or B1 target")
    assert problems == []
    assert condition.holds({"S1": "pressed", "B1": "clear"})
    assert condition.holds({"S1": "released", "B1": "target"})
    assert not condition.holds({"S1": "released", "B1": "clear"})


@given(st.text(max_size=40))
def test_whatever_is_typed_never_raises(text):
    state, problems = resolve_state(CELL, text)
    assert not (state and problems)
    for problem in problems:
        assert problem.message
    lifted, wrong = resolve_lifts(CELL, [text])
    assert len(lifted) + len(wrong) == 1
    place, wrong = resolve_probe(CELL, text, [])
    assert (place is None) == bool(wrong)


def test_every_core_end_can_be_taken_off():
    names = lift_names(CELL)
    assert "W1:BN@S1" in names and "W1:BN@K1" in names
    # each conductor has two ends, made-up plugs and jumpers included
    assert len(names) == 2 * len(CELL.joins)
    lifted, problems = resolve_lifts(CELL, names)
    assert (lifted, problems) == (names, [])


@pytest.mark.parametrize(
    ("word", "fix"),
    [
        ("W1:BN@S2", "its ends are W1:BN@S1, W1:BN@K1"),
        ("W1:BN", "its ends are W1:BN@S1, W1:BN@K1"),
        ("W1:BN@S11", "W1:BN@S1"),
        ("nothing", "as in W1:BN@S1"),
    ],
)
def test_core_ends_that_are_none(word, fix):
    lifted, problems = resolve_lifts(CELL, [word])
    assert lifted == []
    assert [p.code for p in problems] == ["N315"]
    assert fix in problems[0].fix


def test_probes():
    assert resolve_probe(CELL, "K1-X1:4", []) == (Terminal("K1", "X1", "4"), [])
    assert resolve_probe(CELL, "S1:13", []) == (Terminal("S1", "", "13"), [])
    assert resolve_probe(CELL, "W1:BN@S1", ["W1:BN@S1"]) == ("W1:BN@S1", [])
    place, problems = resolve_probe(CELL, "W1:BN@S1", [])
    assert place is None
    assert "--lift W1:BN@S1" in problems[0].fix
    place, problems = resolve_probe(CELL, "K1-X1:9", [])
    assert place is None
    assert problems[0].code == "N303"


@pytest.mark.parametrize(
    ("word", "place"),
    [
        ("0V", Terminal("T1", "", "-")),
        ("0 V", Terminal("T1", "", "-")),
        ("24V", Terminal("T1", "", "+")),
        ("K1.I1", Terminal("K1", "X1", "4")),  # by the panel's table
        ("start_lidding", Terminal("K1", "X1", "4")),
        ("B6:4", Terminal("B6", "X", "4")),  # its only socket
        ("B6-X:4", Terminal("B6", "X", "4")),
    ],
)
def test_where_a_probe_is_held_in_other_words(word, place):
    assert resolve_probe(CELL, word, ()) == (place, [])


def test_a_pole_that_two_supplies_have_is_asked_back(tmp_path):
    path = tmp_path / "two.yaml"
    path.write_text(
        "cell: Two\nitems:\n  T1: supply-24v-5a\n  T2: supply-24v-5a\n", encoding="utf-8"
    )
    place, (problem,) = resolve_probe(run.load(str(path)).cell, "0V", ())
    assert place is None
    assert problem.code == "N317"
    assert "T1:-" in problem.fix and "T2:-" in problem.fix


def test_of_a_few_terminals_all_are_named():
    place, (problem,) = resolve_probe(CELL, "S2:21", ())
    assert place is None
    assert "S2:11, S2:12" in problem.fix
