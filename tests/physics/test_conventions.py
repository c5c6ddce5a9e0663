"""Every convention a technician meets: which pin, which polarity, which contact, which output."""

from __future__ import annotations

import pytest

from tests.physics.small_cells import proven

SUPPLY_LOW_V, SUPPLY_TYP_V, SUPPLY_HIGH_V = 23.8, 24.1, 24.4  # data of the supply part
WIRING_V = 0.05  # links and terminals of these cells are milliohms


# -- channel to pin ------------------------------------------------------------------------
# Source: the three numberings found on the market; common practice. A three-wire sensor has
# its signal on pin 4 (iec-60947-5-2).

PANELS = {
    # part, socket, channel on pin 4, channel on pin 2, feed
    "offset": ("io-panel-16x16", "X3", "I3", "I11"),
    "pin 4 first": ("io-block-8-inputs", "X3", "I5", "I6"),
    "pin 2 first": ("io-block-8-inputs-pin2-first", "X3", "I6", "I5"),
}
FEED = "P K1-XS:1\nM K1-XS:2\n"


def plugged(bench, panel, channel, sensor="inductive-pnp-no", on="B1 target", **kwargs):
    part, socket, _, _ = PANELS[panel]
    return bench.cell(
        f"K1: {part}\nB1: {sensor}",
        f"{FEED}B1 W1 K1-{socket}",
        f"seen: {{channel: K1.{channel}, on: {on}}}",
        cables="W1: {part: cordset-m12-4, length: 5 m}",
        **kwargs,
    )


@pytest.mark.parametrize("panel", PANELS)
def test_a_sensor_lands_on_the_channel_of_pin_4(bench, panel):
    verdict = plugged(bench, panel, PANELS[panel][2])
    verdict.works("seen")
    on = verdict.signal("seen").on
    # supply less the sensor's drop of 0.3 to 2 V
    assert on.v_low == pytest.approx(SUPPLY_LOW_V - 2.0, abs=0.2)
    assert on.v_high == pytest.approx(SUPPLY_HIGH_V - 0.3, abs=0.2)


@pytest.mark.parametrize(
    ("panel", "named"),
    [
        ("offset", "I4"),  # counted as if channels were consecutive by socket
        ("offset", "I11"),  # pin 2 for pin 4
        ("pin 4 first", "I3"),  # counted as if offset: socket 3 is channel 3
        ("pin 4 first", "I6"),
        ("pin 2 first", "I5"),  # counted as if pin 4 came first
        ("pin 2 first", "I3"),
    ],
)
def test_a_wrong_channel_name_is_told_and_cured_by_the_right_one(bench, panel, named):
    verdict = plugged(bench, panel, named, remedies=True)
    finding = verdict.finding("F107")
    assert f"K1.{named}" in finding.message
    right = PANELS[panel][2]
    cures = proven(finding)
    assert cures
    assert f"K1.{right}" in cures[0]
    remedy = next(r for r in finding.remedies if r.proven)
    assert any(f"K1.{right}" in new for _, new in remedy.edit)
    # the finding points at the channel in the file, which is what has to be changed
    line = finding.where[0].line
    text = next(bench.folder.glob("cell*.yaml")).read_text(encoding="utf-8").split("\n")
    assert text[line - 1][finding.where[0].column - 1 :].startswith(f"K1.{named}")


@pytest.mark.parametrize("panel", PANELS)
def test_complementary_outputs_stand_on_both_channels_of_a_socket(bench, panel):
    _, socket, pin4, pin2 = PANELS[panel]
    verdict = bench.cell(
        f"K1: {PANELS[panel][0]}\nB1: inductive-pnp-complementary",
        f"{FEED}B1 W1 K1-{socket}",
        f"""
        there: {{channel: K1.{pin4}, on: B1 target}}
        gone: {{channel: K1.{pin2}, on: B1 clear}}
        """,
        cables="W1: {part: cordset-m12-4, length: 5 m}",
    )
    verdict.works("there")
    verdict.works("gone")


