"""The shipped parts: every one reads clean, is complete, and carries figures that can be true."""

from __future__ import annotations

from collections import Counter
from functools import cache
from pathlib import Path

import pytest

import ringout.cell
import ringout.tables
from ringout.base import Diagnostic
from ringout.cell.catalogue import as_nodes, load_part
from ringout.cell.part import ElementSpec, Part

LIBRARY = Path(ringout.cell.__file__).parent / "library"
FILES = {path.stem: path for path in sorted(LIBRARY.rglob("*.yaml"))}
TABLES = Path(ringout.tables.__file__).parent / "data"
HARM_KINDS = {"clamp", "diode"}

# iec-61131-2, sinking inputs: lowest voltage of a sure 1, least current there, least current at
# 5 V, most current at 30 V.
INPUT_TYPES = {
    "iec-61131-2-type-1": (15.0, 0.002, 0.0005, 0.015),
    "iec-61131-2-type-2": (11.0, 0.006, 0.002, 0.030),
    "iec-61131-2-type-3": (11.0, 0.002, 0.0015, 0.015),
}


@cache
def read(name: str) -> tuple[Part | None, tuple[Diagnostic, ...]]:
    return load_part(FILES[name])


def part_of(name: str) -> Part:
    part, _ = read(name)
    assert part is not None
    return part


@cache
def rows(table: str) -> frozenset[str]:
    lines = (TABLES / table).read_text(encoding="utf-8").splitlines()
    return frozenset(line.split(",")[0] for line in lines[1:])


def nets(part: Part) -> set[str]:
    pins = {net for socket in part.sockets.values() for net in socket.pins.values()}
    inner = {net for e in part.elements for net in (e.tail, e.head)}
    return set(part.terminals.values()) | pins | inner


def amps_at(element: ElementSpec, volts: float) -> tuple[float, float]:
    """Return the least and the most current of an input's element at a voltage."""
    if element.kind == "resistance":
        ohm = element.values["ohm"]
        return volts / ohm.high, volts / ohm.low
    current, knee = element.values["current"], element.values["knee"]
    share_low = min(volts / knee.high, 1.0)
    share_high = min(volts / knee.low, 1.0)
    return current.low * share_low, current.high * share_high


every_part = pytest.mark.parametrize("name", FILES)


def test_there_are_enough_parts_and_no_name_twice():
    files = list(LIBRARY.rglob("*.yaml"))
    assert len(files) >= 60
    assert [n for n, count in Counter(p.stem for p in files).items() if count > 1] == []


@every_part
def test_part_reads_clean(name):
    part, problems = read(name)
    assert part is not None
    assert [p.message for p in problems] == []
    assert part.name == name
    assert FILES[name].parent.name == part.family


@every_part
def test_part_says_what_it_is_for_and_what_goes_wrong(name):
    part = part_of(name)
    assert part.title and not part.title.endswith(".")
    assert len(part.letter) == 1 and part.letter.isupper()
    for sentence in (part.use, *part.mistakes):
        assert sentence.endswith("."), sentence
        assert sentence[0].isupper() or sentence[0].isdigit(), sentence
        assert len(sentence.split()) >= 2, sentence
    assert part.mistakes
    assert part.source


@every_part
def test_elements_stand_between_different_nets(name):
    for element in part_of(name).elements:
        assert element.tail and element.head and element.tail != element.head, element.name


@every_part
def test_everything_a_part_names_exists(name):
    part = part_of(name)
    known = nets(part)
    if part.alive is not None:
        assert {part.alive.tail, part.alive.head} <= known
    if part.main:
        assert part.main in part.element_by_name
    for channel in part.channels.values():
        assert channel.element in part.element_by_name
        assert channel.kind in {"input", "output"}
        assert channel.limits in rows("input_limits.csv") | {"own"}
    for socket in part.sockets.values():
        assert socket.connector in rows("connector_ratings.csv") | {"terminal-5"}
    for element in part.elements:
        if element.powered:
            assert part.alive is not None, f"{element.name} needs `alive`"
        if element.when:
            assert set(element.when) <= set(part.actors[element.actor])
            assert set(element.when) != set(part.actors[element.actor]), element.name
        if element.kind == "contact" and "material" in element.words:
            assert element.words["material"] in rows("contact_materials.csv")
            assert element.words["bounce"] in rows("bounce.csv")
        if "drives" in element.words:
            assert part.actor_of(element.words["drives"]) is not None
    assert set(part.marks) <= set(part.terminals) | {
        pin for socket in part.sockets.values() for pin in socket.pins
    }


