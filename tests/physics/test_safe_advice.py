"""Advice that could hurt is not given: no short by a cure, nothing bridged that must open.

By hand: two supplies whose poles meet minus on plus stand in series, so a conductor between
their two 0 V shorts the lower one. A conductor beside a contact makes the contact useless.
"""

from __future__ import annotations

import pytest

from ringout import run
from ringout.base import Severity
from ringout.circuit.compile import compile_circuit
from ringout.findings.remedies.prove import bridged_contacts
from tests.physics.small_cells import small_cell

READ = "K2: input-card-16\nS1: pushbutton-1no-gold\nT2: supply-24v-5a-floating"
PRESSED = "P S1:13\nS1:14 K2:1\n"
GO = "go: {channel: K2.I1, on: S1 pressed}"


def advice(verdict):
    """Return every remedy, proven or only tried."""
    return [r.text for f in verdict.judgement.findings for r in f.remedies]


# -- two supplies --------------------------------------------------------------------------------


def test_two_supplies_in_series_are_not_to_be_joined(bench):
    # T2 stands on the + of T1: its 0 V is 24 V up, its + 48 V (FC-O-13)
    verdict = bench.cell(READ, PRESSED + "T2:+ K2:COM\nP T2:-", GO, remedies=True)
    finding = verdict.finding("F402")
    assert "in series" in finding.message
    assert "0 V of T2 is 24 V above 0 V of T1, and its +24 V 48 V" in finding.message
    assert "Do not join the two 0 V as it stands, that shorts T1" in finding.message
    assert not [text for text in advice(verdict) if "join the two 0 V" in text]


def test_three_supplies_in_series_are_not_to_be_joined_either(bench):
    verdict = bench.cell(
        f"{READ}\nT3: supply-24v-5a-floating\nX5: terminal-block-4",
        PRESSED + "T3:- K2:COM\nP T2:-\nT2:+ X5:1\nT3:- X5:2",
        GO,
        remedies=True,
    )
    told = [f.message for f in verdict.judgement.findings if f.code == "F402"]
    assert any("0 V of T3 is 48 V above 0 V of T1" in t and "T1 and T2;" in t for t in told)
    assert not any("Join the two 0 V" in t for t in told)
    assert not [text for text in advice(verdict) if "join the two 0 V" in text]


def test_supplies_in_series_only_while_a_contact_is_closed(bench):
    verdict = bench.cell(
        f"{READ}\nS2: key-switch-2pos",
        PRESSED + "T2:+ K2:COM\nP S2:13\nS2:14 T2:-",
        GO,
        remedies=True,
    )
    assert "in series" in verdict.finding("F402").message
    assert not [text for text in advice(verdict) if "join the two 0 V" in text]


def test_two_supplies_that_meet_nowhere_are_to_be_joined_at_0_v(bench):
    verdict = bench.cell(READ, PRESSED + "T2:- K2:COM", GO, remedies=True)
    finding = verdict.finding("F402")
    assert "Join the two 0 V with one conductor; never the +24 V" in finding.message
    assert [r.proven for r in finding.remedies] == [True]
    # with that done nothing is left to be told, and the contact reads: 24 V less 15 V
    joined = bench.cell(READ, PRESSED + "T2:- K2:COM\nM T2:-", GO)
    joined.works("go")


def test_a_load_across_two_supplies_in_series_is_no_error(bench):
    """Two of them for 48 V may be meant; still nobody is told to join their 0 V."""
    verdict = bench.cell(
        "T2: supply-24v-5a-floating\nS1: pushbutton-1no-gold\nP1: lamp-led-24v",
        "P T2:-\nT2:+ S1:13\nS1:14 P1:X1\nP1:X2 M",
        remedies=True,
    )
    assert verdict.finding("F402").severity is Severity.WARNING
    assert not [text for text in advice(verdict) if "join the two 0 V" in text]


# -- contacts that must open -----------------------------------------------------------------------