@pytest.mark.parametrize("panel", PANELS)
def test_light_and_dark_exchanged_is_told_as_inverted(bench, panel):
    # light output (pin 4) is on with the target there, dark output (pin 2) with the beam clear
    _, _, pin4, pin2 = PANELS[panel]
    plugged(bench, panel, pin4, "photo-pnp-light-dark", "B1 target").works("seen")
    plugged(bench, panel, pin2, "photo-pnp-light-dark", "B1 clear").works("seen")
    verdict = plugged(bench, panel, pin2, "photo-pnp-light-dark", "B1 target", remedies=True)
    assert verdict.codes == ["F105"]
    assert "inverted" in verdict.finding("F105").message
    cures = " / ".join(proven(verdict.finding("F105")))
    assert f"K1.{pin4}" in cures, cures


def test_a_crossed_cordset_brings_the_signal_to_the_other_channel(bench):
    verdict = bench.cell(
        "K1: io-panel-16x16\nB1: inductive-pnp-no",
        f"{FEED}B1 W1 K1-X3",
        "seen: {channel: K1.I11, on: B1 target}",
        cables="W1: {part: cordset-m12-4-crossed-2-4, length: 5 m}",
    )
    verdict.works("seen")


@pytest.mark.parametrize(
    ("splitter", "a", "b"),
    [("m12-y-splitter", "I5", "I13"), ("m12-y-splitter-reversed", "I13", "I5")],
)
def test_splitter_legs_reach_their_channels(bench, splitter, a, b):
    verdict = bench.cell(
        f"K1: io-panel-16x16\nY1: {splitter}\nB1: inductive-pnp-no\nB2: inductive-pnp-no",
        f"{FEED}B1 Y1-A\nB2 Y1-B\nY1-T W1 K1-X5",
        f"""
        first: {{channel: K1.{a}, on: B1 target}}
        second: {{channel: K1.{b}, on: B2 target}}
        """,
        cables="W1: {part: cordset-m12-4, length: 4 m}",
    )
    verdict.works("first")
    verdict.works("second")


def test_a_normally_closed_sensor_has_its_signal_on_pin_2(bench):
    # iec-60947-5-2: break contact on pin 2; through a Y splitter, which knows pin 4 only, it
    # reaches nothing
    verdict = plugged(bench, "offset", "I11", "inductive-pnp-nc", "B1 clear")
    verdict.works("seen")
    lost = bench.cell(
        "K1: io-panel-16x16\nY1: m12-y-splitter\nB1: inductive-pnp-nc",
        f"{FEED}B1 Y1-A\nY1-T W1 K1-X5",
        "seen: {channel: K1.I5, on: B1 clear}",
        cables="W1: {part: cordset-m12-4, length: 4 m}",
    )
    assert lost.signal("seen").verdict == "fails"
    assert lost.codes[0] in {"F101", "F107"}


# -- contacts ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("part", "pins", "on"),
    [
        ("pushbutton-1no-gold", ("13", "14"), "S1 pressed"),
        ("pushbutton-1nc-gold", ("11", "12"), "S1 released"),
        ("key-switch-2pos-gold", ("13", "14"), "S1 right"),
        ("key-switch-2pos-gold", ("21", "22"), "S1 left"),
    ],
)
@pytest.mark.parametrize(
    ("card", "common", "rail", "other"),
    [("input-card-8-type-3", "M", "M", "P"), ("input-card-8-npn", "L", "P", "M")],
)
def test_contacts_work_on_both_polarities(bench, part, pins, on, card, common, rail, other):
    verdict = bench.cell(
        f"S1: {part}\nK1: {card}",
        f"{other} S1:{pins[0]}\nS1:{pins[1]} K1:1\n{rail} K1:{common}",
        f"told: {{channel: K1.I1, on: {on}}}",
    )
    verdict.works("told")
    signal = verdict.signal("told")
    # a closed contact loses nothing worth telling, an open one passes nothing
    assert signal.on.v_low == pytest.approx(SUPPLY_LOW_V, abs=WIRING_V)
    assert abs(signal.off.v_high) < WIRING_V


