"""Supplies, devices, lamps and coils that are dead, and splitters of another kind.

By hand: what is open carries nothing, so that all that hangs on it falls to 0 V together.
"""

from __future__ import annotations

import pytest

from ringout import run
from ringout.findings.effects import fault_table
from ringout.solve import CERTIFICATE_A
from tests.physics.small_cells import small_cell

BLOCK = "K1: io-block-8-inputs"
FEED = "P K1-XS:1\nM K1-XS:2\n"


def faults(folder, items, joins, signals, cables="", **more):
    file = folder / "cell.yaml"
    file.write_text(small_cell(items, joins, signals, cables=cables, **more), "utf-8")
    loaded = run.load(str(file))
    assert not loaded.problems, [(str(p.span), p.message) for p in loaded.problems]
    table = fault_table(loaded.cell)
    assert table.worst_residual_a <= CERTIFICATE_A
    return {row.fault.id: row for row in table.rows}


def told(row):
    return {(e.what, e.before, e.after) for e in row.effects}


# -- supplies (FC-O-24: all inputs of one rail drop together) -------------------------------------


@pytest.fixture(scope="module")
def two_rails(tmp_path_factory):
    return faults(
        tmp_path_factory.mktemp("rails"),
        f"{BLOCK}\nS1: pushbutton-1no-gold\nB1: inductive-pnp-no\nB2: inductive-pnp-no\n"
        "T2: supply-24v-5a",
        f"{FEED}M T2:-\nT2:+ B1-X:1\nT2:+ B2-X:1\nM B1-X:3\nM B2-X:3\n"
        "B1-X:4 K1-X1:4\nB2-X:4 K1-X2:4\nP S1:13\nS1:14 K1-X3:4",
        "one: {channel: K1.I1, on: B1 target}\ntwo: {channel: K1.I3, on: B2 target}\n"
        "start: {channel: K1.I5, on: S1 pressed}",
    )


def test_all_sensors_of_a_dead_supply_go_together(two_rails):
    assert told(two_rails["dead supply T2"]) == {("one", "on", "off"), ("two", "on", "off")}


def test_the_other_supply_takes_all_else_with_it(two_rails):
    assert ("start", "on", "off") in told(two_rails["dead supply T1"])


# -- devices (FC-O-35: lamp out, output open, stays with the device) ------------------------------


def test_a_dead_device_loses_its_output_and_nothing_else(two_rails):
    row = two_rails["dead B1"]
    assert told(row) == {("one", "on", "off")}
    assert {c.element for c in row.fault.changes} >= {"B1.own", "B1.output"}
    assert row.fault.items == ("B1",)


def test_no_controller_is_called_a_dead_device(two_rails):
    assert "dead K1" not in two_rails


# -- lamps and coils (FC-O-18) --------------------------------------------------------------------


@pytest.fixture(scope="module")
def loads(tmp_path_factory):
    return faults(
        tmp_path_factory.mktemp("loads"),
        "K1: output-card-8-0a5\nP1: lamp-led-24v\nK5: relay-2k2-diode\nK2: input-card-8-type-1",
        "P K1:L+\nM K1:M\nK1:1 P1:X1\nP1:X2 M\nK1:2 K5:A1\nK5:A2 M\nP K5:11\nK5:14 K2:1\nK2:M M",
        "ready: {channel: K1.O1, drives: P1}\npump: {channel: K1.O2, drives: K5}\n"
        "runs: {channel: K2.I1, on: K5 energised}",
    )


def test_a_burnt_out_lamp_stays_dark_at_full_voltage(loads):
    row = loads["dead P1"]
    # the leak of the output makes it glow while off; that is gone too
    assert told(row) == {("P1", "lit", "dark"), ("P1", "glowing", "dark")}


def test_a_broken_coil_moves_no_contact_though_its_voltage_is_there(loads):
    row = loads["dead K5"]
    assert told(row) == {("K5", "energised", "at rest"), ("runs", "on", "off")}
    effect = next(e for e in row.effects if e.what == "K5")
    # the meter still shows the output's voltage: 24.1 V less the output's drop
    assert effect.numbers[0].value == pytest.approx(23.8, abs=0.5)


def test_the_contact_of_a_broken_coil_that_is_closed_at_rest_stays_closed(tmp_path):
    found = faults(
        tmp_path,
        "S1: pushbutton-1no-gold\nK5: relay-2k2-diode\nK2: input-card-8-type-1",
        "P S1:13\nS1:14 K5:A1\nK5:A2 M\nP K5:11\nK5:12 K2:1\nK2:M M",
        "rests: {channel: K2.I1, on: K5 released}",
    )
    assert ("rests", "off", "on") in told(found["dead K5"])


# -- splitters (FC-O-36) --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def split(tmp_path_factory):
    return faults(
        tmp_path_factory.mktemp("split"),
        f"{BLOCK}\nX5: m12-y-splitter\nB1: inductive-pnp-no\nB2: inductive-pnp-no",
        f"{FEED}B1 X5-A\nB2 X5-B\nX5-T W3 K1-X1",
        "one: {channel: K1.I1, on: B1 target}\ntwo: {channel: K1.I2, on: B2 target}",
        "W3: {part: cordset-m12-4, length: 1 m}",
    )


def test_the_reversed_splitter_exchanges_the_two_legs(split):
    """Leg A then works pin 2, leg B pin 4: each signal follows the other sensor."""
    row = split["m12-y-splitter-reversed for X5"]
    assert row.fault.kind == "wrong-part"
    assert row.fault.items == ("X5",)
    assert told(row) >= {("one", "on", "off"), ("one", "off", "on"), ("two", "on", "off")}


def test_a_t_piece_puts_both_sensors_on_pin_4(split):
    """Pin 4 of either leg is then the channel of pin 4; nothing drives pin 2."""
    assert told(split["m12-t-splitter for X5"]) == {("one", "off", "on"), ("two", "on", "off")}


def test_a_splitter_that_joins_the_pins_in_use_alike_is_no_fault(split):
    """The bridged one ties pin 2 of each leg to its pin 4, where these cords have nothing."""
    assert "m12-y-splitter-bridged for X5" not in split


def test_a_box_is_not_taken_for_a_splitter(split):
    assert {i for i in split if i.endswith(" for X5")} <= {
        "m12-y-splitter-reversed for X5",
        "m12-t-splitter for X5",
    }


def test_a_core_from_leg_to_leg_is_left_alone(tmp_path):
    """It would have to be moved at both ends; no such fault is made rather than half of one."""
    found = faults(
        tmp_path,
        f"{BLOCK}\nX5: m12-y-splitter\nB1: inductive-pnp-no",
        f"{FEED}B1 K1-X2\nX5-A:4 W9:1 X5-B:4\nX5-T W3 K1-X1",
        "one: {channel: K1.I3, on: B1 target}",
        "W3: {part: cordset-m12-4, length: 1 m}\nW9: {part: wire-0.5, length: 1 m}",
    )
    assert not [i for i in found if i.endswith(" for X5")]