STOP = "S0: emergency-stop-2nc-1no\nP1: lamp-led-24v"
LOADED = "P1: lamp-led-24v"
LAMP = "lamp: {channel: K1.O1, drives: P1}"
FED_OVER_STOP = {
    "semiconductor": (
        f"K1: output-card-8-0a5\n{STOP}",
        "P S0:11\nS0:12 K1:L+\nM K1:M\nK1:1 P1:X1\nP1:X2 M",
    ),
    "relay": (
        f"K1: output-card-8-relay\n{STOP}",
        "P S0:11\nS0:12 K1:C1\nP K1:L+\nM K1:M\nK1:1 P1:X1\nP1:X2 M",
    ),
    "load": (
        f"K1: output-card-8-0a5\n{STOP}",
        "P K1:L+\nM K1:M\nK1:1 S0:11\nS0:12 P1:X1\nP1:X2 M",
    ),
}


@pytest.mark.parametrize("way", FED_OVER_STOP)
def test_outputs_fed_over_an_emergency_stop_are_fed(bench, way):
    items, joins = FED_OVER_STOP[way]
    verdict = bench.cell(items, joins, LAMP, remedies=True)
    assert "F401" not in verdict.codes, verdict.told()


@pytest.mark.parametrize("way", FED_OVER_STOP)
def test_no_advice_takes_a_load_past_an_emergency_stop(bench, way):
    items, joins = FED_OVER_STOP[way]
    verdict = bench.cell(items, joins, LAMP, remedies=True)
    assert not [t for t in advice(verdict) if t.startswith("join")], advice(verdict)
    assert not [t for t in advice(verdict) if "conductor at P1:X1" in t], advice(verdict)


def test_a_common_that_hangs_on_an_open_contact_only_is_told(bench):
    """S1 leads nowhere: the common is open as if S1 were not there."""
    verdict = bench.cell(
        "K1: input-card-16\nS1: pushbutton-1no-gold\nS2: pushbutton-1no-gold",
        "P S2:13\nS2:14 K1:1\nK1:COM S1:14",
        "go: {channel: K1.I1, on: S2 pressed}",
    )
    assert "F401" in verdict.codes


def test_two_sensors_on_one_open_0_v_feed_each_other_nothing(bench):
    """Their outputs end on that 0 V; current that comes back through an output is no feed."""
    verdict = bench.cell(
        "K1: input-card-8-npn\nB1: inductive-npn-no\nB2: inductive-npn-no\nX5: terminal-block-4",
        "P K1:L\nP B1-X:1\nP B2-X:1\nB1-X:3 X5:1\nB2-X:3 X5:2\nB1-X:4 K1:1\nB2-X:4 K1:2",
        "one: {channel: K1.I1, on: B1 target}\ntwo: {channel: K1.I2, on: B2 target}",
    )
    assert "F401" in verdict.codes, verdict.told()


def test_an_open_second_0_v_of_outputs_is_told(bench):
    """The drivers need both poles; the part's own text says what happens without."""
    verdict = bench.cell(
        "K1: small-controller-8x6\nP1: lamp-led-24v",
        "P K1:+\nM K1:-\nP K1:V+\nK1:Q1 P1:X1\nP1:X2 M",
        "lamp: {channel: K1.Q1, drives: P1}",
        remedies=True,
    )
    finding = verdict.finding("F401")
    assert finding.place == "K1:V-"
    assert any(r.proven for r in finding.remedies)


def test_a_bridge_over_a_contact_is_seen_through_terminals(tmp_path):
    """S0 stands between X5 and X6; a conductor from X5 to X6 bridges it, one to +24 V does not."""
    items = "S0: emergency-stop-2nc-1no\nX5: terminal-block-4\nX6: terminal-block-4\n" + LOADED
    joins = "P X5:1\nX5:2 S0:11\nS0:12 X6:1\nX6:2 P1:X1\nP1:X2 M"
    made = []
    for more in ("", "\nX5:3 X6:3", "\nP X5:3"):
        file = tmp_path / "cell.yaml"
        file.write_text(small_cell(items, joins + more), "utf-8")
        made.append(compile_circuit(run.load(str(file)).cell))
    assert bridged_contacts(made[0], made[1]) == ["S0.channel1"]
    assert bridged_contacts(made[0], made[2]) == []
