"""Protection, timing, contacts, expectations and sneak paths: what a technician expects."""

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


# -- far shorts, filters, contacts, currents ---------------------------------------------------


def far_end(bench, protection, length_m, area="0.5", **kwargs):
    return bench.cell(
        f"F1: {{part: electronic-breaker-1ch, set: {protection}}}\nK1: io-block-8-inputs\n"
        "S1: pushbutton-1no-gold",
        "P F1:in+\nM F1:in-\nF1:out W1:BN K1-XS:1\nF1:m W1:BU K1-XS:2\n"
        "K1-X1:1 S1:13\nS1:14 K1-X1:4",
        "told: {channel: K1.I1, on: S1 pressed}",
        cables=f"W1: {{part: cable-2x{area}, length: {length_m} m}}",
        **kwargs,
    )


def test_a_far_short_that_opens_at_once(bench):
    far_end(bench, "2 A", 20).works("told")


def test_a_far_short_that_opens_late(bench):
    # 60 m of 2 x 0.5 mm2: 39 Ω/km x 120 m = 4.7 Ω, about 5 A; 4 A set, at once from 5.9 A
    verdict = far_end(bench, "4 A", 60, remedies=True)
    assert verdict.codes == ["F502"]
    finding = verdict.finding("F502")
    assert finding.severity is Severity.WARNING
    low = {q.name: q.value for q in finding.numbers}["short current lowest"]
    # iec-60228 class 5: 39.0 Ω/km at 20 °C, x (1 + 0.00393 x 20 K) at 40 °C
    assert low == pytest.approx(23.8 / (39.0e-3 * 120 * 1.079 + 0.1), rel=0.05)
    cure = next(r for r in finding.remedies if r.proven)
    assert "2 A" in cure.text or " m" in cure.text


def test_a_far_short_that_may_never_open(bench):
    # 120 m: 2.4 A where 4 A are needed
    verdict = far_end(bench, "4 A", 120, remedies=True)
    finding = verdict.finding("F501")
    assert finding.severity is Severity.ERROR
    assert "may never open" in finding.message
    assert proven(finding)


def curtain(bench, extra):
    return bench.cell(
        "B1: light-curtain-ossd-status\nK1: input-card-8-type-3",
        PNP,
        f"clear: {{channel: K1.I1, on: B1 clear{extra}}}",
        remedies=True,
    )


def test_an_ossd_on_an_ordinary_input_is_status_only(bench):
    verdict = curtain(bench, "")
    assert verdict.codes == []  # 3 ms hides pulses of 0.3 ms
    note = verdict.finding("F801")
    assert "status only" in note.message
    assert "never" in note.message
    assert note.severity is Severity.NOTE
    assert verdict.signal("clear").verdict == "works"


def test_a_filter_shorter_than_the_test_pulse(bench):
    verdict = curtain(bench, ", filter: 0.1 ms")
    assert verdict.codes == ["F601"]
    finding = verdict.finding("F601")
    assert "300 us" in finding.message and "0.1 ms" in finding.message
    assert proven(finding)


def test_a_fast_input_counts_the_bounce_of_a_contact(bench):
    verdict = bench.cell(
        "S1: pushbutton-1no-gold\nK1: input-card-8-fast",
        "P S1:13\nS1:14 K1:1\nM K1:M",
        "told: {channel: K1.I1, on: S1 pressed}",
    )
    assert verdict.codes == ["F602"]
    assert "bounces" in verdict.finding("F602").message


def test_a_pulse_too_short_for_filter_and_scan(bench):
    # filter 3 ms + scan 4 ms: surely seen from 7 ms
    def shortest(text):
        return bench.cell(B1_K1, PNP, f"seen: {{channel: K1.I1, on: B1 target, shortest: {text}}}")

    finding = shortest("5 ms").finding("F603")
    assert {q.name: q.value for q in finding.numbers}["surely seen from"] == pytest.approx(7.0)
    shortest("8 ms").works("seen")


