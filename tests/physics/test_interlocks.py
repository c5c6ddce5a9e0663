"""Contacts in the path or the feed of a load: off while they are open, by intention.

By hand: an open contact leaves nothing on the load; a closed one 24 V less 0.8 V of the output.
"""

from __future__ import annotations

import pytest

from ringout.base import Severity
from tests.physics.small_cells import proven

CARD = "K1: output-card-8-0a5\nQ1: valve-2w3-diode"
VENT = "vent: {channel: K1.O1, drives: Q1}"
STOP = "S0: emergency-stop-2nc-1no"
WIRED = {
    "feed of electronics and outputs": (f"{CARD}\n{STOP}", "P S0:11\nS0:12 K1:L+\nK1:1 Q1:1"),
    "path of the load": (f"{CARD}\n{STOP}", "P K1:L+\nK1:1 S0:11\nS0:12 Q1:1"),
    "common of relay outputs": (
        f"{CARD.replace('0a5', 'relay')}\n{STOP}", "P K1:L+\nP S0:11\nS0:12 K1:C1\nK1:1 Q1:1",
    ),
    "contact of a relay that the stop works": (
        f"{CARD}\n{STOP}\nK9: relay-2k2-diode",
        "P S0:11\nS0:12 K9:A1\nM K9:A2\nP K9:11\nK9:14 K1:L+\nK1:1 Q1:1",
    ),
}  # fmt: skip
RETURNS = "\nM K1:M\nM Q1:2"


@pytest.mark.parametrize("way", WIRED)
def test_a_load_behind_an_emergency_stop_works_while_that_is_released(bench, way):
    items, joins = WIRED[way]
    verdict = bench.cell(items, joins + RETURNS, VENT, remedies=True)
    verdict.works("vent")
    finding = verdict.finding("F307")
    assert finding.severity is Severity.NOTE
    assert "Q1 works only while S0 released" in finding.message


def test_a_load_that_a_pressed_button_lets_work_is_a_warning(bench):
    verdict = bench.cell(
        f"{CARD}\nS1: pushbutton-1no", "P K1:L+\nK1:1 S1:13\nS1:14 Q1:1" + RETURNS, VENT
    )
    finding = verdict.finding("F307")
    assert finding.severity is Severity.WARNING
    assert "only while S1 pressed" in finding.message
    assert "at rest it does not" in finding.message


def test_outputs_fed_over_a_key_switch_work_while_it_is_on(bench):
    """At rest the card is dead; its outputs are still judged as they are when it is not."""
    verdict = bench.cell(
        f"{CARD}\nS1: key-switch-2pos", "P S1:13\nS1:14 K1:L+\nK1:1 Q1:1" + RETURNS, VENT
    )
    assert verdict.signal("vent").verdict == "works"
    assert "only while S1 " in verdict.finding("F307").message


def test_two_break_contacts_in_parallel_take_the_load_away_together(bench):
    verdict = bench.cell(
        f"{CARD}\nS1: pushbutton-1nc\nS2: pushbutton-1nc\nX5: terminal-block-4\n"
        "X6: terminal-block-4",
        "P K1:L+\nK1:1 X5:1\nX5:2 S1:11\nX5:3 S2:11\nS1:12 X6:2\nS2:12 X6:3\nX6:1 Q1:1" + RETURNS,
        VENT,
    )
    assert "not while S1 pressed and S2 pressed" in verdict.finding("F307").message


def test_a_stop_that_leaves_the_load_half_fed_is_an_error(bench):
    """1 kOhm over the contact and 250 Ohm of coil: 24 V x 250 / 1250 = 4.8 V, off is 2.4 V."""
    verdict = bench.cell(
        f"{CARD}\n{STOP}\nR1: {{part: resistor, ohm: 1 kΩ ± 1 %, watts: 1 W}}",
        "P K1:L+\nK1:1 S0:11\nS0:12 Q1:1\nS0:11 R1:1\nS0:12 R1:2" + RETURNS,
        VENT,
    )
    assert verdict.signal("vent").verdict == "fails"
    assert {"F301", "F302"} & set(verdict.codes), verdict.told()


def test_a_short_on_an_output_fed_over_a_stop_is_found(bench):
    """The card is alive while the stop is released; its output on 0 V is then a short."""
    items, _ = WIRED["feed of electronics and outputs"]
    verdict = bench.cell(
        f"{items}\nX5: terminal-block-4",
        "P S0:11\nS0:12 K1:L+\nK1:1 X5:1\nX5:2 Q1:1\nM X5:3" + RETURNS,
        VENT,
    )
    assert "F201" in verdict.codes, verdict.told()


def test_a_break_contact_from_pole_to_pole_is_blamed_for_its_short(bench):
    """It feeds nothing: the short is the switch's own, not that of the cell at rest."""
    verdict = bench.cell(
        f"{CARD}\nS2: pushbutton-1nc\nF1: {{part: electronic-breaker-1ch, set: 2 A}}",
        "P F1:in+\nM F1:in-\nF1:out S2:11\nS2:12 M\nP K1:L+\nK1:1 Q1:1" + RETURNS,
        VENT,
    )
    short = next(f for f in verdict.judgement.findings if f.code == "F201")
    assert short.place == "S2", verdict.told()


@pytest.mark.parametrize(
    ("items", "joins", "own"),
    [
        ("S1: pushbutton-1no-gold", "P S0:11\nS0:12 S1:13\nS1:14 K2:1\nM K2:M", "S1 pressed"),
        ("B1: inductive-pnp-no",
         "P S0:11\nS0:12 B1-X:1\nM B1-X:3\nB1-X:4 K2:1\nM K2:M", "B1 target"),
        ("S1: pushbutton-1no-gold", "P S1:13\nS1:14 K2:1\nM S0:11\nS0:12 K2:M", "S1 pressed"),
    ],
)  # fmt: skip
def test_an_input_that_waits_for_a_stop_is_to_say_so(bench, items, joins, own):
    def cell(on):
        return bench.cell(
            f"K2: input-card-8-type-1\n{STOP}\n{items}",
            joins,
            f"go: {{channel: K2.I1, on: {on}}}",
            remedies=True,
        )

    finding = cell(own).finding("F101")
    assert "does not always come on" in finding.message
    assert any("go also waits for S0 released" in text for text in proven(finding))
    assert cell(f"{own} and S0 released").signal("go").verdict == "works"
