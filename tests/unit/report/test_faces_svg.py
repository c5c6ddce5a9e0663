"""Pin faces: mirror images where the trade says so, well-formed, to scale, nothing on top."""

from __future__ import annotations

import re
from itertools import combinations
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.cell.resolve import resolve_cell
from ringout.cellfile import read_cell_text
from ringout.report.faces_files import write_faces
from ringout.report.faces_model import (
    MATING,
    SIDES,
    WIRING,
    Face,
    FacePin,
    bare_face,
    connector_name,
    counterpart,
    placed_pins,
    where_words,
)
from ringout.report.faces_shape import shape_of
from ringout.report.faces_svg import SMALL_MM, TEXT_MM, face_card_svg, face_svg, lay_out
from ringout.report.faces_symbols import core_fills, is_light
from ringout.report.faces_text import face_lines, face_text
from ringout.report.sheet import build_sheet
from ringout.tables.faces import connectors
from tests.contract.house import ROOT

EXAMPLES = ROOT / "examples" / "caddy-lidder"
SVG = "{http://www.w3.org/2000/svg}"
every_view = pytest.mark.parametrize(
    ("connector", "gender", "side"),
    [(c, g, s) for c in connectors() for g in ("male", "female") for s in SIDES],
)


@pytest.fixture(scope="module")
def sheet():
    found, _ = read_cell_text(EXAMPLES / "corrected.yaml")
    return build_sheet(resolve_cell(found, folder=str(EXAMPLES))[0])


def spots(face, side):
    return {p.pin.pin: (p.x_mm, p.y_mm) for p in placed_pins(face, side)}


def mirrored(places):
    return {pin: (pytest.approx(-x), pytest.approx(y)) for pin, (x, y) in places.items()}


# -- mirror images -------------------------------------------------------------------------


@pytest.mark.parametrize("connector", connectors())
def test_male_and_female_faces_are_mirror_images_and_the_wiring_side_mirrors_again(connector):
    male, female = bare_face(connector, "male"), bare_face(connector, "female")
    assert spots(female, MATING) == mirrored(spots(male, MATING))
    assert spots(male, WIRING) == mirrored(spots(male, MATING))
    assert spots(female, WIRING) == mirrored(spots(female, MATING))
    # so what is plugged in looks, from behind, like the socket from the front
    assert spots(counterpart(female), WIRING) == spots(female, MATING)


def test_m12_counts_counter_clockwise_on_the_male_face_with_the_key_up():
    # IEC 61076-2-101 (memory): male 1-2-3-4 counter-clockwise, key between 1 and 2, 5 centre
    words = where_words(bare_face("m12-a-5", "male"), MATING)
    assert words == {
        "1": "top right",
        "2": "top left",
        "3": "bottom left",
        "4": "bottom right",
        "5": "centre",
    }
    assert where_words(bare_face("m12-a-5", "female"), MATING)["1"] == "top left"


def test_many_pins_are_told_by_the_clock():
    words = where_words(bare_face("m12-a-8", "male"), MATING)
    # memory: 1 to 7 round counter-clockwise from the key, 8 centre
    assert words["8"] == "centre" and words["5"] == "6 o'clock"
    assert words["1"] == "1 o'clock" and words["2"] == "11 o'clock"


# -- drawings ------------------------------------------------------------------------------


@every_view
def test_a_view_is_well_formed_to_scale_and_says_what_it_is(connector, gender, side):
    root = ET.fromstring(face_svg(bare_face(connector, gender), side))
    wide, high = (float(root.get(k).removesuffix("mm")) for k in ("width", "height"))
    assert [float(n) for n in root.get("viewBox").split()] == [0, 0, wide, high]
    title = root.findtext(f"{SVG}title")
    assert f"{gender}, seen from the {side} side" in title
    assert connector_name(connector) in title
    texts = [t.text for t in root.iter(f"{SVG}text")]
    assert f"seen from the {side} side" in texts
    for pin in bare_face(connector, gender).pins:
        assert texts.count(pin.pin) == 2  # in the contact and beside it


@pytest.mark.parametrize(("connector", "body_mm"), [("m12-a-5", 12), ("m8-3", 8)])
def test_the_outline_is_as_many_times_the_thread_as_the_drawing_says(connector, body_mm):
    text = face_svg(bare_face(connector, "male"))
    root = ET.fromstring(text)
    largest = max(float(c.get("r")) for c in root.iter(f"{SVG}circle"))
    scale = float(re.search(r"([\d.]+) : 1", text)[1])
    assert 2 * largest == pytest.approx(body_mm * scale)


def boxes_of(view):
    shape = shape_of(view.face.connector)
    cx, cy = view.centre_mm
    reach = shape.pin_mm * shape.magnify / 2 * 1.5
    pins = [
        (
            cx + p.pin.x_mm * shape.magnify - reach,
            cy - p.pin.y_mm * shape.magnify - reach,
            cx + p.pin.x_mm * shape.magnify + reach,
            cy - p.pin.y_mm * shape.magnify + reach,
        )
        for p in view.labels
    ]
    texts = []
    for label in view.labels:
        left = label.x_mm - label.width_mm if label.left else label.x_mm
        low = label.y_mm + (SMALL_MM + 0.5 if label.second else TEXT_MM * 0.4)
        texts.append((left, label.y_mm - TEXT_MM, left + label.width_mm, low))
    return pins, texts