@pytest.mark.parametrize(
    ("part", "pins", "on"),
    [
        ("pushbutton-1nc-gold", ("11", "12"), "S1 pressed"),
        ("pushbutton-1no-gold", ("13", "14"), "S1 released"),
    ],
)
def test_make_for_break_is_told_as_inverted(bench, part, pins, on):
    verdict = bench.cell(
        f"S1: {part}\nK1: input-card-8-type-3",
        f"P S1:{pins[0]}\nS1:{pins[1]} K1:1\nM K1:M",
        f"told: {{channel: K1.I1, on: {on}}}",
        remedies=True,
    )
    assert verdict.codes == ["F105"]
    assert proven(verdict.finding("F105")), verdict.finding("F105").remedies


# -- sensor outputs on both kinds of input -----------------------------------------------------

MINUS = ("input-card-8-type-3", "M K1:M")  # common at 0 V: the sensor gives the current
PLUS = ("input-card-8-npn", "P K1:L")  # common at +24 V: the input gives the current


def three_wire(bench, sensor, card, on="B1 target", **kwargs):
    part, common = card
    return bench.cell(
        f"B1: {sensor}\nK1: {part}",
        f"P B1-X:1\nM B1-X:3\nB1-X:4 K1:1\n{common}",
        f"seen: {{channel: K1.I1, on: {on}}}",
        **kwargs,
    )


@pytest.mark.parametrize(
    ("sensor", "card", "on"),
    [
        ("inductive-pnp-no", MINUS, "B1 target"),
        ("inductive-npn-no", PLUS, "B1 target"),
        ("inductive-push-pull-no", MINUS, "B1 target"),
        # a push-pull output pulls low while clear, and that is when a common-plus input is on
        ("inductive-push-pull-no", PLUS, "B1 clear"),
    ],
)
def test_what_works(bench, sensor, card, on):
    verdict = three_wire(bench, sensor, card, on)
    verdict.works("seen")
    # the only loss is the drop of the output, 0.3 to 2 V
    on_level = verdict.signal("seen").on
    assert on_level.v_low == pytest.approx(SUPPLY_LOW_V - 2.0, abs=WIRING_V)
    assert on_level.v_high == pytest.approx(SUPPLY_HIGH_V - 0.3, abs=WIRING_V)


@pytest.mark.parametrize(
    ("sensor", "card", "cure"),
    [("inductive-npn-no", MINUS, "pnp"), ("inductive-pnp-no", PLUS, "npn")],
)
def test_wrong_polarity_never_comes_on_and_the_other_kind_cures(bench, sensor, card, cure):
    verdict = three_wire(bench, sensor, card, remedies=True)
    assert verdict.codes == ["F101"]
    assert "never comes on" in verdict.finding("F101").message
    assert any(cure in text for text in proven(verdict.finding("F101")))


@pytest.mark.parametrize("sensor", ["inductive-npn-no", "inductive-pnp-no"])
def test_inverting_in_the_program_does_not_cure_the_wrong_polarity(bench, sensor):
    card = MINUS if sensor == "inductive-npn-no" else PLUS
    verdict = three_wire(bench, sensor, card, on="B1 clear")
    assert verdict.signal("seen").verdict == "fails"
    assert verdict.codes == ["F101"]


def test_push_pull_is_inverted_on_common_plus(bench):
    verdict = three_wire(bench, "inductive-push-pull-no", PLUS)
    assert verdict.codes == ["F105"]


LOGIC_BOARD = """\
part: logic-board
title: Board with inputs of 1 MΩ
family: controller
letter: K
terminals: {+: plus, "-": minus, 1..2: "I{n}"}
inside:
  own: {kind: load, from: plus, to: minus, current: 10 mA, knee: 5 V}
  in1..in2: {kind: resistance, ENDS, ohm: 1 MΩ}
channels:
  I1..I2: {kind: input, element: "in{n}", limits: own, on_v: 15 V, off_v: 5 V}
"""
BOARD_ENDS = {"minus": 'from: "I{n}", to: minus', "plus": 'from: plus, to: "I{n}"'}


