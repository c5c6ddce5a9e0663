"""The tea-caddy cell: eight mistakes found on their lines and cured, and nothing left afterwards.

The mistakes and their figures are the data of the example; each is stated beside its test.
"""

from __future__ import annotations

import re
from functools import cache

import pytest

from ringout import run
from ringout.base import Severity
from ringout.findings.model import Finding, Judgement
from tests.contract.house import ROOT
from tests.physics.small_cells import Bench, proven

FIRST = ROOT / "examples" / "caddy-lidder" / "first-drawing.yaml"
CORRECTED = ROOT / "examples" / "caddy-lidder" / "corrected.yaml"
LINES = FIRST.read_text(encoding="utf-8").split("\n")


@cache
def first() -> Judgement:
    loaded, judgement = run.prove(str(FIRST))
    assert not loaded.problems
    assert judgement is not None
    return judgement


def found(code: str, place: str) -> Finding:
    hits = [f for f in first().findings if f.code == code and place in f.place]
    assert len(hits) == 1, [f"{f.code} {f.place}" for f in first().findings]
    return hits[0]


def points_at(finding: Finding, text: str) -> None:
    """Check that the first place of a finding is on the line that holds a text."""
    line = LINES[finding.where[0].line - 1]
    assert text in re.sub(r"\s+", " ", line), line
    assert finding.where[0].column <= len(line)


def test_1_a_button_across_pins_1_and_3_is_a_dead_short():
    finding = found("F201", "S2")
    points_at(finding, "S2:12 W2:BU K1-X2:3")
    assert "S2 released" in finding.message  # break contact: shorted until somebody presses
    path = finding.message.partition("Path: ")[2]
    words = ["T1", "F1.branch1", "W2:BN", "S2", "W2:BU"]
    assert [path.index(w) for w in words] == sorted(path.index(w) for w in words)
    assert any("K1-X2:4" in text for text in proven(finding))


def test_2_a_signal_named_as_if_channels_were_consecutive():
    finding = found("F107", "K1.I4")
    points_at(finding, "lid_on_cup: {channel: K1.I4")
    assert "K1.I3" in proven(finding)[0]
    # channel 11 is the dark output: inverted, so no cure that keeps the meaning names it first
    assert "K1.I11" not in proven(finding)[0]


def test_3_a_two_wire_sensor_between_off_and_on():
    finding = found("F103", "K2.I3")
    points_at(finding, "magazine_low: {channel: K2.I3")
    numbers = {q.name: q.value for q in finding.numbers}
    # 1.2 mA through 5.6 kΩ + 10 % = 7.4 V; off needs 5 V (iec-61131-2 Type 1)
    assert numbers["off level highest"] == pytest.approx(7.4, abs=0.1)
    assert numbers["off limit"] == pytest.approx(5.0, abs=0.05)
    cures = proven(finding)
    assert any("kΩ" in text and "across the input" in text for text in cures)
    cure = next(r for r in finding.remedies if r.proven and "kΩ" in r.text)
    ohm = float(re.search(r"([\d.]+) kΩ", cure.text)[1]) * 1e3
    # worked by hand: 6.16 kΩ parallel to R must stay under 5 V at 1.2 mA: R below 12.9 kΩ; and
    # 3.5 to 5.5 V drop must leave 15 V at the input: any R above 1 kΩ does
    assert 1e3 < ohm < 1 / (1.2e-3 / 5.0 - 1 / 6160)
    margin = next(m for m in cure.margins if m.signal == "magazine_low")
    assert margin.off_after_v == pytest.approx(5.0 - 1.2e-3 / (1 / 6160 + 1 / ohm), abs=0.25)
    assert margin.on_after_v > 0


def test_3_off_level_at_nominal_input_resistance(tmp_path):
    # 1.2 mA x 5.6 kΩ = 6.7 V: the same block with inputs of exactly 5.6 kΩ
    bench = Bench(tmp_path)
    library = ROOT / "src" / "ringout" / "cell" / "library" / "controller"
    text = (library / "io-block-8-inputs.yaml").read_text(encoding="utf-8")
    assert "5.6 kΩ ± 10 %" in text
    bench.part("io-block-8-inputs", text.replace("5.6 kΩ ± 10 %", "5.6 kΩ"))
    verdict = bench.text(FIRST.read_text(encoding="utf-8"))
    off = verdict.signal("magazine_low").off
    assert off.v_high == pytest.approx(6.7, abs=0.1)


def test_4_a_relay_with_its_diode_the_wrong_way_round():
    finding = found("F203", "K5")
    points_at(finding, "K5:A1")
    assert "wrong way round" in finding.message
    assert any("exchange" in text for text in proven(finding))


def test_5_a_bare_valve_on_a_semiconductor_output():
    finding = found("F304", "Q2")
    points_at(finding, "Q2: {part: valve-2w3-bare")
    assert any("diode" in text for text in proven(finding))


def test_6_a_replacement_of_the_npn_kind():
    finding = found("F101", "K1.I6")
    assert "never comes on" in finding.message
    line = next(i for i, text in enumerate(LINES, 1) if text.strip().startswith("B1: {part: induc"))
    assert line in {span.line for span in finding.where}
    assert any("inductive-pnp-no" in text for text in proven(finding))


