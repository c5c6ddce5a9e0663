"""What each kind of fault does, on small cells that are solved by hand beside each check.

Sources: Ohm's and Kirchhoff's laws; ratings are data of the shipped parts, named beside the
figures; how large a bad joint or a film of water is, is common practice (fault_values.csv).
Supply 24.1 V typical behind 20 mOhm.
"""

from __future__ import annotations

import pytest

from ringout import run
from ringout.findings.effects import fault_table
from ringout.solve import CERTIFICATE_A
from tests.physics.small_cells import small_cell

SUPPLY_V = 24.1
BLOCK_OHM = 5600.0  # input of io-block-8-inputs, Type 1: off up to 5 V, on from 15 V
BLOCK = "K1: io-block-8-inputs"
BLOCK_FEED = "P K1-XS:1\nM K1-XS:2\n"
PANEL = "K1: io-panel-16x16"
PANEL_FEED = "P K1-XS:1\nM K1-XS:2\nP K1-XS:3\nM K1-XS:4\n"
CORD = "W1: {part: cordset-m12-4, length: 5 m}"
CORE = "{part: cable-2x0.34, length: 5 m}"


class Faults:
    """All faults of one small cell by name."""

    def __init__(self, folder, items, joins, signals, cables="", **more):
        file = folder / "cell.yaml"
        file.write_text(small_cell(items, joins, signals, cables=cables, **more), "utf-8")
        loaded = run.load(str(file))
        assert not loaded.problems, [(str(p.span), p.message) for p in loaded.problems]
        self.table = fault_table(loaded.cell)
        assert self.table.worst_residual_a <= CERTIFICATE_A
        assert not self.table.not_run
        self.rows = {row.fault.id: row for row in self.table.rows}

    def __getitem__(self, name):
        return self.rows[name]

    def told(self, name):
        """Return (kind, what, before, after, state) of every effect of a fault."""
        return {(e.kind, e.what, e.before, e.after, e.state) for e in self.rows[name].effects}

    def number(self, name, what, which=0):
        """Return a figure of the first effect on something."""
        effect = next(e for e in self.rows[name].effects if e.what == what)
        return effect.numbers[which].value


# -- a three-wire PNP sensor on a cordset, input 5.6 kOhm -------------------------------------


@pytest.fixture(scope="module")
def sensors(tmp_path_factory):
    return Faults(
        tmp_path_factory.mktemp("sensors"),
        f"{BLOCK}\nB1: inductive-pnp-no\nB2: inductive-pnp-no",
        f"{BLOCK_FEED}B1 W1 K1-X1\nB2 W2 K1-X2",
        "here: {channel: K1.I1, on: B1 target}\nthere: {channel: K1.I3, on: B2 target}",
        f"{CORD}\nW2: {{part: cordset-m12-4, length: 5 m}}",
    )


@pytest.mark.parametrize("core", ["BN", "BU", "BK"])
def test_each_core_of_a_three_wire_sensor_is_needed(sensors, core):
    """Without plus or 0 V the electronics are dead, without the signal core nothing arrives."""
    assert sensors.told(f"open W1:{core}") == {("level", "here", "on", "off", "B1 target")}
    assert not sensors[f"open W1:{core}"].harm


def test_an_npn_sensor_never_lifts_an_input_to_0_v(sensors):
    """Its output sinks; the input resistor holds the line at 0 V in both states."""
    assert sensors.told("npn for B1") == {("level", "here", "on", "off", "B1 target")}
    assert abs(sensors.number("npn for B1", "here")) < 0.1


def test_a_two_wire_sensor_in_its_place_works_at_typical_values(sensors):
    """On: 24.1 - 4.5 V = 19.6 V, above 15 V. Off: 0.8 mA in 5.6 kOhm = 4.5 V, below 5 V."""
    row = sensors["2-wire for B1"]
    assert row.latent and not row.harm
    # against the healthy 0.05 mA in 5.6 kOhm (0.28 V) the off level rises by some 4.2 V
    assert row.moved_v == pytest.approx((0.8e-3 - 0.05e-3) * BLOCK_OHM, abs=0.3)


def test_water_from_plus_to_signal_leaves_the_input_in_doubt(sensors):
    """24.1 V over 20 kOhm into 5.6 kOhm: 5.27 V and the sensor's own leak, above the 5 V of off."""
    name = "water K1-X1:1-K1-X1:4"
    assert ("level", "here", "off", "undefined", "B1 clear") in sensors.told(name)
    leak_a = 0.05e-3
    volts = (SUPPLY_V / 20e3 + leak_a) / (1 / 20e3 + 1 / BLOCK_OHM)
    assert sensors.number(name, "here") == pytest.approx(volts, abs=0.05)


