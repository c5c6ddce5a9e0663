"""The mistakes beginners make most, each as a cell: the tool says it in a technician's words."""

from __future__ import annotations

import pytest

from ringout import run
from tests.physics.small_cells import proven, small_cell

WIRING_V = 0.05
GOLD = "S1: pushbutton-1no-gold\nK1: input-card-16"


@pytest.fixture
def reading(tmp_path):
    def read(a, b, items, joins, state=None, mode="volts", lifted=(), **kwargs):
        path = tmp_path / "metered.yaml"
        path.write_text(small_cell(items, joins, **kwargs), encoding="utf-8")
        loaded = run.load(str(path))
        assert loaded.cell is not None and not loaded.problems, loaded.problems
        return run.meter(loaded.cell, a, b, state=state or {}, mode=mode, lifted=lifted)

    return read


def place(cell_word):
    from ringout.cell.model import Terminal

    item, _, pin = cell_word.partition(":")
    name, _, socket = item.partition("-")
    return Terminal(name, socket, pin)


def test_a_common_tied_to_the_wrong_pole(bench):
    # COM at +24 V and a contact to +24 V: no voltage across the input in any state
    verdict = bench.cell(
        GOLD,
        "P S1:13\nS1:14 K1:1\nP K1:COM",
        "told: {channel: K1.I1, on: S1 pressed}",
        remedies=True,
    )
    assert verdict.signal("told").verdict == "fails"
    finding = verdict.judgement.findings[0]
    words = finding.message + " ".join(proven(finding))
    assert "COM" in words, "the cure is at the common, so it has to be named"
    good = bench.cell(
        GOLD, "P S1:13\nS1:14 K1:1\nM K1:COM", "told: {channel: K1.I1, on: S1 pressed}"
    )
    good.works("told")


def test_all_poles_of_two_supplies_joined(bench):
    verdict = bench.cell(
        GOLD + "\nT2: supply-24v-5a-floating",
        "P T2:+\nM T2:-\nP S1:13\nS1:14 K1:1\nM K1:COM",
        "told: {channel: K1.I1, on: S1 pressed}",
    )
    assert "F404" in verdict.codes
    # neither can be switched off any more
    assert {f.place for f in verdict.judgement.findings if f.code == "F404"} == {"T1", "T2"}


def test_one_signal_wire_between_two_earthed_machines(bench):
    # T2 is the other machine's supply; both have their 0 V on earth, and only earth joins them
    verdict = bench.cell(
        GOLD + "\nT2: supply-24v-5a\nX93: terminal-block-pe",
        "T1:PE X93:1\nT2:PE X93:2\nT2:+ S1:13\nS1:14 K1:1\nM K1:COM",
        "told: {channel: K1.I1, on: S1 pressed}",
        remedies=True,
    )
    assert {"F402", "F403"} & set(verdict.codes), verdict.told()
    story = " ".join(verdict.told())
    assert "earth" in story or "no common 0 V" in story


def two_wire(bench, extra_items, extra_joins, **kwargs):
    return bench.cell(
        f"B1: inductive-2wire-no\nK1: input-card-16\nX1: terminal-block-4\n{extra_items}",
        f"P B1-X:1\nB1-X:4 X1:1\nX1:2 K1:1\nM K1:COM\n{extra_joins}",
        "seen: {channel: K1.I1, on: B1 target}",
        **kwargs,
    )


def test_a_bleeder_across_the_sensor_makes_it_worse(bench):
    without = two_wire(bench, "", "")
    across = two_wire(bench, "R1: {part: resistor, ohm: 4.7 kΩ ± 5 %}", "P R1:1\nX1:3 R1:2")
    assert across.signal("seen").off.v_high > without.signal("seen").off.v_high + 5.0
    assert {"F103", "F104"} & set(across.codes)


def test_a_bleeder_from_supply_over_leakage_is_too_large(bench):
    # 24 V / 1.2 mA = 20 kΩ: 6.16 kΩ parallel to 22 kΩ at 1.2 mA leaves 5.8 V, off needs 5 V
    verdict = two_wire(
        bench, "R1: {part: resistor, ohm: 22 kΩ}", "X1:3 R1:1\nM R1:2", remedies=True
    )
    assert verdict.codes[0] == "F103"
    off = verdict.signal("seen").off
    assert off.v_high == pytest.approx(1.2e-3 / (1 / 6160 + 1 / 22000), abs=WIRING_V)


def test_the_right_bleeder_cures(bench):
    # 6.16 kΩ parallel to 4.7 kΩ + 5 %: 3.3 V at 1.2 mA
    verdict = two_wire(bench, "R1: {part: resistor, ohm: 4.7 kΩ ± 5 %}", "X1:3 R1:1\nM R1:2")
    verdict.works("seen")
    off = verdict.signal("seen").off
    assert off.v_high == pytest.approx(1.2e-3 / (1 / 6160 + 1 / 4935), abs=WIRING_V)


