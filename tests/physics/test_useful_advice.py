"""Advice that does something: no change that leaves a level as it is or makes it worse.

By hand, copper at 20 °C has 17.2 mohm mm2/m (iec-60228, rounded): 60 m of 0.25 mm2 there and back
are 8.3 ohm, and a magnet of 58 ohm on 24 V loses about 3 V in them. 1.5 mm2 is a sixth of that.
"""

from __future__ import annotations

from tests.physics.small_cells import proven

MAGNET = "Q1: holding-magnet-10w\nK2: output-card-4-2a"
FED = "P K2:L+\nM K2:M\n"


def no_idle_try(verdict, name):
    """Check that every remedy not proven makes a level of the signal better, and none worse."""
    for finding in verdict.judgement.findings:
        for remedy in finding.remedies:
            if remedy.proven:
                continue
            for m in (m for m in remedy.margins if m.signal == name):
                pairs = [(m.on_before_v, m.on_after_v), (m.off_before_v, m.off_after_v)]
                pairs = [(a, b) for a, b in pairs if a is not None]
                assert any(b > a + 0.05 for a, b in pairs), (finding.code, remedy)
                assert all(b >= 0.0 or b >= a - 0.05 for a, b in pairs), (finding.code, remedy)


def magnet(bench, part, metres, **words):
    return bench.cell(
        MAGNET,
        f"{FED}K2:1 W2:BN Q1:1\nK2:M W2:{'WH' if part < 'cable-2x0.5' else 'BU'} Q1:2",
        "magnet: {channel: K2.O1, drives: Q1}",
        cables=f"W2: {{part: {part}, length: {metres} m}}",
        **words,
    )


def test_voltage_lost_in_a_long_cable_is_cured_by_a_thicker_or_a_shorter_one(bench):
    verdict = magnet(bench, "cable-2x0.25", 30, remedies=True)
    finding = verdict.finding("F301")
    told = proven(finding)
    thicker = [t for t in told if "instead of cable-2x0.25" in t]
    shorter = [t for t in told if "W2 may be" in t]
    assert thicker and shorter, told
    # what is advised holds when it is built, and the length is near the limit
    part = thicker[0].split()[1]
    assert magnet(bench, part, 30).signal("magnet").on.margin_v >= 0.0
    metres = float(shorter[0].split("may be ")[1].split(" m")[0])
    assert magnet(bench, "cable-2x0.25", metres).signal("magnet").on.margin_v >= 0.0
    assert magnet(bench, "cable-2x0.25", metres * 1.15 + 0.5).signal("magnet").on.margin_v < 0.0
    assert not [r.text for r in finding.remedies if "take the conductor" in r.text]


def test_a_thicker_cable_of_other_colours_names_the_cores_that_change(bench):
    # 2 x 0.25 is brown and white, 2 x 0.5 and up brown and blue
    finding = magnet(bench, "cable-2x0.25", 40, remedies=True).finding("F301")
    change = next(r for r in finding.remedies if "instead of cable-2x0.25" in r.text)
    assert "WH to BU" in change.text
    assert ("W2:WH", "W2:BU") in change.edit


def test_where_one_cable_is_not_enough_both_are_changed(bench):
    verdict = bench.cell(
        MAGNET,
        "P W1:BN K2:L+\nM W1:BU K2:M\nK2:1 W2:BN Q1:1\nK2:M W2:WH Q1:2",
        "magnet: {channel: K2.O1, drives: Q1}",
        cables="W1: {part: cable-2x0.5, length: 40 m}\nW2: {part: cable-2x0.25, length: 60 m}",
        supply="supply-24v-10a",
        remedies=True,
    )
    told = proven(verdict.finding("F301"))
    assert any("for W2" in t and "for W1" in t for t in told), told
    no_idle_try(verdict, "magnet")


def test_no_copper_is_blamed_for_a_load_that_gets_nothing(bench):
    verdict = bench.cell(
        MAGNET,
        f"{FED}K2:2 W2:BN Q1:1\nK2:M W2:WH Q1:2",
        "magnet: {channel: K2.O1, drives: Q1}",
        cables="W2: {part: cable-2x0.25, length: 30 m}",
        remedies=True,
    )
    told = [r.text for f in verdict.judgement.findings for r in f.remedies]
    assert not [t for t in told if "instead of cable" in t or "W2 may be" in t]
    no_idle_try(verdict, "magnet")


def test_a_condition_that_changes_no_margin_is_not_offered(bench):
    # go_on named on the channel of the button that it does not follow: S2 is not to blame
    verdict = bench.cell(
        "K2: input-card-16\nS1: pushbutton-1no-gold\nS2: pushbutton-1no-gold",
        "M K2:COM\nP S1:13\nS1:14 K2:1\nP S2:13\nS2:14 K2:2",
        "go: {channel: K2.I1, on: S2 pressed}",
        remedies=True,
    )
    no_idle_try(verdict, "go")


def test_no_longer_cable_is_ever_advised(bench):
    # at once is out of reach at any length: the supply limits at 11 A, the breaker wants 30 A
    verdict = bench.cell(
        "F2: {part: breaker-b, rated: 4 A}\nX5: terminal-block-4\nK2: input-card-16\n"
        "B1: inductive-pnp-no",
        "P F2:1\nF2:2 X5:1\nM K2:COM\nX5:2 W6:BN B1-X:1\nM W6:BU B1-X:3\nB1-X:4 W6:BK K2:1",
        "here: {channel: K2.I1, on: B1 target}",
        cables="W6: {part: cordset-m12-4-open, length: 5 m}",
        supply="supply-24v-10a",
        remedies=True,
    )
    assert "F502" in verdict.codes
    for remedy in (r for f in verdict.judgement.findings for r in f.remedies):
        for old, new in remedy.edit:
            if old.startswith("length:"):
                assert float(new.split()[1]) < float(old.split()[1]), remedy.text