def test_silver_at_three_milliamperes(bench):
    def button(part):
        return bench.cell(
            f"S1: {part}\nK1: input-card-8-type-3",
            "P S1:11\nS1:12 K1:1\nM K1:M",
            "told: {channel: K1.I1, on: S1 released}",
            remedies=True,
        )

    verdict = button("pushbutton-1nc")
    assert verdict.codes == ["F701"]
    finding = verdict.finding("F701")
    assert "silver" in finding.message and "5 mA" in finding.message
    assert finding.numbers[0].value == pytest.approx(2.55, abs=0.5)
    assert proven(finding)
    button("pushbutton-1nc-gold").works("told")


def test_a_contact_that_is_not_wired_wants_no_current(bench):
    """21-22 of the switch is unused; 13-14 alone carries the input's current."""
    verdict = bench.cell(
        "K1: input-card-8-type-3\nB1: limit-switch-1no1nc",
        "P B1:13\nB1:14 K1:1\nM K1:M",
        "seen: {channel: K1.I1, on: B1 operated}",
    )
    assert verdict.codes == ["F701"], verdict.told()
    assert verdict.finding("F701").get("element") == "B1.make"


def test_least_current_of_a_two_wire_device(bench):
    verdict = bench.cell(
        "B1: reed-2wire-led\nK1: robot-tool-io",
        "P K1:+\nM K1:-\nP B1-X:1\nB1-X:4 K1:I1",
        "seen: {channel: K1.I1, on: B1 target}",
    )
    finding = verdict.finding("F702")
    numbers = {q.name: q.value for q in finding.numbers}
    # (23.8 - 3.5) V over 47 kΩ + 5 % = 0.41 mA, it wants 2 mA
    assert numbers["least current"] == pytest.approx(0.41, abs=0.02)


# -- what the file itself says -----------------------------------------------------------------


def test_expectations_that_hold_and_that_do_not(bench):
    def expecting(line):
        return bench.cell(B1_K1, PNP, SEEN, more=f"expect:\n  - {line}\n")

    for good in (
        "K1:1 to K1:M is 21.5..24.5 V while B1 target",
        "K1:1 to K1:M is 0..1 V while B1 clear",
        "signal seen is on while B1 target",
        "signal seen is off while B1 clear",
    ):
        assert expecting(good).codes == [], good
    for bad in (
        "K1:1 to K1:M is 23..24.5 V while B1 target",
        "K1:1 to K1:M is 21.5..24.5 V",
        "signal seen is on while B1 clear",
    ):
        verdict = expecting(bad)
        assert verdict.codes == ["F901"], (bad, verdict.told())
        finding = verdict.finding("F901")
        assert finding.where[0].line == line_of(bench, bad)
        assert bad in finding.message


def test_expected_current_of_a_core(bench):
    def expecting(line):
        return bench.cell(
            "S1: pushbutton-1no-gold\nK1: input-card-8-type-3",
            "P S1:13\nS1:14 W1:BN K1:1\nM K1:M",
            "told: {channel: K1.I1, on: S1 pressed}",
            cables="W1: {part: cable-2x0.5, length: 5 m}",
            more=f"expect:\n  - {line}\n",
        )

    assert expecting("current through W1:BN is 2..3.1 mA while S1 pressed").codes == []
    assert expecting("current through W1:BN is 4..5 mA while S1 pressed").codes == ["F901"]


def test_expected_current_of_a_core_between_two_branches(bench):
    """A pull-up on a sinking output: (24 V - 0.3..2 V) / 4.7 kOhm +- 5 % is 4.4 to 5.4 mA.

    The core itself is 8 mOhm: its voltage tells nothing, the resistor's does.
    """

    def expecting(line):
        return bench.cell(
            "R1: {part: resistor, ohm: 4.7 kΩ ± 5 %}\nX3: terminal-block-4\nB1: inductive-npn-no\n"
            "K1: input-card-8-15k",
            "P W3:1 R1:1\nR1:2 X3:3\nP B1-X:1\nM B1-X:3\nB1-X:4 W1:1 X3:1\nX3:2 K1:1\nM K1:COM",
            cables="W3: {part: wire-0.5, length: 0.2 m}\nW1: {part: wire-0.5, length: 2 m}",
            more=f"expect:\n  - {line}\n",
        )

    assert expecting("current through W3:1 is 4.2..5.6 mA while B1 target").codes == []
    told = expecting("current through W3:1 is 4.2..4.5 mA while B1 target").finding("F901")
    low, high = (q.value for q in told.numbers)
    assert 4.2 <= low <= 4.5
    assert 5.3 <= high <= 5.6