OUTPUT = ("K1: output-card-8-0a5\nX1: terminal-block-2", "P K1:L+\nM K1:M\nK1:1 X1:1")


def test_a_reading_without_load_means_nothing(reading):
    # an output that is off, read with 10 MΩ: its leakage of 0.05 mA holds nearly full voltage
    off = reading(place("K1:1"), place("K1:M"), *OUTPUT)
    assert off.high > 20.0
    assert "low-impedance" in off.why or "nothing firm" in off.why
    loaded = reading(place("K1:1"), place("K1:M"), *OUTPUT, mode="lowz")
    assert loaded.high < off.high
    assert loaded.value < 5.0


def test_a_sinking_output_reads_low_against_0_v_when_it_works(reading):
    items = "K1: output-card-8-npn\nQ1: valve-4w5-din-diode"
    joins = "P K1:L+\nM K1:M\nP Q1:1\nK1:1 Q1:2"
    on = reading(place("K1:1"), place("K1:M"), items, joins, {"K1.O1": "on"})
    off = reading(place("K1:1"), place("K1:M"), items, joins)
    # on: its own drop of 0.1 to 1 V; off: the supply through the coil
    assert on.low >= 0.1 - WIRING_V and on.high <= 1.0 + WIRING_V
    assert off.value == pytest.approx(24.1, abs=0.1)
    across = reading(place("Q1:1"), place("Q1:2"), items, joins, {"K1.O1": "on"})
    assert across.value == pytest.approx(24.1 - 0.3, abs=0.1)


def test_a_sensor_with_its_0_v_on_earth(bench):
    verdict = bench.cell(
        "B1: inductive-pnp-no\nK1: input-card-8-type-3\nX93: terminal-block-pe",
        "T1:PE X93:1\nP B1-X:1\nX93:2 B1-X:3\nB1-X:4 K1:1\nM K1:M",
        "seen: {channel: K1.I1, on: B1 target}",
    )
    finding = verdict.finding("F403")
    # its own 8 mA
    assert finding.numbers[0].value == pytest.approx(8.0, abs=0.5)
    assert "never a return" in finding.message


def fed_through(bench, protection, cable="cable-2x0.5", supply="supply-24v-5a", length=5, **kwargs):
    return bench.cell(
        f"F1: {protection}\nK1: io-block-8-inputs\nS1: pushbutton-1no-gold",
        "P F1:1\nF1:2 W1:BN K1-XS:1\nM W1:BU K1-XS:2\nK1-X1:1 S1:13\nS1:14 K1-X1:4",
        "told: {channel: K1.I1, on: S1 pressed}",
        cables=f"W1: {{part: {cable}, length: {length} m}}",
        supply=supply,
        **kwargs,
    )


def test_a_fuse_larger_than_the_supply_can_blow(bench):
    # 6.3 A glass fuse surely opens from 2.1 x 6.3 = 13 A (iec-60127-2); the supply gives 5.5 A
    verdict = fed_through(bench, "{part: fuse-glass-t, rated: 6.3 A}")
    finding = verdict.finding("F501")
    numbers = {q.name: q.value for q in finding.numbers}
    assert numbers["surely opens from"] == pytest.approx(13.2, abs=0.1)
    assert numbers["short current highest"] <= 5.5 + 0.05
    fed_through(bench, "{part: fuse-glass-f, rated: 0.5 A}").works("told")


def test_a_fuse_larger_than_the_cable_can_bear(bench):
    # 20 A supply, C16 breaker, 0.5 mm2 that bears less than 9 A (iec-60204-1, table 6)
    verdict = fed_through(
        bench, "{part: breaker-c, rated: 16 A}", supply="supply-24v-20a", length=30
    )
    assert "F503" in verdict.codes
    assert "does not protect W1" in verdict.finding("F503").message


def test_stop_contacts_in_parallel(bench):
    verdict = bench.cell(
        "S1: emergency-stop-2nc-1no\nK1: input-card-16\nX1: terminal-block-4",
        "P S1:11\nP S1:21\nS1:12 X1:1\nS1:22 X1:2\nX1:3 K1:1\nM K1:COM",
        "ready: {channel: K1.I1, on: S1 released}",
    )
    # both contacts open together, so the level is right; what must be said is: status only
    assert "F801" in {f.code for f in verdict.judgement.findings}
    assert "never" in verdict.finding("F801").message


