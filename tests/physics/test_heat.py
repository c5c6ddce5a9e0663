"""Resistors against the heat they stand.

By hand: P = U x U / R at the highest voltage and the lowest resistance.
"""

from __future__ import annotations

import pytest

from ringout import run
from tests.physics.small_cells import proven, small_cell

ACROSS = "P R1:1\nR1:2 M"


def test_a_resistor_that_burns_is_told(bench):
    """100 Ohm - 5 % on 24 V + 2 %: 24.5 V x 24.5 V / 95 Ohm = 6.3 W, at 24.0 V still 6.1 W."""
    verdict = bench.cell("R1: {part: resistor, ohm: 100 Ω ± 5 %, watts: 0.25 W}", ACROSS)
    finding = verdict.finding("F202")
    assert finding.place == "R1"
    heat, stands = (q.value for q in finding.numbers)
    assert 6.0 <= heat <= 6.4
    assert stands == 0.25


@pytest.mark.parametrize(
    ("ohm", "watts", "told"),
    [("2.4 kΩ", "0.5 W", False), ("1 kΩ", "0.5 W", True), ("1 kΩ", "2 W", False)],
)
def test_bleeders_of_usual_sizes(bench, ohm, watts, told):
    """24 V x 24 V over 2.4 kOhm are 0.24 W, over 1 kOhm 0.58 W, as the part's own text says."""
    verdict = bench.cell(f"R1: {{part: resistor, ohm: {ohm} ± 5 %, watts: {watts}}}", ACROSS)
    assert ("F202" in verdict.codes) == told, verdict.told()


def test_a_resistor_behind_a_button_gets_hot_while_that_is_pressed(bench):
    verdict = bench.cell(
        "R1: {part: resistor, ohm: 100 Ω, watts: 0.25 W}\nS1: pushbutton-1no",
        "P S1:13\nS1:14 R1:1\nR1:2 M",
    )
    assert "F202" in verdict.codes


def test_two_in_series_share(bench):
    """100 Ohm and 2.2 kOhm: 10.4 mA, so 11 mW in the small one."""
    verdict = bench.cell(
        "R1: {part: resistor, ohm: 100 Ω, watts: 0.25 W}\n"
        "R2: {part: resistor, ohm: 2.2 kΩ, watts: 0.5 W}",
        "P R1:1\nR1:2 R2:1\nR2:2 M",
    )
    assert "F202" not in verdict.codes, verdict.told()


def test_an_advised_resistor_stands_its_heat(bench):
    """1.5 kOhm at 24 V + 20 % are 0.55 W, 2 W with common practice's reserve: proven with that."""
    verdict = bench.cell(
        "K1: input-card-8-15k\nB1: inductive-2wire-no",
        "P B1-X:1\nB1-X:4 K1:1\nM K1:COM",
        "seen: {channel: K1.I1, on: B1 target}",
        remedies=True,
    )
    texts = [t for f in verdict.judgement.findings for t in proven(f)]
    assert any("a resistor of 1.5 kΩ, 2 W across the input" in t for t in texts), texts


def test_a_rating_that_is_no_power_is_an_error(tmp_path):
    file = tmp_path / "cell.yaml"
    file.write_text(small_cell("R1: {part: resistor, ohm: 1 kΩ, watts: 0.5 A}", ACROSS), "utf-8")
    assert [p.code for p in run.load(str(file)).problems] == ["N003"]
