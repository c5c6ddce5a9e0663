"""Faults a technician knows, each a small cell: the finding, place, numbers, cure."""

from __future__ import annotations

import pytest

from ringout.base import Severity
from tests.physics.small_cells import proven

WIRING_V = 0.05
PNP = "P B1-X:1\nM B1-X:3\nB1-X:4 K1:1\nM K1:M"
SEEN = "seen: {channel: K1.I1, on: B1 target}"
B1_K1 = "B1: inductive-pnp-no\nK1: input-card-8-type-3"


def line_of(bench, text):
    """Return the line number on which a text stands in the last cell written."""
    path = max(bench.folder.glob("cell*.yaml"), key=lambda p: int(p.stem[4:]))
    lines = path.read_text(encoding="utf-8").split("\n")
    return next(i for i, line in enumerate(lines, 1) if text in " ".join(line.split()))


# -- supplies and returns ----------------------------------------------------------------------


def test_a_cell_without_supply(bench):
    verdict = bench.cell(
        "S1: pushbutton-1no-gold\nK1: input-card-8-type-3",
        "S1:14 K1:1",
        "told: {channel: K1.I1, on: S1 pressed}",
        supply="",
    )
    assert verdict.codes == ["F406"]
    assert "no 24 V supply" in verdict.finding("F406").message
    assert verdict.signal("told").verdict == "fails"


def two_supplies(bench, joint, **kwargs):
    # the sensor lives on T1, the card's common on T2
    return bench.cell(
        B1_K1 + "\nT2: supply-24v-5a-floating",
        f"P B1-X:1\nM B1-X:3\nB1-X:4 K1:1\nT2:- K1:M\n{joint}",
        SEEN,
        **kwargs,
    )


def test_two_supplies_without_a_common_0_v(bench):
    verdict = two_supplies(bench, "", remedies=True)
    assert "F402" in verdict.codes
    finding = verdict.finding("F402")
    assert "T1" in finding.message and "T2" in finding.message
    assert "seen" in finding.message
    assert "never the +24 V" in finding.message
    cure = next(r for r in finding.remedies if r.proven)
    assert "0 V" in cure.text or "T2:-" in cure.text
    assert verdict.signal("seen").verdict == "fails"


def test_two_supplies_with_a_common_0_v(bench):
    two_supplies(bench, "M T2:-").works("seen")


def test_the_0_v_feed_of_a_block_is_missing(bench):
    verdict = bench.cell(
        "K1: io-block-8-inputs\nS1: pushbutton-1no-gold",
        "P K1-XS:1\nK1-X1:1 S1:13\nS1:14 K1-X1:4",
        "told: {channel: K1.I1, on: S1 pressed}",
    )
    finding = verdict.finding("F401")
    assert finding.severity is Severity.ERROR
    assert "K1-XS:2" in finding.message
    assert "0 V" in finding.message
    assert verdict.signal("told").verdict == "fails"


def test_the_common_of_a_card_is_missing(bench):
    # every contact and cable is good, the card's lamp lights, no input works
    verdict = bench.cell(
        "K1: input-card-16\nS1: pushbutton-1no-gold",
        "P S1:13\nS1:14 K1:1",
        "told: {channel: K1.I1, on: S1 pressed}",
    )
    finding = verdict.finding("F401")
    assert "common" in finding.message and "K1:COM" in finding.message
    assert verdict.signal("told").verdict == "fails"


def test_the_0_v_of_a_sensor_is_missing(bench):
    verdict = bench.cell(B1_K1, "P B1-X:1\nB1-X:4 K1:1\nM K1:M", SEEN)
    finding = verdict.finding("F401")
    assert "B1" in finding.message and "0 V" in finding.message
    assert finding.where[0].line == line_of(bench, "B1: inductive-pnp-no")


def test_the_second_group_of_a_card_has_no_common(bench):
    verdict = bench.cell(
        "K1: input-card-16-two-groups\nS1: pushbutton-1no-gold\nS2: pushbutton-1no-gold",
        "P S1:13\nS1:14 K1:1\nP S2:13\nS2:14 K1:9\nM K1:COM1",
        "one: {channel: K1.I1, on: S1 pressed}\ntwo: {channel: K1.I9, on: S2 pressed}",
    )
    assert "COM2" in verdict.finding("F401").message
    assert verdict.signal("one").verdict == "works"
    assert verdict.signal("two").verdict == "fails"