@every_part
def test_every_actor_moves_something(name):
    part = part_of(name)
    moved = {element.actor for element in part.elements if element.when}
    assert set(part.actors) == moved


@every_part
def test_every_value_lies_in_its_own_range_and_is_not_negative(name):
    part = part_of(name)
    for element in part.elements:
        for key, value in element.values.items():
            assert 0.0 <= value.low <= value.typ <= value.high, (element.name, key)
    for channel in part.channels.values():
        if {"on_v", "off_v"} <= set(channel.values):
            assert channel.values["off_v"].high < channel.values["on_v"].low


@every_part
def test_figures_are_of_the_right_size(name):
    # Guards against a slipped prefix (mA for A, Ω for kΩ); bounds are wide. Common practice.
    bounds = {
        ("leak", "current"): (0.0, 3e-3),
        ("load", "current"): (0.0, 5.0),
        ("lamp", "current"): (0.5e-3, 0.25),
        ("drop", "drop"): (0.0, 8.0),
        ("drop", "limit"): (3e-3, 10.0),
        ("contact", "closed"): (0.0, 0.5),
        ("coil", "ohm"): (20.0, 6e3),
        ("coil", "inductance"): (0.0, 10.0),
        ("source", "volts"): (8.0, 25.0),
        ("source", "ohm"): (1e-3, 20.0),
        ("protection", "set"): (0.05, 10.0),
        ("fuse", "ohm"): (5e-3, 1.0),
        ("breaker", "ohm"): (5e-3, 1.0),
        ("clamp", "volts"): (20.0, 70.0),
    }
    common = {
        "max": (4e-3, 30.0),
        "max_v": (5.0, 400.0),
        "min": (1e-3, 12e-3),
        "pulse": (50e-6, 1e-3),
        "every": (10e-3, 1.0),
        "wet_v": (0.5, 24.0),
        "wet_a": (0.5e-3, 0.02),
        "shows_from": (0.03e-3, 0.05),
        "works_from": (10.0, 22.0),
    }
    for element in part_of(name).elements:
        for key, value in element.values.items():
            low, high = bounds.get((element.kind, key), common.get(key, (0.0, float("inf"))))
            assert low <= value.low and value.high <= high, (element.name, key, value)


@every_part
def test_wires_and_cordsets_have_cores_and_pins(name):
    part = part_of(name)
    assert bool(part.cores) == (part.family in {"cable", "cordset"})
    assert (part.ends is not None) == (part.family == "cordset")
    if part.ends is None:
        return
    for side, (connector, gender) in zip(("from_pin", "to_pin"), part.ends, strict=True):
        assert gender in ({"none"} if connector == "open" else {"male", "female"})
        pins = [getattr(core, side) for core in part.cores]
        assert all(pins) and len(set(pins)) == len(pins)


@every_part
def test_declared_clamp_is_really_there(name):
    part = part_of(name)
    if part.family in {"cable", "cordset"} or "clamp" not in part.facts:
        coils = [e for e in part.elements if e.kind == "coil"]
        inductive = [e for e in coils if e.values["inductance"].high > 0.0]
        assert not inductive, "a coil needs the word `clamp` among the facts"
        return
    found = {e.kind for e in part.elements} & HARM_KINDS
    wanted = {"none": set(), "diode": {"diode"}, "tvs": {"clamp"}, "zener": HARM_KINDS}
    assert found == wanted[part.facts["clamp"]]
    coils = [e for e in part.elements if e.kind == "coil"]
    for coil in coils if part.facts["clamp"] == "diode" else []:
        across = [d for d in part.elements if (d.tail, d.head) == (coil.head, coil.tail)]
        assert [d.kind for d in across] == ["diode"], "the diode blocks while the coil is fed"


def channels_of_standard_type() -> list[tuple[str, str]]:
    return [
        (name, next(iter(part.channels)))
        for name in FILES
        if (part := read(name)[0]) is not None
        and any(c.limits in INPUT_TYPES for c in part.channels.values())
    ]