def test_7_a_long_thin_feed_on_the_4_a_branch():
    finding = next(f for f in first().findings if f.code in {"F501", "F502"})
    points_at(finding, "W33: {part: cable-2x0.5, length: 60 m}")
    assert "F1.branch4" in finding.message
    # the largest length and the protection that would trip
    texts = " / ".join(proven(finding))
    assert re.search(r"\b\d+(\.\d+)? m\b", texts), texts
    assert "F1.branch4" in texts


def test_7_the_largest_length_is_right(tmp_path):
    finding = next(f for f in first().findings if f.code in {"F501", "F502"})
    text = next(t for t in proven(finding) if re.search(r"up to \d+ m", t))
    length_m = int(re.search(r"up to (\d+) m", text)[1])
    amps = re.search(r"to (\d+(?:\.\d+)?) A", text)[1]
    bench = Bench(tmp_path)
    cell = FIRST.read_text(encoding="utf-8").replace(
        "[2 A, 2 A, 1 A, 4 A]", f"[2 A, 2 A, 1 A, {amps} A]"
    )

    def late(metres):
        verdict = bench.text(cell.replace("length: 60 m", f"length: {metres} m"))
        return {"F501", "F502"} & set(verdict.codes)

    assert not late(length_m)
    assert late(length_m + 2)


def test_8_a_filter_shorter_than_the_test_pulse():
    finding = found("F601", "K1.I7")
    points_at(finding, "filter: 0.1 ms")
    assert "300 us" in finding.message
    assert any("3 ms" in text for text in proven(finding))


def test_a_silver_contact_below_its_comfort_is_a_warning():
    finding = found("F701", "S2")
    assert finding.severity is Severity.WARNING
    points_at(finding, "S2: {part: pushbutton-1nc")
    assert any("gold" in text for text in proven(finding))


def test_nothing_else_is_called_wrong():
    # eight mistakes, S2's contact, and B6 at 2.9 mA where it wants 3 mA
    serious = [f for f in first().findings if f.severity is not Severity.NOTE]
    assert len(serious) <= 10, [f"{f.code} {f.place}" for f in serious]
    for finding in serious:
        assert proven(finding), f"{finding.code} {finding.place} has no proven cure"


def test_what_is_right_in_the_first_drawing_is_called_right():
    wrong = {"finish_cycle", "lid_on_cup", "caddy_at_stop", "magazine_low", "conveyor_run"}
    for signal in first().signals:
        assert (signal.verdict == "works") == (signal.name not in wrong), signal


def test_a_forgotten_0_v_feed_of_a_block_is_named_and_nothing_else_blamed(tmp_path):
    # K2 has its 0 V by W33:BU alone; R1 loads an input of it, and feeds nothing. Common practice.
    text = CORRECTED.read_text(encoding="utf-8")
    missing = "  - F1:m3    W33:BU  K2-XS:2\n"
    assert missing in text
    (tmp_path / "cell.yaml").write_text(text.replace(missing, ""), encoding="utf-8")
    _, verdict = run.prove(str(tmp_path / "cell.yaml"), remedies=False)
    told = {(f.code, f.place) for f in verdict.findings if f.severity is Severity.ERROR}
    assert told == {("F401", "K2-XS:2")}
    # the door's input is dead with the block, so what the file itself expects of it fails too
    expected = next(f for f in verdict.findings if f.code == "F901")
    assert expected.place == "signal door_closed is on while S4 closed"
    assert "F401" in expected.message


def test_the_corrected_cell_is_clean():
    loaded, judgement = run.prove(str(CORRECTED))
    assert not loaded.problems
    assert judgement is not None
    assert [f.code for f in judgement.findings if f.severity is not Severity.NOTE] == []
    assert judgement.not_run == ()
    assert judgement.worst_residual_a <= 1e-9
    assert len(judgement.signals) == 19
    for signal in judgement.signals:
        assert signal.verdict == "works", signal
        assert signal.on is not None and signal.on.proven
        assert signal.off is not None and signal.off.proven
    # and it still says what must not be forgotten
    assert {f.code for f in judgement.findings} >= {"F801"}


@pytest.mark.parametrize(
    ("edits", "signal"),
    [
        # without the resistor the magazine switch hangs between off and on again
        ([("  - R1-B  K2-X2".replace("R1-B  ", "R1-B     "), ""),
          ("  - B6       W16     R1-A", "  - B6       W16     K2-X2")], "magazine_low"),
        ([("inductive-pnp-no, note: caddy", "inductive-npn-no, note: caddy")], "caddy_at_stop"),
        ([("{channel: K1.I3, on: B2 target}", "{channel: K1.I4, on: B2 target}")], "lid_on_cup"),
        ([("S2:12    W2:BK   K1-X2:4", "S2:12    W2:BU   K1-X2:3")], "finish_cycle"),
    ],
)  # fmt: skip
def test_undoing_a_cure_brings_the_mistake_back(tmp_path, edits, signal):
    text = CORRECTED.read_text(encoding="utf-8")
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    verdict = Bench(tmp_path).text(text)
    assert verdict.signal(signal).verdict == "fails"
    others = [s for s in verdict.judgement.signals if s.name != signal and s.kind == "input"]
    assert all(s.verdict == "works" for s in others), [s for s in others if s.verdict != "works"]