def test_an_expected_current_that_may_be_nothing_is_told_from_0(bench):
    """At rest the leak of the output and of the input go either way: 0, not the smaller end."""
    verdict = bench.cell(
        B1_K1,
        PNP.replace("B1-X:4 K1:1", "B1-X:4 W1:1 K1:1"),
        SEEN,
        cables="W1: {part: wire-0.5, length: 2 m}",
        more="expect:\n  - current through W1:1 is 3..4 mA while B1 clear\n",
    )
    low, high = (q.value for q in verdict.finding("F901").numbers)
    assert 0.0 <= low <= 0.05
    assert high <= 0.2  # "up to 0.1 mA" of the sensor and what the bound adds


def test_an_accepted_finding_is_told_as_a_note_with_its_reason(bench):
    def accepting(more):
        return bench.cell(
            "S1: pushbutton-1nc\nK1: input-card-8-type-3",
            "P S1:11\nS1:12 K1:1\nM K1:M",
            "told: {channel: K1.I1, on: S1 released}",
            more=more,
        )

    verdict = accepting("accept:\n  - F701 on S1 because pressed every minute\n")
    assert verdict.codes == []
    note = verdict.finding("F701")
    assert note.severity is Severity.NOTE
    assert "pressed every minute" in note.message
    other = accepting("accept:\n  - F701 on S9 because another one\n")
    assert other.codes == ["F701"]


# -- relays and things that settle -------------------------------------------------------------


def test_a_relay_that_holds_but_does_not_pull_in(bench):
    # coil 2.2 kΩ behind 1.5 kΩ: 24.1 x 2.2 / 3.7 = 14.3 V; pulls in at 16.8 V, releases at 2.4 V
    verdict = bench.cell(
        "K1: output-card-8-0a5\nK5: relay-2k2-diode\nR1: {part: resistor, ohm: 1.5 kΩ ± 1 %}",
        "P K1:L+\nM K1:M\nK1:1 R1:1\nR1:2 K5:A1\nM K5:A2",
        "run: {channel: K1.O1, drives: K5}",
    )
    assert verdict.codes == ["F301"]
    on = verdict.signal("run").on
    assert on.v_typ == pytest.approx((24.1 - 0.3) * 2.2 / 3.7, abs=WIRING_V)
    assert "16.8 V" in verdict.finding("F301").message


def test_a_relay_that_feeds_itself_through_its_own_break_contact_chatters(bench):
    verdict = bench.cell(
        "K5: relay-2k2-diode\nS1: pushbutton-1no",
        "P S1:13\nS1:14 K5:11\nK5:12 K5:A1\nM K5:A2",
    )
    finding = verdict.finding("C103")
    assert "chatters" in finding.message and "S1 pressed" in finding.message


def test_a_relay_that_seals_itself_in_is_no_error(bench):
    # start button parallel to its own make contact, stop button in line: a seal-in circuit
    verdict = bench.cell(
        "K5: relay-2k2-diode\nS1: pushbutton-1no\nS2: pushbutton-1nc\nX1: terminal-block-4",
        "P S2:11\nS2:12 X1:1\nX1:2 S1:13\nX1:3 K5:11\nS1:14 K5:A1\nK5:14 K5:A1\nM K5:A2",
    )
    assert verdict.codes == []


# -- sneak paths and parallels -----------------------------------------------------------------