@pytest.mark.parametrize(("name", "first"), channels_of_standard_type())
def test_inputs_draw_what_their_type_demands(name, first):
    # Source: iec-61131-2, table of sinking inputs
    part = part_of(name)
    channel = part.channels[first]
    on_v, on_a, transit_a, most_a = INPUT_TYPES[channel.limits]
    element = part.element_by_name[channel.element]
    assert amps_at(element, on_v)[0] >= on_a
    assert amps_at(element, 5.0)[0] >= transit_a
    assert amps_at(element, 30.0)[1] <= most_a


def sensors_of_the_standard() -> list[str]:
    return [
        name
        for name in FILES
        if (part := read(name)[0]) is not None and part.source == "iec-60947-5-2"
    ]


@pytest.mark.parametrize("name", sensors_of_the_standard())
def test_proximity_switches_keep_to_their_standard(name):
    # Source: iec-60947-5-2; two wires: drop to 8 V, leakage to 1.5 mA, least current to 5 mA;
    # three or four wires: drop to 3.5 V, leakage to 0.5 mA.
    part = part_of(name)
    two_wires = part.alive is None
    for element in part.elements:
        if element.kind == "drop":
            assert element.values["drop"].high <= (8.0 if two_wires else 3.5)
            assert element.values["max"].low >= 0.05
            if two_wires:
                assert element.values["min"].high <= 0.005
        if element.kind == "leak":
            assert element.values["current"].high <= (0.0015 if two_wires else 0.0005)


@pytest.mark.parametrize("name", [n for n in FILES if n.startswith("supply-")])
def test_supplies_limit_above_their_rating(name):
    # Overload starts at 105 to 150 % of the rated current. Source: common practice
    part = part_of(name)
    output = part.element_by_name["output"]
    rated, limit = output.values["max"].typ, output.values["limit"]
    assert 1.05 * rated <= limit.low and limit.high <= 1.5 * rated
    assert part.actors == {"supply": ("on", "off")}
    assert (output.tail, output.head) == (part.terminals["+"], part.terminals["-"])
    bonded = any(e.kind == "bond" and {e.tail, e.head} == {"minus", "PE"} for e in part.elements)
    assert bonded == (part.facts["floating"] == "no")


def test_namur_sensor_and_amplifier_agree():
    # Source: iec-60947-5-6: 8.2 V through 1 kΩ; 1.2 mA or less is off, 2.1 mA or more is on;
    # a sensor gives 1.0 mA or less, 2.2 mA or more.
    sensor = part_of("inductive-namur").element_by_name
    amplifier = part_of("namur-input-2")
    series = amplifier.element_by_name["bias"].values["ohm"].typ
    series += amplifier.element_by_name["in1"].values["ohm"].typ
    assert series == pytest.approx(1000.0)
    assert 8.2 / (series + sensor["damped"].values["ohm"].low) <= 0.0010 + 1e-6
    assert 8.2 / (series + sensor["undamped"].values["ohm"].high) >= 0.0022 - 1e-5
    limits = amplifier.channels["I1"].values
    load_ohm = amplifier.element_by_name["in1"].values["ohm"].typ
    assert limits["on_v"].typ / load_ohm == pytest.approx(limits["on_a"].typ, rel=0.01)
    assert limits["off_v"].typ / load_ohm == pytest.approx(limits["off_a"].typ, rel=0.01)


def pin_map(name: str, pins: tuple[str, str], sockets: range) -> list[tuple[str, str]]:
    found = part_of(name).sockets
    return [tuple(found[f"X{k}"].pins[pin] for pin in pins) for k in sockets]


@pytest.mark.parametrize(
    ("name", "sockets", "wanted"),
    [
        # offset: socket k has k on pin 4 and k + 8 on pin 2
        ("io-panel-16x16", range(1, 9), [(f"I{k}", f"I{k + 8}") for k in range(1, 9)]),
        ("io-panel-16x16", range(11, 19), [(f"O{k}", f"O{k + 8}") for k in range(1, 9)]),
        # consecutive, pin 4 first
        ("io-block-8-inputs", range(1, 5),
         [("I1", "I2"), ("I3", "I4"), ("I5", "I6"), ("I7", "I8")]),
        ("io-panel-16x16-consecutive", range(11, 13), [("O1", "O2"), ("O3", "O4")]),
        # consecutive, pin 2 first
        ("io-block-8-inputs-pin2-first", range(1, 5),
         [("I2", "I1"), ("I4", "I3"), ("I6", "I5"), ("I8", "I7")]),
    ],
)  # fmt: skip
def test_channel_of_pins_4_and_2(name, sockets, wanted):
    assert pin_map(name, ("4", "2"), sockets) == wanted