def test_water_from_signal_to_0_v_takes_a_milliampere_and_shows_nothing(sensors):
    row = sensors["water K1-X1:3-K1-X1:4"]
    assert row.latent and "too small" in row.why


def test_signal_touching_plus_is_always_on(sensors):
    assert sensors.told("short W1:BK to +24V") == {("level", "here", "off", "on", "B1 clear")}


def test_signal_on_0_v_drives_the_output_into_its_own_limit(sensors):
    """The sensor limits itself at 310 mA (220..400 mA), so nothing is harmed."""
    told = sensors["short W1:BK to 0V"]
    limits = [e for e in told.effects if e.kind == "trips"]
    assert [e.what for e in limits] == ["B1.output"]
    assert limits[0].numbers[0].value == pytest.approx(0.31, rel=0.02)
    assert not told.harm
    assert ("level", "here", "on", "off", "B1 target") in sensors.told("short W1:BK to 0V")


def test_a_shorted_and_a_dead_output_stage(sensors):
    assert sensors.told("shorted B1.output") == {("level", "here", "off", "on", "B1 clear")}
    assert sensors.told("dead B1.output") == {("level", "here", "on", "off", "B1 target")}


def test_exchanged_plugs_exchange_the_signals(sensors):
    """Sensor 1 then works input 3 and sensor 2 input 1, in every combination of the two."""
    told = sensors["swap W1 W2@K1-X1/X2"].effects
    lost = {(e.what, e.after, e.state) for e in told}
    assert ("here", "off", "B1 target and B2 clear") in lost
    assert ("there", "on", "B1 target and B2 clear") in lost
    assert ("here", "on", "B1 clear and B2 target") in lost
    assert ("there", "off", "B1 clear and B2 target") in lost
    assert len(told) == 4


def test_a_plug_in_the_free_socket_beside_works_no_signal(sensors):
    told = sensors.told("off W2@K1-X2 at K1-X3")
    assert told == {("level", "there", "on", "off", "B2 target")}


def test_a_forgotten_0_v_darkens_all_inputs_of_the_block(sensors):
    """No return: neither the sensors' own current nor the inputs' has a way back."""
    told = sensors.told("no 0V K1")
    assert {(what, after) for _, what, _, after, _ in told} == {("here", "off"), ("there", "off")}


def test_18_v_still_works_these_sensors(sensors):
    """0.75 of 24.1 V less 1 V of drop is 17.1 V: on from 15 V; the sensors live from 10 V."""
    row = sensors["low supply T1"]
    assert row.latent
    assert row.moved_v == pytest.approx(0.25 * SUPPLY_V, abs=0.1)


# -- a sensor landed core by core; reversed supply ----------------------------------------------


@pytest.fixture(scope="module")
def landed(tmp_path_factory):
    return Faults(
        tmp_path_factory.mktemp("landed"),
        f"{BLOCK}\nS1: pushbutton-1no-gold",
        "P W8:BN K1-XS:1\nM W8:WH K1-XS:2\nS1:13 W1:BN K1-X1:1\nS1:14 W1:WH K1-X1:4",
        "start: {channel: K1.I1, on: S1 pressed}",
        f"W1: {CORE}\nW8: {CORE}",
    )


def test_a_block_fed_the_wrong_way_round_is_harmed(landed):
    """24.1 V in reverse across its feed; inputs sit at plus and read off."""
    row = landed["swap W8:BN W8:WH@K1"]
    harm = [e for e in row.effects if e.kind == "harm"]
    assert [e.what for e in harm] == ["K1"]
    assert harm[0].numbers[0].value == pytest.approx(-SUPPLY_V, abs=0.1)


def test_one_pin_off_onto_0_v_burns_the_contact(landed):
    """Pin 3 is 0 V: pressed, the contact of 0.1 A carries the supply's limit of 5.5 A."""
    row = landed["off W1:WH@K1 at K1-X1:3"]
    burnt = next(e for e in row.effects if e.kind == "harm")
    assert burnt.what == "S1.contact"
    assert burnt.numbers[0].value == pytest.approx(5.5, abs=0.1)
    assert burnt.numbers[1].value == 0.1
    limit = next(e for e in row.effects if e.kind == "trips")
    assert limit.what == "T1.output"


def test_one_pin_off_onto_the_unused_middle_pin_only_loses_the_signal(landed):
    told = landed.told("off W1:WH@K1 at K1-X1:5")
    assert told == {("level", "start", "on", "off", "S1 pressed")}
    # the middle pin keeps 4 and 2 apart
    assert "off W1:WH@K1 at K1-X1:2" not in landed.rows


