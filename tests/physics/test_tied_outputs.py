"""Outputs tied together are told as that.

By hand: with two high-side switches on one load the load is on while either is on, so neither
signal alone can switch it off.
"""

from __future__ import annotations

import pytest

CARD = "K2: output-card-4-2a\nP1: stack-light-3"
FED = "P K2:L+\nM K2:M\n"
RED = "red: {channel: K2.O1, drives: P1.red}"


def test_two_outputs_on_one_clamp(bench):
    verdict = bench.cell(CARD, FED + "K2:1 P1:1\nK2:2 P1:1\nM P1:0V", RED)
    finding = verdict.finding("F308")
    assert "K2.O1 and K2.O2 are tied together at P1:1" in finding.message
    assert len(finding.where) == 2


def test_two_outputs_that_meet_over_a_terminal_block(bench):
    verdict = bench.cell(
        CARD + "\nX5: terminal-block-4\nX6: terminal-block-4",
        FED + "K2:1 X5:1\nK2:2 X6:1\nX5:2 X6:2\nX5:3 P1:1\nM P1:0V",
        RED,
    )
    assert "K2.O1 and K2.O2" in verdict.finding("F308").message


@pytest.mark.parametrize(
    ("items", "joins"),
    [
        # each on its own lamp
        (CARD, "K2:1 P1:1\nK2:2 P1:2\nM P1:0V"),
        # a diode between lets one help the other, not back
        (CARD + "\nR5: suppressor-diode", "K2:1 P1:1\nK2:2 R5:-\nR5:+ P1:1\nM P1:0V"),
        # the contact of a relay is no conductor
        (CARD + "\nK5: relay-2k2-diode", "K2:1 P1:1\nK2:2 K5:11\nK5:14 P1:1\nM P1:0V"),
        # loads share their 0 V, not their outputs
        (CARD + "\nQ1: holding-magnet-10w", "K2:1 P1:1\nM P1:0V\nK2:2 Q1:1\nP1:0V Q1:2"),
    ],
)
def test_outputs_that_are_not_tied(bench, items, joins):
    verdict = bench.cell(items, FED + joins, RED)
    assert "F308" not in verdict.codes, verdict.told()