def overlap(a, b):
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def check_nothing_on_top(view):
    pins, texts = boxes_of(view)
    assert not any(overlap(p, t) for p in pins for t in texts)
    assert not any(overlap(a, b) for a, b in combinations(texts, 2))
    head_low = 2 * TEXT_MM + 4.6
    for left, top, right, low in texts:
        assert left >= -0.01 and right <= view.width_mm + 0.01
        assert head_low - TEXT_MM <= top and low <= view.height_mm - SMALL_MM
    for title in view.title:
        assert len(title) * TEXT_MM * 0.62 <= view.width_mm


@every_view
def test_no_text_stands_on_a_pin_on_another_text_or_outside(connector, gender, side):
    pins = tuple(
        FacePin(
            p.pin,
            carries="a_signal_with_a_long_name",
            channel="K1.I16",
            conductor="W101:GNYE",
            colour="GNYE",
            far="S1:13",
        )
        for p in bare_face(connector, gender).pins
    )
    check_nothing_on_top(lay_out(Face("K1-X1", "", connector, gender, pins), side))
    check_nothing_on_top(lay_out(bare_face(connector, gender), side))


words = st.text(st.characters(codec="utf-8"), max_size=30)


@given(words, words, words)
def test_whatever_a_name_holds_the_drawing_stays_well_formed(place, carries, conductor):
    pins = tuple(
        FacePin(p.pin, carries=carries, conductor=conductor, colour=conductor, far="x")
        for p in bare_face("m12-a-5", "female").pins
    )
    face = Face(place, carries, "m12-a-5", "female", pins)
    ET.fromstring(face_card_svg(face))
    check_nothing_on_top(lay_out(face, MATING))


def test_colour_is_never_the_only_sign(sheet):
    for face in sheet.faces:
        text = face_svg(face)
        for pin in face.pins:
            if pin.conductor:
                assert f"{pin.pin}  {pin.conductor}" in text


def test_figures_on_dark_cores_are_white_and_on_light_ones_black():
    assert not is_light(core_fills("BK")[0]) and not is_light(core_fills("BN")[0])
    assert is_light(core_fills("WH")[0]) and is_light(core_fills("YE")[0])
    assert core_fills("GNYE")[1] is not None and core_fills("12") == ("#fff", None)


# -- of a cell -----------------------------------------------------------------------------


def test_a_face_says_what_is_on_each_pin(sheet):
    faces = {f.place: f for f in sheet.faces}
    pins = {p.pin: p for p in faces["K1-X5"].pins}
    # demo cell: the splitter's leg A goes to pin 4, leg B to pin 2; panel offset 8
    assert (pins["4"].carries, pins["4"].channel) == ("clamp_open", "K1.I5")
    assert (pins["2"].carries, pins["2"].channel) == ("clamp_closed", "K1.I13")
    assert (pins["4"].conductor, pins["4"].far) == ("W14:BK", "Y1-T:4")
    assert (pins["1"].carries, pins["3"].carries) == ("+24 V", "0 V")
    assert "K1-X4" not in faces  # nothing is plugged there
    assert "K1-XS" not in faces  # clamps with printed numbers


def test_files_are_written_for_used_sockets_and_types(sheet, tmp_path):
    files = write_faces(sheet, tmp_path / "faces")
    names = {f.name for f in files}
    assert {"K1-X1.svg", "B3-X.svg", "type-m12-a-5.svg", "type-m8-3.svg"} <= names
    assert len(names) == len(files) == len(list((tmp_path / "faces").iterdir()))
    for file in files:
        root = ET.fromstring(file.read_text(encoding="utf-8"))
        titles = [t.text for t in root.iter(f"{SVG}text") if "seen from" in (t.text or "")]
        assert (
            sorted(titles) == ["seen from the mating side"] * 2 + ["seen from the wiring side"] * 2
        )


def test_odd_place_names_cannot_leave_the_folder_or_hide_each_other(sheet, tmp_path):
    odd = [
        Face(place, "", "m8-3", "male", bare_face("m8-3", "male").pins)
        for place in ("../../out", "a/b", "a:b", "A_B")
    ]
    import dataclasses

    files = write_faces(dataclasses.replace(sheet, faces=tuple(odd)), tmp_path)
    assert all(f.parent == tmp_path and f.is_file() for f in files)
    assert len({f.name.lower() for f in files}) == len(odd) + 1


@every_view
def test_the_text_face_puts_each_pin_where_the_drawing_does(connector, gender, side):
    face = bare_face(connector, gender)
    lines = face_text(face, side)
    assert "[key]" in lines[0]
    assert len({len(line) for line in lines}) == 1
    found = {}
    for y, line in enumerate(lines[1:-1]):
        for match in re.finditer(r"[^\s|]+", line):
            found[match[0]] = (match.start() + len(match[0]) / 2, y)
    assert set(found) == {p.pin for p in face.pins}
    for a, b in combinations(placed_pins(face, side), 2):
        for sign, axis in ((1, 0), (-1, 1)):
            apart = ((a.x_mm, a.y_mm)[axis] - (b.x_mm, b.y_mm)[axis]) * sign
            if abs(apart) > shape_of(connector).circle_mm * 0.25:
                got = found[a.pin.pin][axis] - found[b.pin.pin][axis]
                assert got * apart > 0


def test_a_connector_without_known_places_is_a_list_only():
    face = Face("K9-X1", "", "unheard-of-7", "female", (FacePin("1", "PE"),))
    assert not face.drawn and face_text(face, MATING) == [] and where_words(face, MATING) == {}
    assert any("PE" in line for line in face_lines(face))