@pytest.mark.parametrize(("common", "rail"), [("minus", "P"), ("plus", "M")])
def test_a_high_resistance_input_floats_while_a_contact_is_open(bench, common, rail):
    # 1 MΩ holds nothing: whatever touches the line decides
    bench.part("logic-board", LOGIC_BOARD.replace("ENDS", BOARD_ENDS[common]))
    verdict = bench.cell(
        "S1: pushbutton-1no-gold\nK1: logic-board",
        f"{rail} S1:13\nS1:14 K1:1\nP K1:+\nM K1:-",
        "told: {channel: K1.I1, on: S1 pressed}",
    )
    finding = verdict.finding("F106")
    assert "S1 released" in finding.message
    assert verdict.signal("told").verdict == "fails"


@pytest.mark.parametrize("common", ["minus", "plus"])
def test_leakage_alone_switches_a_high_resistance_input_and_push_pull_cures(bench, common):
    # 0.05 mA typical through 1 MΩ would make 50 V: it reads the supply, always on
    bench.part("logic-board", LOGIC_BOARD.replace("ENDS", BOARD_ENDS[common]))
    joins = "P B1-X:1\nM B1-X:3\nB1-X:4 K1:1\nP K1:+\nM K1:-"
    kind = "pnp" if common == "minus" else "npn"
    verdict = bench.cell(
        f"B1: inductive-{kind}-no\nK1: logic-board",
        joins,
        "seen: {channel: K1.I1, on: B1 target}",
    )
    assert verdict.signal("seen").verdict == "fails"
    assert verdict.codes[0] in {"F104", "F106"}
    push_pull = bench.cell(
        "B1: inductive-push-pull-no\nK1: logic-board",
        joins,
        f"seen: {{channel: K1.I1, on: B1 {'target' if common == 'minus' else 'clear'}}}",
    )
    push_pull.works("seen")


def test_pull_up_sensor_on_a_common_minus_input_is_inverted(bench):
    # open collector with 4.7 kΩ to plus: high while clear. Input 3.3 kΩ: typically 24.1 V less
    # the sensor's and wiring losses, times 3.3 / (3.3 + 4.7) = 9.9 V, above its 8 V: inverted
    verdict = bench.cell(
        "B1: photo-npn-pull-up\nK1: robot-hand-io",
        "P B1-X:1\nM B1-X:3\nB1-X:4 K1:I1\nP K1:+\nM K1:-",
        "seen: {channel: K1.I1, on: B1 target}",
    )
    assert verdict.codes == ["F105"]
    off = verdict.signal("seen").off
    assert off.v_typ == pytest.approx(SUPPLY_TYP_V * 3.3 / (3.3 + 4.7), abs=WIRING_V)


# -- two-wire sensors --------------------------------------------------------------------------
# Drop 3.5 to 5.5 V, leakage 0.4 to 1.2 mA, at least 3 mA: data of the part.


def two_wire(bench, card, common, sensor="inductive-2wire-no", **kwargs):
    return bench.cell(
        f"B1: {sensor}\nK1: {card}",
        f"P B1-X:1\nB1-X:4 K1:1\nM K1:{common}",
        "seen: {channel: K1.I1, on: B1 target}",
        **kwargs,
    )


def test_two_wire_on_a_resistive_type_1_input_is_neither_on_nor_off(bench):
    verdict = two_wire(bench, "input-card-16", "COM", remedies=True)
    off = verdict.signal("seen").off
    assert off.v_high == pytest.approx(1.2e-3 * 6160, abs=WIRING_V)  # 7.4 V
    assert off.v_typ == pytest.approx(0.8e-3 * 5600, abs=WIRING_V)
    finding = verdict.finding("F103")
    assert "not surely off" in finding.message
    cure = next(r for r in finding.remedies if r.proven and "kΩ" in r.text)
    assert "across the input" in cure.text
    margin = next(m for m in cure.margins if m.signal == "seen")
    assert margin.off_before_v < 0 < margin.off_after_v
    assert margin.on_after_v > 0


def test_two_wire_on_type_2_works(bench):
    # made for two-wire sensors: 1.2 mA make at most 8 V / 6.5 mA x 1.2 mA = 1.5 V
    verdict = two_wire(bench, "input-card-8-type-2", "M")
    verdict.works("seen")
    signal = verdict.signal("seen")
    assert signal.off.v_high == pytest.approx(8.0 / 6.5 * 1.2, abs=WIRING_V)
    assert signal.on.v_low == pytest.approx(SUPPLY_LOW_V - 5.5, abs=WIRING_V)