@pytest.mark.parametrize(
    ("name", "pin4_of", "pin2_of"),
    [("m12-y-splitter", "A", "B"), ("m12-y-splitter-reversed", "B", "A")],
)
def test_splitter_legs(name, pin4_of, pin2_of):
    sockets = part_of(name).sockets
    trunk = sockets["T"].pins
    assert sockets[pin4_of].pins["4"] == trunk["4"]
    assert sockets[pin2_of].pins["4"] == trunk["2"]
    for leg in "AB":
        assert [sockets[leg].pins[p] for p in "13"] == [trunk[p] for p in "13"]


def test_a_two_wire_switch_works_through_a_splitter_leg():
    for name in ("reed-2wire-led", "inductive-2wire-no"):
        assert set(part_of(name).sockets["X"].pins) == {"1", "4"}


@pytest.mark.parametrize(
    ("name", "rest", "other"),
    [
        ("pushbutton-1no-led", "released", "pressed"),
        ("key-switch-2pos", "left", "right"),
        ("door-switch-status", "closed", "open"),
        ("inductive-pnp-no", "clear", "target"),
        ("pressure-pnp-no-m8", "low", "reached"),
        ("light-curtain-ossd-status", "interrupted", "clear"),
        ("relay-2k2-diode", "released", "energised"),
        ("supply-24v-5a", "on", "off"),
    ],
)
def test_positions_and_rest(name, rest, other):
    assert list(part_of(name).actors.values()) == [(rest, other)]


@every_part
def test_a_position_belongs_to_one_actor_or_all_share_the_same_words(name):
    # `S1 pressed` must be clear; parts with several like actors are written `S9.left pressed`
    part = part_of(name)
    if len(part.actors) > 1:
        assert len(set(part.actors.values())) == 1


@pytest.mark.parametrize(
    ("name", "element", "key", "low", "high"),
    [
        # The data given for the tea-caddy cell, in SI units.
        ("supply-24v-5a", "output", "volts", 23.8, 24.4),
        ("supply-24v-5a", "output", "limit", 5.5, 5.5),
        ("io-panel-16x16", "in1", "current", 2.5e-3, 3.5e-3),
        ("io-panel-16x16", "leak16", "current", 0.0, 0.4e-3),
        ("io-block-8-inputs", "in8", "ohm", 5040.0, 6160.0),
        ("pushbutton-1no-led", "lamp", "current", 9e-3, 9e-3),
        ("pushbutton-1nc", "contact", "wet_v", 17.0, 17.0),
        ("reed-2wire-led", "output", "drop", 2.5, 3.5),
        ("reed-2wire-led", "output", "min", 2e-3, 2e-3),
        ("reed-2wire-led", "output", "max", 40e-3, 40e-3),
        ("inductive-2wire-no", "output", "drop", 3.5, 5.5),
        ("inductive-2wire-no", "output", "min", 3e-3, 3e-3),
        ("inductive-2wire-no", "off", "current", 0.4e-3, 1.2e-3),
        ("light-curtain-ossd-status", "output", "pulse", 300e-6, 300e-6),
        ("relay-2k2-diode", "coil", "pulls_in", 16.8, 16.8),
    ],
)
def test_data_of_the_example_cell(name, element, key, low, high):
    value = part_of(name).element_by_name[element].values[key]
    assert (value.low, value.high) == pytest.approx((low, high))


@pytest.mark.parametrize(
    ("name", "watts"),
    [("valve-4w5-din-diode", 4.5), ("valve-2w3-bare", 2.3), ("valve-11w-bare", 11.0)],
)
def test_valves_take_the_power_they_are_named_after(name, watts):
    assert 24.0**2 / part_of(name).element_by_name["coil"].values["ohm"].typ == pytest.approx(
        watts, rel=0.02
    )


def test_four_branches_are_set_one_by_one():
    settings = as_nodes({"set": "[2 A, 2 A, 1 A, 4 A]"})
    part, problems = load_part(FILES["electronic-breaker-4ch"], settings)
    assert part is not None
    assert not problems
    found = [part.element_by_name[f"branch{n}"].values["set"].typ for n in range(1, 5)]
    assert found == [2.0, 2.0, 1.0, 4.0]
