"""One mistake is told once: no second error for an expectation, one warning for a selector.

By hand: a 24 V input draws some 3 to 5 mA, and a silver contact wants 5 mA at 17 V (common
practice), whatever number of signals its contacts make.
"""

from __future__ import annotations

import pytest

from ringout.base import Severity
from tests.physics.small_cells import proven

CARD = "K2: input-card-16\nS1: pushbutton-1no-gold\nS2: pushbutton-1no-gold"
GO = "go: {channel: K2.I1, on: S1 pressed}\nend: {channel: K2.I2, on: S2 pressed}"
WIRED = "M K2:COM\nP S1:13\nS1:14 K2:1\nP S2:13\nS2:14 K2:2"


@pytest.mark.parametrize(
    "line",
    [
        "signal go is on while S1 pressed",
        "K2:1 to K2:COM is 20..25 V while S1 pressed",
    ],
)
def test_an_expectation_is_no_second_error(bench, line):
    cut = WIRED.replace("S1:14 K2:1", "S1:14 K2:5")
    verdict = bench.cell(CARD, cut, GO, more=f"expect:\n  - {line}\n")
    assert verdict.codes == ["F107"], verdict.told()
    found = verdict.finding("F901")
    assert found.severity is Severity.NOTE
    assert "F107, told of go, says why" in found.message


@pytest.mark.parametrize(
    "line",
    [
        "signal end is on while S1 pressed",  # wrong by itself: end is another button's
        "K2:2 to K2:COM is 5..6 V while S2 pressed",
    ],
)
def test_an_expectation_that_nothing_else_explains_is_an_error(bench, line):
    cut = WIRED.replace("S1:14 K2:1", "S1:14 K2:5")
    verdict = bench.cell(CARD, cut, GO, more=f"expect:\n  - {line}\n")
    assert sorted(verdict.codes) == ["F107", "F901"], verdict.told()


def test_the_contacts_of_one_selector_are_told_once(bench):
    verdict = bench.cell(
        "K2: input-card-16\nS3: selector-3pos",
        "M K2:COM\nP S3:13\nP S3:23\nS3:14 K2:1\nS3:24 K2:2",
        "auto: {channel: K2.I1, on: S3 left}\nmanual: {channel: K2.I2, on: S3 right}",
        remedies=True,
    )
    found = verdict.finding("F701")
    assert "as auto and manual" in found.message
    for remedy in found.remedies:
        assert {m.signal for m in remedy.margins} == {"auto", "manual"}
    assert all("gold" in text for text in proven(found))


def test_an_expectation_of_a_dead_block_is_no_second_error(bench):
    line = "signal go is on while S1 pressed"
    cut = WIRED.replace("M K2:COM\n", "")
    verdict = bench.cell(CARD, cut, GO, more=f"expect:\n  - {line}\n")
    assert verdict.codes == ["F401"], verdict.told()
    assert "F401, told of go, says why" in verdict.finding("F901").message