def test_two_wire_on_type_3_goes_off_but_gets_too_little_current(bench):
    # off: 6 V / 2.1 mA x 1.2 mA = 3.4 V, good; on: 2.1 to 3 mA where it wants 3 mA
    verdict = two_wire(bench, "input-card-8-type-3", "M", remedies=True)
    signal = verdict.signal("seen")
    assert signal.off.v_high == pytest.approx(6.0 / 2.1 * 1.2, abs=WIRING_V)
    assert signal.verdict == "works"
    assert verdict.codes == ["F702"]
    finding = verdict.finding("F702")
    numbers = {q.name: q.value for q in finding.numbers}
    assert numbers["least current"] == pytest.approx(2.1, abs=0.05)
    assert numbers["needs"] == pytest.approx(3.0)
    assert proven(finding)


def test_two_wire_on_15_kilohm_never_goes_off(bench):
    # 0.8 mA x 15 kΩ = 12 V, above the 10 V at which it is on
    verdict = two_wire(bench, "input-card-8-15k", "COM")
    assert verdict.codes[0] == "F104"
    assert verdict.signal("seen").off.v_typ == pytest.approx(0.8e-3 * 15e3, abs=WIRING_V)


def test_two_wire_reed_loses_its_lamp_voltage_only(bench):
    verdict = two_wire(bench, "input-card-8-type-3", "M", "reed-2wire-led")
    verdict.works("seen")
    assert verdict.signal("seen").on.v_low == pytest.approx(SUPPLY_LOW_V - 3.5, abs=WIRING_V)


def test_two_wire_sensors_in_parallel_add_their_leakages(bench):
    # Type 2 stands 2 mA below 5 V; three leak 3.6 mA: 8 V / 6.5 mA x 3.6 mA = 4.4 V still off,
    # but a resistive 5.6 kΩ input stands one not even; source: worked by hand
    items = "B1: inductive-2wire-no\nB2: inductive-2wire-no\nB3: inductive-2wire-no\n"
    joins = "P B1-X:1\nP B2-X:1\nP B3-X:1\nB1-X:4 X1:1\nB2-X:4 X1:2\nB3-X:4 X1:3\n"
    verdict = bench.cell(
        items + "X1: terminal-block-4\nK1: input-card-8-type-2",
        joins + "X1:4 K1:1\nM K1:M",
        "any: {channel: K1.I1, on: B1 target or B2 target or B3 target}",
    )
    assert verdict.signal("any").off.v_high == pytest.approx(8.0 / 6.5 * 3.6, abs=WIRING_V)


def test_two_wire_sensors_in_series_add_their_drops(bench):
    # two on at once: 23.8 - 2 x 5.5 = 12.8 V at worst, below the 15 V of Type 1
    verdict = bench.cell(
        "B1: inductive-2wire-no\nB2: inductive-2wire-no\nK1: input-card-16",
        "P B1-X:1\nB1-X:4 B2-X:1\nB2-X:4 K1:1\nM K1:COM",
        "both: {channel: K1.I1, on: B1 target and B2 target}",
    )
    assert verdict.signal("both").on.v_low == pytest.approx(SUPPLY_LOW_V - 11.0, abs=WIRING_V)
    assert "F102" in verdict.codes


# -- outputs -----------------------------------------------------------------------------------


def test_high_side_output_drives_a_valve(bench):
    verdict = bench.cell(
        "K1: output-card-8-0a5\nQ1: valve-4w5-din-diode",
        "P K1:L+\nM K1:M\nK1:1 Q1:1\nM Q1:2",
        "clamp: {channel: K1.O1, drives: Q1}",
    )
    verdict.works("clamp")
    # drop 0.05 to 0.8 V
    assert verdict.signal("clamp").on.v_low == pytest.approx(SUPPLY_LOW_V - 0.8, abs=WIRING_V)


def test_low_side_output_drives_a_load_from_plus(bench):
    verdict = bench.cell(
        "K1: output-card-8-npn\nQ1: valve-4w5-din-diode",
        "P K1:L+\nM K1:M\nP Q1:1\nK1:1 Q1:2",
        "clamp: {channel: K1.O1, drives: Q1}",
    )
    verdict.works("clamp")
    assert verdict.signal("clamp").on.v_low == pytest.approx(SUPPLY_LOW_V - 1.0, abs=WIRING_V)