def test_a_bad_joint_of_50_ohm_costs_a_fifth_of_a_volt(landed):
    """24.1 V * 50 / 5650 = 0.213 V: far from any limit, so nothing tells."""
    row = landed["joint W1:BN@S1 50 ohm"]
    assert row.latent
    assert row.moved_v == pytest.approx(SUPPLY_V * 50 / (BLOCK_OHM + 50), abs=0.005)
    assert "heats" in row.why


def test_a_contact_of_the_other_kind_turns_the_signal_round(landed):
    assert landed.told("nc for S1.contact") == {
        ("level", "start", "off", "on", "S1 released"),
        ("level", "start", "on", "off", "S1 pressed"),
    }


def test_a_contact_has_no_polarity(landed):
    for at in ("S1", "K1"):
        row = landed[f"swap W1:BN W1:WH@{at}"]
        assert row.latent and not row.effects


# -- loads on semiconductor outputs --------------------------------------------------------------


@pytest.fixture(scope="module")
def loads(tmp_path_factory):
    return Faults(
        tmp_path_factory.mktemp("loads"),
        f"{PANEL}\nK5: relay-2k2-diode\nQ2: valve-2w3-bare\nR2: suppressor-diode",
        f"""{PANEL_FEED}
        K1-X11:4 W1:BN K5:A1
        K1-X11:3 W1:WH K5:A2
        K1-X12:4 W2:BN Q2:1
        K1-X12:3 W2:WH Q2:2
        Q2:1 R2:+
        Q2:2 R2:-""",
        "run: {channel: K1.O1, drives: K5}\nvacuum: {channel: K1.O2, drives: Q2}",
        f"W1: {CORE}\nW2: {CORE}",
    )


@pytest.mark.parametrize("name", ["reversed K5", "suppressor reversed R2"])
def test_a_diode_the_wrong_way_round_takes_the_output_to_its_limit(loads, name):
    """The diode conducts forwards: the output holds 0.95 A (0.7..1.2 A), the coil sees 0.8 V."""
    item, output = ("K5", "out1") if "K5" in name else ("Q2", "out2")
    told = loads[name].effects
    limits = [e for e in told if e.kind == "trips"]
    assert [e.what for e in limits] == [f"K1.{output}"]
    assert limits[0].numbers[0].value == pytest.approx(0.95, rel=0.02)
    rest = next(e for e in told if e.kind == "moves" and e.what == item)
    assert (rest.before, rest.after) == ("energised", "at rest")
    assert rest.numbers[0].value == pytest.approx(0.8, abs=0.1)


@pytest.mark.parametrize(
    ("name", "output", "coil_ohm"),
    [
        ("suppressor absent K5", "K1.out1", 2200.0),
        ("suppressor absent R2", "K1.out2", 250.0),
        ("open Q2:1 to R2:+", "K1.out2", 250.0),
    ],
)
def test_a_missing_suppressor_tells_nothing_and_harms_the_output(loads, name, output, coil_ohm):
    row = loads[name]
    assert row.harm and row.latent
    assert [(e.kind, e.what) for e in row.effects] == [("harm", output)]
    assert row.effects[0].numbers[0].value == pytest.approx(24.0 / coil_ohm)
    assert "turning off" in row.effects[0].text or "turns off" in row.effects[0].text


def test_a_bare_coil_that_can_be_turned_works_either_way_but_its_diode_does_not(loads):
    """Exchanged at the controller the diode, which stays at the coil, is in forward direction."""
    assert any(e.kind == "trips" for e in loads["swap W2:BN W2:WH@K1"].effects)


def test_output_stages_short_and_dead(loads):
    assert loads.told("shorted K1.O1") == {("moves", "K5", "at rest", "energised", "K1.O1 off")}
    assert loads.told("dead K1.O1") == {("moves", "K5", "energised", "at rest", "K1.O1 on")}


def test_plus_on_the_core_of_a_load_works_it_uncommanded(loads):
    told = loads.told("short W2:BN to +24V")
    assert ("moves", "Q2", "at rest", "energised", "K1.O2 off") in told
    assert not loads["short W2:BN to +24V"].harm


def test_a_joint_in_a_valve_core_is_a_divider(loads):
    """250 Ohm and 50 Ohm: the coil keeps 5/6 of 23.8 V = 19.8 V, under the 20.4 V it works from."""
    name = "joint W2:BN@Q2 50 ohm"
    assert loads.told(name) == {("moves", "Q2", "energised", "half energised", "K1.O2 on")}
    assert loads.number(name, "Q2") == pytest.approx((SUPPLY_V - 0.3) * 250 / 300, abs=0.1)