def test_earth_as_return(bench):
    verdict = bench.cell(
        "K1: output-card-8-0a5\nQ1: valve-4w5-din-diode\nX93: terminal-block-pe",
        "P K1:L+\nM K1:M\nK1:1 Q1:1\nQ1:2 X93:1\nT1:PE X93:2",
        "clamp: {channel: K1.O1, drives: Q1}",
    )
    finding = verdict.finding("F403")
    assert "earth" in finding.message
    assert finding.severity is Severity.ERROR
    # the whole coil current and its lamp: 24.1 V less 0.3 V, over 128 Ω, and 5.5 mA
    amps = {q.name: q.value for q in finding.numbers}["current"]
    assert amps == pytest.approx((24.1 - 0.3) / 128 * 1000 + 5.5, rel=0.03)


def test_plus_and_minus_of_a_sensor_exchanged(bench):
    verdict = bench.cell(B1_K1, "M B1-X:1\nP B1-X:3\nB1-X:4 K1:1\nM K1:M", SEEN)
    assert verdict.signal("seen").verdict == "fails"
    assert any(
        "B1" in told and ("exchanged" in told or "other pole" in told) for told in verdict.told()
    ), verdict.told()


def test_feedback_into_a_supply_that_is_off(bench):
    # T2 feeds the output card; its rail is joined to +24 V of T1 as well
    verdict = bench.cell(
        "K1: output-card-8-0a5\nQ1: valve-4w5-din-diode\nT2: supply-24v-5a-floating",
        "T2:+ K1:L+\nM T2:-\nM K1:M\nK1:1 Q1:1\nM Q1:2\nP K1:1",
        "clamp: {channel: K1.O1, drives: Q1}",
    )
    # +24 V of T1 on the output pin goes back through the body diode, 0.7 V, to the rail of T2
    # (and T2 gives back to T1 through the output while that is on)
    told = {f.place: f for f in verdict.judgement.findings if f.code == "F404"}
    assert set(told) == {"T1", "T2"}
    rail = told["T2"].numbers[0].value
    assert rail == pytest.approx(24.1 - 0.7, abs=0.3)


# -- shorts and wrong way round ----------------------------------------------------------------


def test_a_contact_across_pins_1_and_3(bench):
    verdict = bench.cell(
        "K1: io-block-8-inputs\nS1: pushbutton-1no-gold\n"
        "F1: {part: electronic-breaker-1ch, set: 2 A}",
        "P F1:in+\nM F1:in-\nF1:out K1-XS:1\nF1:m K1-XS:2\n"
        "S1:13 W1:BN K1-X1:1\nS1:14 W1:BU K1-X1:3",
        "told: {channel: K1.I1, on: S1 pressed}",
        cables="W1: {part: cable-4x0.34, length: 6 m}",
        remedies=True,
    )
    assert verdict.codes == ["F201"]
    finding = verdict.finding("F201")
    assert "dead short" in finding.message and "S1 pressed" in finding.message
    path = ["T1.output", "F1.branch", "W1:BN", "S1.contact", "W1:BU"]
    at = [finding.message.partition("Path: ")[2].index(word) for word in path]
    assert at == sorted(at), "the path is told from the supply round and back"
    assert finding.where[0].line == line_of(bench, "S1:14 W1:BU K1-X1:3")
    cure = next(r for r in finding.remedies if r.proven)
    assert "K1-X1:4" in cure.text
    # held by 1.5 times the setting of the branch; source: electronic protection data
    assert finding.numbers[0].value == pytest.approx(3.0, abs=0.1)


def test_a_short_no_switch_can_open(bench):
    verdict = bench.cell(
        "F1: {part: fuse-glass-t, rated: 1 A}\nX1: terminal-block-4",
        "P F1:1\nF1:2 X1:1\nM X1:2",
    )
    assert verdict.codes[0] in {"F201", "F202"}
    assert "in every state" in verdict.told()[0]


