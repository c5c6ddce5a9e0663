"""What follows from a line that could not be used is told as not run, not as a finding.

By hand: with the core to a sensor's plus not used, the sensor is dead on paper only.
"""

from __future__ import annotations

import pytest

from ringout import run
from ringout.base import Severity
from tests.physics.small_cells import small_cell

ITEMS = "K2: input-card-16\nS1: pushbutton-1no-gold\nB1: inductive-pnp-no\nB2: inductive-pnp-no"
JOINS = (
    "M K2:COM\nP S1:13\nS1:14 K2:1\nP B1-X:1\nM B1-X:3\nB1-X:4 K2:2\n"
    "P B2-X:1\nM B2-X:3\nB2-X:4 K2:3"
)
SIGNALS = (
    "go: {channel: K2.I1, on: S1 pressed}\nhere: {channel: K2.I2, on: B1 target}\n"
    "there: {channel: K2.I3, on: B2 target}"
)
FOLLOWS = {"F101", "F102", "F103", "F104", "F105", "F106", "F107", "F301", "F401"}


@pytest.fixture
def judged(tmp_path):
    def of(*changes):
        text = small_cell(ITEMS, JOINS, SIGNALS)
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        path = tmp_path / "cell.yaml"
        path.write_text(text, encoding="utf-8")
        loaded, judgement = run.prove(str(path), remedies=True)
        assert judgement is not None
        return loaded, judgement

    return of


def follows(judgement):
    return {f.code for f in judgement.findings if f.severity is Severity.ERROR} & FOLLOWS


def verdicts(judgement):
    return {s.name: s.verdict for s in judgement.signals}


@pytest.mark.parametrize(
    ("old", "new", "lost"),
    [
        ("B1-X:3", "B1-X:9", "here"),  # no such pin: B1 has no 0 V
        ("B1-X:1", "B1-Z:1", "here"),  # no such socket: no plus
        ("B1-X:4  K2:2", "B1-X:4  K2:77", "here"),  # the channel's end is wrong
        ("B1-X:4  K2:2", "B9:4  K2:2", "here"),  # the device's end is wrong
        ("S1:14", "S1:99", "go"),
    ],
)
def test_what_a_lost_line_brings_is_not_run(judged, old, new, lost):
    loaded, judgement = judged((old, new))
    assert loaded.broken
    assert follows(judgement) == set(), [f.message for f in judgement.findings]
    assert verdicts(judgement)[lost] == "undecided"
    assert lost in {n.check for n in judgement.not_run}
    assert all("could not be used" in n.why for n in judgement.not_run)
    # the others are judged as ever
    assert {v for name, v in verdicts(judgement).items() if name != lost} == {"works"}


def test_other_mistakes_are_still_told(judged):
    # B1's line is lost; S1 lies on the wrong channel, which no lost line explains
    loaded, judgement = judged(("B1-X:3", "B1-X:9"), ("S1:14  K2:1", "S1:14  K2:5"))
    assert loaded.broken
    assert follows(judgement) == {"F107"}
    assert verdicts(judgement)["go"] == "fails"


def test_a_controllers_own_feed_is_still_told(judged):
    # a lost line at input 2 says nothing of the forgotten common
    _, judgement = judged(("B1-X:4  K2:2", "B9:4  K2:2"), ("  - X92:2  K2:COM\n", ""))
    assert "F401" in {f.code for f in judgement.findings}


@pytest.mark.parametrize(
    "line", ["signal here is on while B1 target", "K2:2 to K2:COM is 20..25 V while B1 target"]
)
def test_an_expectation_of_a_lost_line_is_not_run(judged, line):
    more = f"expect:\n  - {line}\nsignals:"
    _, judgement = judged(("B1-X:4  K2:2", "B9:4  K2:2"), ("signals:", more))
    assert "F901" not in {f.code for f in judgement.findings}
    assert line in {n.check for n in judgement.not_run}


def test_a_file_used_whole_holds_nothing_back(judged):
    loaded, judgement = judged(("B1-X:4  K2:2", "B1-X:4  K2:5"))
    assert not loaded.broken
    assert judgement.not_run == ()
    assert verdicts(judgement)["here"] == "fails"
    assert follows(judgement)


def test_a_lost_line_takes_no_cure_from_what_stands_without_it(judged):
    """B2 of the wrong kind has nothing to do with the line of S1: its cure is solved and holds."""
    _, judgement = judged(("S1:14", "S1:99"), ("B2: inductive-pnp-no", "B2: inductive-npn-no"))
    [found] = [f for f in judgement.findings if f.get("signal") == "there"]
    assert found.severity is Severity.ERROR
    assert any(r.proven and "inductive-pnp-no" in r.text for r in found.remedies), found.remedies


def test_a_lost_line_takes_no_cure_from_a_bare_coil(tmp_path):
    """A suppressor betters no level; the coil's wires are all there."""
    text = small_cell(
        f"{ITEMS}\nK3: output-card-8-0a5\nQ1: valve-2w3-bare",
        f"{JOINS}\nP K3:L+\nM K3:M\nK3:1 Q1:1\nM Q1:2",
        f"{SIGNALS}\nram: {{channel: K3.O1, drives: Q1}}",
    ).replace("S1:14", "S1:99")
    path = tmp_path / "cell.yaml"
    path.write_text(text, encoding="utf-8")
    _, judgement = run.prove(str(path), remedies=True)
    [found] = [f for f in judgement.findings if f.code == "F304"]
    assert any(r.proven for r in found.remedies), found.remedies