def test_low_side_output_with_its_load_to_0_v_never_works(bench):
    verdict = bench.cell(
        "K1: output-card-8-npn\nQ1: valve-4w5-din-tvs",
        "P K1:L+\nM K1:M\nK1:1 Q1:1\nM Q1:2",
        "clamp: {channel: K1.O1, drives: Q1}",
        remedies=True,
    )
    assert verdict.codes == ["F301"]
    assert abs(verdict.signal("clamp").on.v_typ) < WIRING_V
    assert proven(verdict.finding("F301")), "land the load's other end on +24 V"


def test_low_side_output_on_a_common_minus_input_is_not_seen(bench):
    verdict = bench.cell(
        "K1: output-card-8-npn\nK2: input-card-8-type-3\nR1: {part: resistor, ohm: 2.2 kΩ ± 5 %}",
        "P K1:L+\nM K1:M\nK1:1 R1:1\nP R1:2\nK1:1 K2:1\nM K2:M",
        "ready: {channel: K2.I1, on: K1.O1 on}",
    )
    # pulled up while off: 24.1 V behind 2.2 kΩ less 2.55 mA leaves 18.5 V on the input: inverted
    assert verdict.codes == ["F105"]
    assert verdict.signal("ready").off.v_typ == pytest.approx(24.1 - 2.2 * 2.6, abs=0.2)


@pytest.mark.parametrize(("output", "common"), [("O1", "C1"), ("O5", "C2")])
def test_relay_outputs_need_the_common_of_their_own_group(bench, output, common):
    text = "K1: output-card-8-relay\nQ1: valve-4w5-din-diode"
    joins = f"P K1:L+\nM K1:M\nK1:{output[1]} Q1:1\nM Q1:2\n"
    signal = f"clamp: {{channel: K1.{output}, drives: Q1}}"
    good = bench.cell(text, joins + f"P K1:{common}", signal)
    assert good.signal("clamp").verdict == "works"
    # a dry contact leaks nothing
    assert abs(good.signal("clamp").off.v_high) < WIRING_V
    other = "C2" if common == "C1" else "C1"
    bad = bench.cell(text, joins + f"P K1:{other}", signal)
    assert bad.signal("clamp").verdict == "fails"
    assert "F401" in bad.codes or "F301" in bad.codes
    assert any(common.lower() in told or common in told for told in bad.told()), bad.told()


# -- NAMUR ---------------------------------------------------------------------------------------


def test_namur_sensor_is_on_by_current_while_nothing_damps_it(bench):
    # Source: iec-60947-5-6: 8.2 V, 1 kΩ; 2.1 mA or more on, 1.2 mA or less off
    verdict = bench.cell(
        "B1: inductive-namur\nK1: namur-input-2",
        "P K1:+\nM K1:-\nK1:1+ B1:BN\nK1:1- B1:BU",
        "gone: {channel: K1.I1, on: B1 clear}",
    )
    signal = verdict.signal("gone")
    assert signal.on.v_low >= 0.99 * 2.1 and signal.off.v_high <= 0.99 * 1.2
    assert signal.on.v_low == pytest.approx(8.0 / (1000 + 2700) * 990, abs=0.02)
    assert signal.off.v_high == pytest.approx(8.4 / (1000 + 7200) * 990, abs=0.02)
    # sensor and amplifier are made for each other: no reason for a warning
    verdict.works("gone")


def test_a_plain_contact_on_a_namur_input_is_no_error_of_level(bench):
    # closed it shorts the line (8.2 mA), open it draws nothing: on and off by level
    verdict = bench.cell(
        "S1: pushbutton-1no-gold\nK1: namur-input-2",
        "P K1:+\nM K1:-\nK1:1+ S1:13\nK1:1- S1:14",
        "told: {channel: K1.I1, on: S1 pressed}",
    )
    signal = verdict.signal("told")
    assert signal.on.i_typ_ma == pytest.approx(8.2, abs=0.05)
    assert abs(signal.off.i_typ_ma) < 0.01