def reversed_relay(bench, part, plus, minus, **kwargs):
    return bench.cell(
        f"K1: output-card-8-0a5\nK5: {part}",
        f"P K1:L+\nM K1:M\nK1:1 K5:{plus}\nM K5:{minus}",
        "run: {channel: K1.O1, drives: K5}",
        **kwargs,
    )


def test_a_relay_with_its_diode_the_wrong_way_round(bench):
    reversed_relay(bench, "relay-2k2-diode", "A1", "A2").works("run")
    verdict = reversed_relay(bench, "relay-2k2-diode", "A2", "A1", remedies=True)
    assert verdict.codes == ["F203"]
    finding = verdict.finding("F203")
    assert "K5" in finding.message and "wrong way round" in finding.message
    assert "K1.O1 on" in finding.message
    cure = next(r for r in finding.remedies if r.proven)
    assert "exchange" in cure.text and "K5" in cure.text


def test_a_relay_without_diode_has_no_wrong_way_round(bench):
    verdict = reversed_relay(bench, "relay-650-tvs-2co", "A2", "A1")
    verdict.works("run")


# -- coils -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("valve", "items", "joins", "bare"),
    [
        ("valve-2w3-bare", "", "", True),
        ("valve-2w3-bare", "R1: suppressor-diode", "Q1:1 R1:+\nQ1:2 R1:-", False),
        ("valve-2w3-bare", "R1: suppressor-tvs", "Q1:1 R1:1\nQ1:2 R1:2", False),
        ("valve-2w3-bare", "R1: suppressor-zener-diode", "Q1:1 R1:+\nQ1:2 R1:-", False),
        ("valve-2w3-bare", "R1: diode", "Q1:1 R1:K\nQ1:2 R1:A", False),
        ("valve-2w3-diode", "", "", False),
        ("valve-4w5-din-tvs", "", "", False),
        # a lamp in the plug takes no current backwards
        ("valve-2w3-bare", "R1: suppressor-led", "Q1:1 R1:+\nQ1:2 R1:-", True),
    ],
)
def test_a_coil_on_a_semiconductor_output(bench, valve, items, joins, bare):
    verdict = bench.cell(
        f"K1: output-card-8-0a5\nQ1: {valve}\n{items}",
        f"P K1:L+\nM K1:M\nK1:1 Q1:1\nM Q1:2\n{joins}",
        "vent: {channel: K1.O1, drives: Q1}",
    )
    assert ("F304" in verdict.codes) == bare, verdict.told()
    if bare:
        finding = verdict.finding("F304")
        assert "suppressor" not in finding.message  # it has none that could be cut off
        # 24 V over 250 Ω
        assert finding.numbers[0].value == pytest.approx(0.096, abs=0.001)
        assert finding.place == "Q1"
    else:
        verdict.works("vent")


def test_a_suppressor_behind_a_switch_that_opens_is_none(bench):
    # S1 between output and coil; the diode is on the output's side of it
    def valve(joins):
        return bench.cell(
            "K1: output-card-8-0a5\nQ1: valve-2w3-bare\nR1: suppressor-diode\nS1: pushbutton-1nc",
            f"P K1:L+\nM K1:M\nK1:1 S1:11\nS1:12 Q1:1\nM Q1:2\n{joins}",
            "vent: {channel: K1.O1, drives: Q1}",
        )

    behind = valve("K1:1 R1:+\nM R1:-")
    assert "F304" in behind.codes, behind.told()
    assert "S1 pressed" in behind.finding("F304").message
    at_coil = valve("Q1:1 R1:+\nM R1:-")
    assert "F304" not in at_coil.codes, at_coil.told()


def test_a_suppressor_the_wrong_way_round_is_a_short(bench):
    verdict = bench.cell(
        "K1: output-card-8-0a5\nQ1: valve-2w3-bare\nR1: suppressor-diode",
        "P K1:L+\nM K1:M\nK1:1 Q1:1\nM Q1:2\nQ1:1 R1:-\nQ1:2 R1:+",
        "vent: {channel: K1.O1, drives: Q1}",
        remedies=True,
    )
    assert "F203" in verdict.codes
    finding = verdict.finding("F203")
    assert finding.place == "R1"
    assert proven(finding)


# -- loads and limits --------------------------------------------------------------------------


