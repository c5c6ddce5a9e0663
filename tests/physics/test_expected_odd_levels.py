"""Levels that are odd: below 0 V, not solved at their worst, or waiting for a relay."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ringout import run
from ringout.circuit.compile import compile_circuit
from ringout.findings.bounds import Bounder
from ringout.findings.levels import survey_levels
from ringout.findings.signals import judge_signals
from ringout.findings.survey import survey


def test_a_level_below_0_v_is_told_with_its_sign(bench):
    """T2 stands on the + of T1 and the common on its +: 24 V less 48 V across the channel."""
    verdict = bench.cell(
        "K2: input-card-16\nS1: pushbutton-1no-gold\nT2: supply-24v-5a-floating",
        "P S1:13\nS1:14 K2:1\nT2:+ K2:COM\nP T2:-",
        "go: {channel: K2.I1, on: S1 pressed}",
    )
    assert "K2.I1 has -24." in verdict.finding("F101").message


def test_an_unsolved_worst_case_is_undecided_and_no_voltage(bench):
    verdict = bench.cell(
        "K2: input-card-16\nS1: pushbutton-1no-gold",
        "P S1:13\nS1:14 K2:1\nM K2:COM",
        "go: {channel: K2.I1, on: S1 pressed}",
    )
    circuit = compile_circuit(run.load(str(next(bench.folder.glob("cell*.yaml")))).cell)
    found = survey(circuit)
    levels = survey_levels(circuit, found, Bounder(circuit, found))
    lost = replace(levels.by_name["go"], v_high=np.full(2, np.nan))
    results, told = judge_signals(circuit, replace(levels, by_name={"go": lost}))
    assert results[0].verdict == "undecided"
    assert [(f.code, "could not be solved" in f.message) for f in told] == [("F110", True)]
    assert verdict.signal("go").verdict == "works"


# -- relays that report themselves -----------------------------------------------------------------

RELAY = "K1: output-card-8-0a5\nK5: relay-2k2-diode\nK2: input-card-8-type-1"
COIL = "P K1:L+\nM K1:M\nM K5:A2\nP K5:11\nM K2:M\n"
RUNS = "runs: {channel: K2.I1, on: K5 energised}"


def test_a_signal_that_follows_a_relay_is_wanted_when_the_relay_has_moved(bench):
    verdict = bench.cell(
        RELAY, COIL + "K1:1 K5:A1\nK5:14 K2:1", f"run: {{channel: K1.O1, drives: K5}}\n{RUNS}"
    )
    verdict.works("runs")


@pytest.mark.parametrize(
    ("wired", "wanted", "code"),
    [
        # nothing works the coil; the coil on +24 V for good, the contact for rest and for work
        ("K5:14 K2:1", "energised", "F101"),
        ("P K5:A1\nK5:12 K2:1", "released", "F101"),
        ("P K5:A1\nK5:14 K2:1", "energised", "F104"),
    ],
)
def test_a_relay_that_never_moves_lets_no_signal_pass(bench, wired, wanted, code):
    verdict = bench.cell(RELAY, COIL + wired, f"runs: {{channel: K2.I1, on: K5 {wanted}}}")
    assert verdict.signal("runs").verdict == "fails"
    assert code in verdict.codes, verdict.told()
    if code == "F101":
        assert f"K5 is {wanted} in no state" in verdict.finding("F101").message
