"""The standard's input types: a small cell is judged on and off exactly at the table's limits."""

from __future__ import annotations

import pytest

from tests.cells.worked.workbench import Bench, signal

HAIR_V = 0.001  # joints and the switch take some 20 uV of this

# IEC 61131-2, operating ranges of 24 V DC inputs: type, lowest V and mA of a 1, highest V of a 0
# at any current, mA below which a 0 is sure, highest V of a 0 below that current.
TYPES = [
    (1, 15.0, 2.0, 5.0, 0.5, 15.0),
    (2, 11.0, 6.0, 5.0, 2.0, 11.0),
    (3, 11.0, 2.0, 5.0, 1.5, 11.0),
]


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


def judged(bench, kind, ohm, on_v, off_v):
    """Return the signal of an input that gets one voltage while on and another while off."""
    text = f"""
items:
  T1: {{part: we-supply, volts: {on_v:.6f} V}}
  T2: {{part: we-supply, volts: {off_v:.6f} V}}
  S1: we-choice
  K1: {{part: we-input-type-{kind}, ohm: {ohm:.6f} Ω}}
joins:
  - T1:+    S1:A
  - T2:+    S1:B
  - T1:-    T2:-
  - T2:-    K1:COM
  - S1:COM  K1:I
signals:
  seen: {{channel: K1.I, on: S1 moved}}
"""
    return signal(bench.prove(text), "seen")


@pytest.mark.parametrize(("kind", "on_v", "on_ma", "off_v", "off_ma", "off_weak_v"), TYPES)
def test_on_from_the_lowest_voltage_of_a_1(bench, kind, on_v, on_ma, off_v, off_ma, off_weak_v):
    """IEC 61131-2: an input that draws just its least current at the least voltage of a 1."""
    ohm = on_v / (on_ma / 1000)
    above = judged(bench, kind, ohm, on_v + HAIR_V, 0.5)
    below = judged(bench, kind, ohm, on_v - HAIR_V, 0.5)
    assert above.on_limit_v == pytest.approx(on_v)
    assert 0 <= above.on.margin_v < 2 * HAIR_V
    assert above.verdict == "marginal"
    assert below.on.margin_v < 0
    assert below.verdict == "fails"


@pytest.mark.parametrize(("kind", "on_v", "on_ma", "off_v", "off_ma", "off_weak_v"), TYPES)
def test_a_1_needs_its_current_too(bench, kind, on_v, on_ma, off_v, off_ma, off_weak_v):
    """IEC 61131-2: twice the resistance draws the least current at twice the voltage only."""
    ohm = 2 * on_v / (on_ma / 1000)
    at = 2 * on_v
    assert judged(bench, kind, ohm, at - HAIR_V, 0.5).verdict == "fails"
    assert judged(bench, kind, ohm, at + HAIR_V, 0.5).verdict == "marginal"


@pytest.mark.parametrize(("kind", "on_v", "on_ma", "off_v", "off_ma", "off_weak_v"), TYPES)
def test_off_up_to_5_v_at_any_current(bench, kind, on_v, on_ma, off_v, off_ma, off_weak_v):
    """IEC 61131-2: a 0 is sure up to 5 V, whatever the input draws there."""
    ohm = 0.5 * off_v / (off_ma / 1000)  # twice the current that would decide
    below = judged(bench, kind, ohm, 24.0, off_v - HAIR_V)
    above = judged(bench, kind, ohm, 24.0, off_v + HAIR_V)
    assert below.off_limit_v == pytest.approx(off_v)
    assert below.verdict == "marginal"
    assert above.off.margin_v < 0
    assert above.verdict == "fails"


@pytest.mark.parametrize(("kind", "on_v", "on_ma", "off_v", "off_ma", "off_weak_v"), TYPES)
def test_off_above_5_v_while_the_current_is_small(
    bench, kind, on_v, on_ma, off_v, off_ma, off_weak_v
):
    """IEC 61131-2: above 5 V a 0 is sure as long as less than the least current of T flows."""
    middle_v = (off_v + off_weak_v) / 2
    ohm = middle_v / (off_ma / 1000)
    assert judged(bench, kind, ohm, 24.0, middle_v - HAIR_V).off.margin_v >= 0
    assert judged(bench, kind, ohm, 24.0, middle_v + HAIR_V).off.margin_v < 0


@pytest.mark.parametrize(("kind", "on_v", "on_ma", "off_v", "off_ma", "off_weak_v"), TYPES)
def test_never_off_above_the_highest_voltage_of_a_0(
    bench, kind, on_v, on_ma, off_v, off_ma, off_weak_v
):
    """IEC 61131-2: however little flows, no 0 is promised above 15 V or 11 V."""
    ohm = 2 * off_weak_v / (off_ma / 1000)
    assert judged(bench, kind, ohm, 24.0, off_weak_v - HAIR_V).off.margin_v >= 0
    assert judged(bench, kind, ohm, 24.0, off_weak_v + HAIR_V).off.margin_v < 0
