"""Two signals with each other's channel are told as that, once, with what mends it.

By hand: a make contact of a selector that is closed at the left reads on at the left. Named as
`right`, and the other way round with its neighbour, both are wrong in two of three positions;
with the channels exchanged both are right in all three.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.physics.small_cells import proven

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "caddy-lidder" / "corrected.yaml"
CARD = "K2: input-card-16\n"
WRONG_LEVELS = {"F101", "F102", "F103", "F104", "F105", "F106", "F301", "F302"}


def selector(bench, auto, manual, **words):
    return bench.cell(
        CARD + "S3: selector-3pos",
        "M K2:COM\nP S3:13\nP S3:23\nS3:14 K2:1\nS3:24 K2:2",
        f"auto: {{channel: K2.I1, on: {auto}}}\nmanual: {{channel: K2.I2, on: {manual}}}",
        **words,
    )


def test_a_selector_with_its_two_sides_exchanged(bench):
    right = selector(bench, "S3 left", "S3 right")
    assert {s.verdict for s in right.judgement.signals} == {"works"}
    assert "F111" not in right.codes

    verdict = selector(bench, "S3 right", "S3 left", remedies=True)
    finding = verdict.finding("F111")
    assert "auto and manual are exchanged" in finding.message
    assert "K2.I1 <-> K2.I2" in finding.message
    assert not WRONG_LEVELS & set(verdict.codes)
    told = proven(finding)
    assert any("K2:1" in t and "K2:2" in t for t in told), told
    assert any("auto is K2.I2" in t for t in told), told
    assert not [r for f in verdict.judgement.findings for r in f.remedies if "not S3" in r.text]
    # the signals still fail: nothing is mended by naming it
    assert {s.verdict for s in verdict.judgement.signals} == {"fails"}


def test_two_buttons_exchanged(bench):
    verdict = bench.cell(
        CARD + "S1: pushbutton-1no-gold\nS2: pushbutton-1nc-gold",
        "M K2:COM\nP S1:13\nP S2:11\nS1:14 K2:2\nS2:12 K2:1",
        "go: {channel: K2.I1, on: S1 pressed}\nend: {channel: K2.I2, on: S2 released}",
    )
    assert verdict.codes == ["F111"], verdict.told()


def test_two_outputs_exchanged(bench):
    verdict = bench.cell(
        "K2: output-card-4-2a\nQ1: holding-magnet-10w\nQ2: holding-magnet-10w",
        "P K2:L+\nM K2:M\nK2:2 Q1:1\nM Q1:2\nK2:1 Q2:1\nM Q2:2",
        "up: {channel: K2.O1, drives: Q1}\ndown: {channel: K2.O2, drives: Q2}",
        supply="supply-24v-10a",
        remedies=True,
    )
    finding = verdict.finding("F111")
    assert "K2.O1 works Q2, K2.O2 works Q1" in finding.message
    assert any("K2:1" in t and "K2:2" in t for t in proven(finding))
    assert not WRONG_LEVELS & set(verdict.codes), verdict.told()


def test_two_legs_of_a_splitter_exchanged(bench):
    text = EXAMPLE.read_text("utf-8")
    for old, new in (
        ("- B4       Y1-A", "- B4       Y1-b"),
        ("- B5       Y1-B", "- B5       Y1-A"),
    ):
        assert text.count(old) == 1
        text = text.replace(old, new)
    verdict = bench.text(text.replace("Y1-b", "Y1-B"), remedies=True)
    finding = verdict.finding("F111")
    assert "clamp_open and clamp_closed are exchanged" in finding.message
    assert any("exchange the two plugs" in t for t in proven(finding)), finding.remedies


@pytest.mark.parametrize(
    ("go", "end", "code"),
    [
        # one channel turned round, the other right
        ("S1 released", "S2 pressed", "F105"),
        # both turned round: no exchange makes that right
        ("S1 released", "S2 released", "F105"),
        # both name the same button: the second has no channel to exchange with
        ("S2 pressed", "S2 pressed", "F105"),
    ],
)
def test_what_is_not_exchanged_is_not_called_so(bench, go, end, code):
    verdict = bench.cell(
        CARD + "S1: pushbutton-1no-gold\nS2: pushbutton-1no-gold",
        "M K2:COM\nP S1:13\nP S2:13\nS1:14 K2:1\nS2:14 K2:2",
        f"go: {{channel: K2.I1, on: {go}}}\nend: {{channel: K2.I2, on: {end}}}",
    )
    assert "F111" not in verdict.codes
    assert set(verdict.codes) & WRONG_LEVELS, verdict.told()
    assert code in verdict.codes, verdict.told()


def test_three_in_a_ring_are_not_called_a_pair(bench):
    verdict = bench.cell(
        CARD + "S1: pushbutton-1no-gold\nS2: pushbutton-1no-gold\nS4: pushbutton-1no-gold",
        "M K2:COM\nP S1:13\nP S2:13\nP S4:13\nS1:14 K2:2\nS2:14 K2:3\nS4:14 K2:1",
        "a: {channel: K2.I1, on: S1 pressed}\nb: {channel: K2.I2, on: S2 pressed}\n"
        "c: {channel: K2.I3, on: S4 pressed}",
    )
    assert "F111" not in verdict.codes
    assert len([c for c in verdict.codes if c in WRONG_LEVELS]) == 3, verdict.told()
