"""Pin faces: mirror images, direction of counting, and no two pins in one place."""

import math
from itertools import pairwise

import pytest

from ringout.tables import read_table
from ringout.tables.faces import (
    connector_face,
    connectors,
    counts_clockwise,
    pin_positions,
)

VIEWS = [(g, s) for g in ("male", "female") for s in ("mating", "wiring")]


def turning(pins, names):
    """Return +1 when the named pins run once round counter-clockwise, -1 clockwise, else 0."""
    angles = [math.atan2(pins[name].y, pins[name].x) for name in names]
    steps = list(pairwise([*angles, angles[0]]))
    if sum((b - a) % math.tau for a, b in steps) == pytest.approx(math.tau):
        return 1
    return -1 if sum((a - b) % math.tau for a, b in steps) == pytest.approx(math.tau) else 0


def mirror(pins):
    return {name: (-pin.x, pin.y) for name, pin in pins.items()}


def plain(pins):
    return {name: (pin.x, pin.y) for name, pin in pins.items()}


@pytest.mark.parametrize("connector", connectors())
def test_male_and_female_mating_faces_are_mirror_images(connector):
    # geometry: two halves that mate face each other
    male = pin_positions(connector, "male", "mating")
    assert plain(pin_positions(connector, "female", "mating")) == mirror(male)


@pytest.mark.parametrize("connector", connectors())
@pytest.mark.parametrize("gender", ["male", "female"])
def test_the_wiring_side_mirrors_again(connector, gender):
    # geometry: the same contacts seen from behind
    mating = pin_positions(connector, gender, "mating")
    assert plain(pin_positions(connector, gender, "wiring")) == mirror(mating)


@pytest.mark.parametrize("connector", ["m12-a-4", "m12-a-5"])
@pytest.mark.parametrize(
    ("gender", "side", "turn"),
    [
        # connector standard, from memory: male counts counter-clockwise, female clockwise
        ("male", "mating", 1),
        ("female", "mating", -1),
        # geometry: from behind it is the other way round
        ("male", "wiring", -1),
        ("female", "wiring", 1),
    ],
)
def test_m12_numbering_direction(connector, gender, side, turn):
    pins = pin_positions(connector, gender, side)
    assert turning(pins, ["1", "2", "3", "4"]) == turn
    assert counts_clockwise(connector, gender, side) == (turn == -1)


@pytest.mark.parametrize(("gender", "side"), VIEWS)
@pytest.mark.parametrize(
    ("connector", "ring"), [("m12-a-8", "1234567"), ("m12-a-12", "123456789"), ("m12-a-3", "134")]
)
def test_stated_direction_is_the_drawn_direction(connector, ring, gender, side):
    turn = turning(pin_positions(connector, gender, side), list(ring))
    assert turn == (-1 if counts_clockwise(connector, gender, side) else 1)


@pytest.mark.parametrize("connector", ["m12-a-4", "m12-a-5", "m12-b-5", "m12-d-4"])
def test_pin_1_stands_beside_the_key(connector):
    # connector standard, from memory: counting starts beside the key
    face = connector_face(connector, "male", "mating")
    key = math.radians(face.key_deg)
    away = {
        name: math.hypot(pin.x - math.cos(key), pin.y - math.sin(key))
        for name, pin in face.pins.items()
    }
    assert away["1"] <= min(away.values()) + 1e-6


@pytest.mark.parametrize(
    ("connector", "pin"), [("m12-a-5", "5"), ("m12-b-5", "5"), ("m12-a-8", "8")]
)
def test_the_last_pin_is_in_the_centre(connector, pin):
    # connector standard, from memory
    for gender, side in VIEWS:
        assert plain(pin_positions(connector, gender, side))[pin] == (0.0, 0.0)


@pytest.mark.parametrize("connector", connectors())
def test_no_two_pins_share_a_place(connector):
    pins = list(pin_positions(connector, "male", "mating").values())
    gaps = [math.hypot(a.x - b.x, a.y - b.y) for i, a in enumerate(pins) for b in pins[:i]]
    assert min(gaps) > 0.5
    assert all(math.hypot(p.x, p.y) <= 1.0001 for p in pins)


def test_pin_count_is_the_count_in_the_name():
    for connector in connectors():
        count = connector.rpartition("-")[2]
        if count.isdigit():
            assert len(pin_positions(connector, "male", "mating")) == int(count), connector


def test_every_face_has_a_rating():
    rated = {row.text("connector") for row in read_table("connector_ratings")}
    assert set(connectors()) <= rated


def test_three_pin_plug_fits_the_four_pin_places():
    # the 3-pin plug leaves pin 2 of the 4-pin face free; pin assignment guide
    four = plain(pin_positions("m12-a-4", "male", "mating"))
    three = plain(pin_positions("m12-a-3", "male", "mating"))
    assert three == {name: four[name] for name in ("1", "3", "4")}


def test_the_least_sure_pin_decides_the_confidence():
    assert connector_face("m12-a-4", "male", "mating").confidence == "M"
    assert connector_face("m12-a-8", "male", "mating").confidence == "L"


@pytest.mark.parametrize(
    "ask", [("m12-a-6", "male", "mating"), ("m12-a-4", "plug", "mating"), ("m12-a-4", "male", "up")]
)
def test_an_unknown_view_is_refused(ask):
    with pytest.raises(KeyError):
        connector_face(*ask)


def test_pins_that_do_not_run_round_have_no_direction():
    assert counts_clockwise("m8-4", "male", "mating") is None