def test_a_branch_overloaded_with_everything_on(bench):
    # three horns of 58 Ω ± 10 %: 24.4 V / 52.2 Ω = 0.47 A each, 1.4 A, branch 1 A
    verdict = bench.cell(
        "F1: {part: electronic-breaker-1ch, set: 1 A}\nK1: output-card-8-0a5\n"
        "P1: holding-magnet-10w\nP2: holding-magnet-10w\nP3: holding-magnet-10w",
        "P F1:in+\nM F1:in-\nF1:out K1:L+\nM K1:M\n"
        "K1:1 P1:1\nM P1:2\nK1:2 P2:1\nM P2:2\nK1:3 P3:1\nM P3:2",
        "a: {channel: K1.O1, drives: P1}\n"
        "b: {channel: K1.O2, drives: P2}\n"
        "c: {channel: K1.O3, drives: P3}",
    )
    finding = verdict.finding("F204")
    assert "F1" in finding.message
    high = {q.name: q.value for q in finding.numbers}["highest"]
    assert high == pytest.approx(3 * 24.4 / 52.2 + 0.04, rel=0.05)


def test_an_output_overloaded_by_one_load(bench):
    # 115 Ω: 0.21 A on an output for 0.1 A
    verdict = bench.cell(
        "K1: output-card-8-0a1\nP1: lamp-filament-5w",
        "P K1:L+\nM K1:M\nK1:1 P1:X1\nM P1:X2",
        "light: {channel: K1.O1, drives: P1}",
    )
    assert verdict.codes[0] in {"F202", "F204"}
    assert "K1" in verdict.told()[0]


def test_an_input_above_its_voltage_from_two_supplies_in_series(bench):
    # T2 stands on top of T1: 48 V on an input for 30 V
    verdict = bench.cell(
        "S1: pushbutton-1no-gold\nK1: input-card-16\nT2: supply-24v-5a-floating",
        "P T2:-\nT2:+ S1:13\nS1:14 K1:1\nM K1:COM",
        "told: {channel: K1.I1, on: S1 pressed}",
    )
    finding = verdict.finding("F205")
    assert "stands 30 V" in finding.message
    high = {q.name: q.value for q in finding.numbers}["on level highest"]
    assert high == pytest.approx(2 * 24.4, abs=0.1)


def test_a_lamp_that_glows_from_leakage_alone(bench):
    # 0.5 mA of leakage where an LED shows from 0.05 mA
    verdict = bench.cell(
        "K1: output-card-8-0a5\nP1: lamp-led-24v",
        "P K1:L+\nM K1:M\nK1:1 P1:X1\nM P1:X2",
        "light: {channel: K1.O1, drives: P1}",
        remedies=True,
    )
    assert verdict.codes == ["F305"]
    finding = verdict.finding("F305")
    assert "glow" in finding.message and "0.50 mA" in finding.message
    assert finding.severity is Severity.WARNING
    assert proven(finding)


def test_a_load_that_leakage_holds_on(bench):
    # 1 mA through an input of 4.7 kΩ ± 10 % as load: 5.2 V, off needs 5 V or less
    verdict = bench.cell(
        "K1: output-card-4-2a\nK2: controller-remote-input",
        "P K1:L+\nM K1:M\nK1:1 K2:IN\nM K2:0V",
        "ready: {channel: K1.O1, drives: K2}",
        remedies=True,
    )
    assert verdict.codes == ["F302"]
    assert verdict.signal("ready").off.v_high == pytest.approx(1e-3 * 5170, abs=WIRING_V)
    assert proven(verdict.finding("F302"))


def test_a_starved_device(bench):
    # 400 m of 2 x 0.5 mm2 are 31 Ω and more: 180 mA lose 5.6 V and more; alive above 19.2 V
    verdict = bench.cell(
        "B1: light-curtain-ossd-status\nK1: input-card-8-type-3",
        "P W1:BN B1-X:1\nM W1:BU B1-X:3\nB1-X:4 K1:1\nM K1:M",
        "clear: {channel: K1.I1, on: B1 clear}",
        cables="W1: {part: cable-2x0.5, length: 400 m}",
    )
    finding = verdict.finding("F303")
    assert "B1" in finding.message and "19.2 V" in finding.message