def test_a_bridged_splitter_is_not_the_usual_one(bench):
    # inside it joins pins 2 and 4 of a leg: a complementary sensor's two outputs meet
    verdict = bench.cell(
        "K1: io-panel-16x16\nY1: m12-y-splitter-bridged\nB1: inductive-pnp-complementary",
        "P K1-XS:1\nM K1-XS:2\nP K1-XS:3\nM K1-XS:4\nB1 Y1-A\nY1-T W1 K1-X5",
        "seen: {channel: K1.I5, on: B1 target}",
        cables="W1: {part: cordset-m12-4, length: 4 m}",
    )
    assert verdict.codes == ["F104"]
    assert "never goes off" in verdict.told()[0]


def test_a_low_level_relay_module_on_a_high_side_output(bench):
    # the input's LED hangs on plus: on below 8 to 12 V at the terminal, a PNP output pulls it up
    bench.part(
        "relay-module-low-level",
        """\
        part: relay-module-low-level
        title: Relay module switched by pulling its input down
        family: relay
        letter: K
        terminals: {VCC: plus, GND: minus, IN: in}
        actors:
          armature: [released, energised]
        inside:
          own: {kind: load, from: plus, to: minus, current: 2 mA, knee: 5 V}
          control: {kind: coil, from: plus, to: in, ohm: 3.3 kΩ, pulls_in: 16 V, releases: 12 V,
                    inductance: 0 H, drives: energised}
        main: control
        """,
    )
    verdict = bench.cell(
        "K1: output-card-8-0a5\nK5: relay-module-low-level",
        "P K1:L+\nM K1:M\nP K5:VCC\nM K5:GND\nK1:1 K5:IN",
        "run: {channel: K1.O1, drives: K5}",
    )
    assert verdict.signal("run").verdict == "fails"
    assert "F301" in verdict.codes
    sinking = bench.cell(
        "K1: output-card-8-npn\nK5: relay-module-low-level",
        "P K1:L+\nM K1:M\nP K5:VCC\nM K5:GND\nK1:1 K5:IN",
        "run: {channel: K1.O1, drives: K5}",
    )
    sinking.works("run")


def test_5_v_logic_can_never_switch_it_off(bench):
    # 24.1 - 5 = 19 V stay on the input where it lets go below 12 V: only half switched
    bench.part(
        "supply-5v",
        """\
        part: supply-5v
        title: Logic supply
        family: supply
        letter: T
        terminals: {+: plus, "-": minus}
        actors:
          supply: [on, off]
        inside:
          output: {kind: source, from: plus, to: minus, volts: 5 V, ohm: 50 mΩ, limit: 1 A,
                   when: on, max: 0.8 A}
        """,
    )
    bench.part(
        "logic-output",
        """\
        part: logic-output
        title: Push-pull logic output
        family: controller
        letter: K
        terminals: {+: plus, "-": minus, O1: out}
        actors:
          O1: [off, on]
        inside:
          own: {kind: load, from: plus, to: minus, current: 50 mA, knee: 3 V}
          high: {kind: contact, from: plus, to: out, closed: 50 Ω, when: off}
          low: {kind: contact, from: out, to: minus, closed: 50 Ω, when: on}
        channels:
          O1: {kind: output, element: low}
        """,
    )
    bench.part(
        "sensed-by-led",
        """\
        part: sensed-by-led
        title: Optocoupler input hung on plus
        family: load
        letter: K
        terminals: {VCC: plus, IN: in}
        inside:
          control: {kind: resistance, from: plus, to: in, ohm: 3.3 kΩ, works_from: 16 V,
                    off_below: 12 V}
        main: control
        """,
    )
    verdict = bench.cell(
        "T2: supply-5v\nK1: logic-output\nK5: sensed-by-led",
        "M T2:-\nT2:+ K1:+\nM K1:-\nP K5:VCC\nK1:O1 K5:IN",
        "run: {channel: K1.O1, drives: K5}",
    )
    assert verdict.codes == ["F302"], verdict.told()
    assert verdict.signal("run").off.v_typ == pytest.approx(24.1 - 5.0, abs=0.4)


def test_a_power_contact_used_for_a_few_milliamperes(bench):
    verdict = bench.cell(
        "K2: output-card-8-0a5\nK5: relay-module-6mm\nK1: input-card-8-type-3",
        "P K2:L+\nM K2:M\nK2:1 K5:A1\nM K5:A2\nP K5:11\nK5:14 K1:1\nM K1:M",
        "run: {channel: K2.O1, drives: K5}\nrunning: {channel: K1.I1, on: K5 energised}",
    )
    finding = next(f for f in verdict.judgement.findings if f.code == "F701")
    assert "K5" in finding.message and "silver" in finding.message
    assert "10 mA" in finding.message