def test_break_contacts_in_parallel_do_not_stop(bench):
    # both have to be pressed before the line opens; pressing one does nothing
    verdict = bench.cell(
        "S1: pushbutton-1nc-gold\nS2: pushbutton-1nc-gold\nK1: input-card-8-type-3\n"
        "X1: terminal-block-4",
        "P S1:11\nP S2:11\nS1:12 X1:1\nS2:12 X1:2\nX1:3 K1:1\nM K1:M",
        "run: {channel: K1.I1, on: S1 released and S2 released}",
    )
    assert verdict.codes == ["F104"]
    message = verdict.finding("F104").message
    assert ("S1 pressed" in message) != ("S2 pressed" in message), "one alone is the failing state"
    series = bench.cell(
        "S1: pushbutton-1nc-gold\nS2: pushbutton-1nc-gold\nK1: input-card-8-type-3",
        "P S1:11\nS1:12 S2:11\nS2:12 K1:1\nM K1:M",
        "run: {channel: K1.I1, on: S1 released and S2 released}",
    )
    series.works("run")


def test_push_pull_outputs_in_parallel_fight(bench):
    # one drives high while the other drives low: held by the outputs' own limit of 150 to 300 mA
    verdict = bench.cell(
        "B1: inductive-push-pull-no\nB2: inductive-push-pull-no\nK1: input-card-8-type-3\n"
        "X1: terminal-block-4",
        "P B1-X:1\nM B1-X:3\nP B2-X:1\nM B2-X:3\nB1-X:4 X1:1\nB2-X:4 X1:2\nX1:3 K1:1\nM K1:M",
        "any: {channel: K1.I1, on: B1 target or B2 target}",
    )
    assert verdict.codes, "two outputs against each other must not go unnoticed"
    assert verdict.codes[0] in {"F201", "F202"}
    assert "B1" in verdict.told()[0] and "B2" in verdict.told()[0]


def test_pnp_outputs_in_parallel_are_an_or(bench):
    verdict = bench.cell(
        "B1: inductive-pnp-no\nB2: inductive-pnp-no\nK1: input-card-8-type-3\nX1: terminal-block-4",
        "P B1-X:1\nM B1-X:3\nP B2-X:1\nM B2-X:3\nB1-X:4 X1:1\nB2-X:4 X1:2\nX1:3 K1:1\nM K1:M",
        "any: {channel: K1.I1, on: B1 target or B2 target}",
    )
    verdict.works("any")


def test_two_relays_with_a_shared_return_lost_come_on_in_series(bench):
    # sneak circuit: the common return of two coils is open; neither works
    verdict = bench.cell(
        "K1: output-card-8-0a5\nK5: relay-2k2\nK6: relay-2k2\nX1: terminal-block-4\n"
        "R1: suppressor-tvs\nR2: suppressor-tvs",
        "P K1:L+\nM K1:M\nK1:1 K5:A1\nK1:2 K6:A1\nK5:A2 X1:1\nK6:A2 X1:2\n"
        "K5:A1 R1:1\nK5:A2 R1:2\nK6:A1 R2:1\nK6:A2 R2:2",
        "a: {channel: K1.O1, drives: K5}\nb: {channel: K1.O2, drives: K6}",
    )
    assert verdict.signal("a").verdict == "fails"
    assert verdict.signal("b").verdict == "fails"
    assert {"F301"} <= set(verdict.codes)


# -- loads that no signal drives ------------------------------------------------------------------


def relay_on_sensor(bench, relay, joins=""):
    return bench.cell(
        f"B1: capacitive-2wire-no\nK5: {relay}", f"P B1:BN\nB1:BK K5:A1\nM K5:A2{joins}"
    )


def test_a_relay_that_leakage_may_hold_is_told(bench):
    """1 to 2.5 mA of rest current through 2.2 kOhm + 10 % are 6 V at most; it lets go at 2.4 V."""
    finding = relay_on_sensor(bench, "relay-2k2-diode").finding("F302")
    assert finding.place == "K5"
    assert "B1 clear" in finding.message
    left, limit = (q.value for q in finding.numbers)
    assert limit == pytest.approx(2.4)
    assert 3.0 <= left <= 6.2


def test_a_relay_on_a_plain_contact_is_told_nothing(bench):
    verdict = bench.cell("S1: pushbutton-1no\nK5: relay-2k2-diode", "P S1:13\nS1:14 K5:A1\nM K5:A2")
    assert verdict.codes == [], verdict.told()
