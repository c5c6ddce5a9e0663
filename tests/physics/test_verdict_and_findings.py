"""The table of signals and the findings agree: `fails` goes with an error, and only with one.

By hand: an output that leaks 0.5 mA lets an LED of some 10 mA glow, which shows from 0.05 mA up
(common practice), but not light; two outputs on one lamp light it fully.
"""

from __future__ import annotations

from ringout.base import Severity

CARD = "K2: output-card-4-2a\nP1: stack-light-3"
FED = "P K2:L+\nM K2:M\n"
RED = "red: {channel: K2.O1, drives: P1.red}"


def agree(verdict):
    """Check that each failing signal has its error, and each signal with an error fails."""
    errors = {
        v
        for f in verdict.judgement.findings
        if f.severity is Severity.ERROR
        for k, v in f.about
        if k == "signal"
    }
    failing = {s.name for s in verdict.judgement.signals if s.verdict == "fails"}
    assert failing <= errors, verdict.told()
    working = {s.name for s in verdict.judgement.signals if s.verdict in ("works", "marginal")}
    assert not working & errors, verdict.told()


def test_a_lamp_that_glows_is_marginal(bench):
    verdict = bench.cell(
        "K1: output-card-8-0a5\nP1: lamp-led-24v",
        "P K1:L+\nM K1:M\nK1:1 P1:X1\nM P1:X2",
        "light: {channel: K1.O1, drives: P1}",
    )
    agree(verdict)
    assert verdict.finding("F305").severity is Severity.WARNING
    assert verdict.signal("light").verdict == "marginal"


def test_a_lamp_that_another_output_lights_fails(bench):
    verdict = bench.cell(CARD, FED + "K2:1 P1:1\nK2:2 P1:1\nM P1:0V", RED)
    agree(verdict)
    assert verdict.signal("red").verdict == "fails"
    assert any("can be lit" in t for t in verdict.told()), verdict.told()


def test_a_lamp_that_gets_nothing_fails(bench):
    verdict = bench.cell(CARD, FED + "K2:2 P1:1\nM P1:0V", RED)
    agree(verdict)
    assert verdict.signal("red").verdict == "fails"