def test_the_feed_of_the_outputs_forgotten(loads):
    """The panel lives on its other feed; nothing driven moves."""
    moved = {(e.what, e.after) for e in loads["no common K1"].effects}
    assert moved == {("K5", "at rest"), ("Q2", "at rest")}


# -- redundancy, groups and floating supplies -----------------------------------------------------


def test_the_second_0_v_conductor_is_not_missed(tmp_path):
    cell = Faults(
        tmp_path,
        f"{BLOCK}\nS1: pushbutton-1no-gold",
        "P K1-XS:1\nM W1:BN K1-XS:2\nM W1:WH K1-XS:2\nS1:13 K1-X1:1\nS1:14 K1-X1:4",
        "start: {channel: K1.I1, on: S1 pressed}",
        f"W1: {CORE}",
    )
    row = cell["open W1:BN@K1"]
    assert row.latent and "Another conductor" in row.why
    # both gone, nothing returns: the missing 0 V is another fault than one broken core
    assert cell.told("no 0V K1") == {("level", "start", "on", "off", "S1 pressed")}
    pair = fault_table(
        run.load(str(tmp_path / "cell.yaml")).cell,
        double=True,
        chosen=lambda f: f.id in ("open W1:BN@K1", "open W1:WH@K1"),
    )
    assert [e.what for e in pair.rows[0].effects] == ["start"]


def test_one_common_of_two_darkens_its_group_only(tmp_path):
    cell = Faults(
        tmp_path,
        "K1: input-card-16-two-groups\nS1: pushbutton-1no-gold\nS2: pushbutton-1no-gold",
        """M K1:COM1
        M K1:COM2
        P S1:13
        S1:14 K1:1
        P S2:13
        S2:14 K1:9""",
        "one: {channel: K1.I1, on: S1 pressed}\nnine: {channel: K1.I9, on: S2 pressed}",
    )
    assert cell.told("no 0V K1:COM1") == {("level", "one", "on", "off", "S1 pressed")}
    assert cell.told("no 0V K1:COM2") == {("level", "nine", "on", "off", "S2 pressed")}


@pytest.mark.parametrize(
    ("supply", "harmed"), [("supply-24v-5a", True), ("supply-24v-5a-floating", False)]
)
def test_a_short_to_the_frame_depends_on_where_0_v_is_earthed(tmp_path, supply, harmed):
    """Earthed, the pressed contact carries the supply's limit; floating, no loop is closed."""
    cell = Faults(
        tmp_path,
        f"{BLOCK}\nS1: pushbutton-1no-gold",
        f"{BLOCK_FEED}S1:13 W1:BN K1-X1:1\nS1:14 W1:WH K1-X1:4",
        "start: {channel: K1.I1, on: S1 pressed}",
        f"W1: {CORE}",
        supply=supply,
    )
    row = cell["short W1:WH to PE"]
    assert row.harm is harmed
    assert row.latent is not harmed
    if not harmed:
        assert "second fault" in row.why


def test_a_welded_relay_contact_stays_whatever_its_coil_does(tmp_path):
    cell = Faults(
        tmp_path,
        f"{PANEL}\nK5: relay-2k2-diode\nP1: lamp-led-24v",
        f"{PANEL_FEED}\nK1-X11:4 K5:A1\nK1-X11:3 K5:A2\nP K5:11\nK5:14 P1:X1\nM P1:X2",
        "run: {channel: K1.O1, drives: K5}",
    )
    assert cell.told("welded K5.make") == {("moves", "P1", "dark", "lit", "K1.O1 off")}
    assert cell.told("never K5.make") == {("moves", "P1", "lit", "dark", "K1.O1 on")}
    # the coil off, the lamp off; K5 itself must not be said to move when only its contact fails
    assert {w for _, w, *_ in cell.told("open K1-X11:4 to K5:A1")} == {"K5", "P1"}


def test_a_healthy_harm_is_not_blamed_on_a_fault(tmp_path):
    """The valve is bare in the drawing already: no fault makes it so."""
    cell = Faults(
        tmp_path,
        f"{PANEL}\nQ2: valve-2w3-bare",
        f"{PANEL_FEED}K1-X12:4 W2:BN Q2:1\nK1-X12:3 W2:WH Q2:2",
        "vacuum: {channel: K1.O2, drives: Q2}",
        f"W2: {CORE}",
    )
    assert not any("spike" in e.text for row in cell.table.rows for e in row.effects)
    # and without a diode the coil may be turned
    assert cell["swap W2:BN W2:WH@Q2"].latent
