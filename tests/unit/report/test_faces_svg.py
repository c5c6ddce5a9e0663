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
from ringout.report.drawing.faces import draw_face, draw_face_card, draw_view, lay_out
from ringout.report.drawing.metrics import POINT_MM
from ringout.report.drawing.paper import Paper
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
from ringout.report.faces_symbols import core_fills, is_light
from ringout.report.faces_text import face_lines, face_text
from ringout.report.sheet import build_sheet
from ringout.tables.faces import connector_outline, connectors
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


def landed_face(connector, gender, place="K1-X1"):
    """Return a face with something long on every pin."""
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
    return Face(place, "", connector, gender, pins)


@every_view
def test_a_view_is_well_formed_and_says_what_it_is(connector, gender, side):
    face = landed_face(connector, gender)
    for brief in (False, True):
        view = lay_out(face, side, brief=brief)
        assert f"seen from the {side} side" in view.title
        assert view.foot[0] == f"scale {connector_outline(connector).scale_x:g} : 1"
        if not brief:
            assert view.title[0] == f"K1-X1 {connector_name(connector)} {gender}"
    root = ET.fromstring(draw_face_card(face).svg)
    wide, high = (float(root.get(k).removesuffix("mm")) for k in ("width", "height"))
    assert [float(n) for n in root.get("viewBox").split()][2:] == pytest.approx([wide, high], abs=1)
    texts = [t.text for t in root.iter(f"{SVG}text")]
    for pin in face.pins:
        # in the contact, in all four views, and beside it with its conductor
        assert texts.count(pin.pin) == 4
        assert texts.count(f"{pin.pin}  {pin.conductor}") == 4


@pytest.mark.parametrize("connector", connectors())
@pytest.mark.parametrize("gender", ["male", "female"])
def test_outline_pin_circle_and_contacts_are_to_the_scale_that_is_written(connector, gender):
    # the sizes of the table, which are those of the standards as far as they are known
    shape = connector_outline(connector)
    paper = Paper(200.0)
    view = lay_out(landed_face(connector, gender), MATING)
    draw_view(paper, view, 0.0, 0.0)
    root = ET.fromstring(paper.finish("x", "x", 200.0).svg)
    scale = float(re.search(r"([\d.]+) : 1", view.foot[0])[1])
    cx, cy = view.centre_mm
    if shape.square:
        sides = [float(r.get("width")) for r in root.iter(f"{SVG}rect") if r.get("rx") == "3"]
        assert sides == pytest.approx([shape.body_mm * scale], abs=0.02)
        return
    circles = [
        (float(c.get("cx")), float(c.get("cy")), 2 * float(c.get("r")))
        for c in root.iter(f"{SVG}circle")
    ]
    assert max(d for *_, d in circles) == pytest.approx(shape.body_mm * scale, abs=0.02)
    contacts = [c for c in circles if c[2] == pytest.approx(shape.contact_mm * scale, abs=0.02)]
    assert len(contacts) == len(view.labels)
    far = max(((x - cx) ** 2 + (y - cy) ** 2) ** 0.5 for x, y, _ in contacts)
    assert 2 * far == pytest.approx(shape.circle_mm * scale, abs=0.05)


@pytest.mark.parametrize(("connector", "thread_mm"), [("m12-a-5", 12), ("m8-3", 8)])
def test_the_outline_of_a_round_connector_is_its_thread(connector, thread_mm):
    # the name of the thread, ISO 261: M12 is 12 mm, M8 is 8 mm
    assert connector_outline(connector).body_mm == thread_mm


def test_a_contact_the_device_does_not_use_is_shown_as_such():
    whole = landed_face("m12-a-5", "female")
    face = Face("K1-X11", "", "m12-a-5", "female", whole.pins[1:])
    svg = draw_face(face).svg
    assert svg.count('fill="#666">1</text>') == 2  # grey, from both sides
    assert svg.count('fill="#666">') == 2


def check_nothing_on_top(sheet):
    """Check that no text is on another, on a contact or over the edge, or too small to read."""
    for k, text in enumerate(sheet.texts):
        box = text.box
        assert text.size_mm >= 7.0 * POINT_MM
        assert box.x_mm >= -0.01 and box.x_mm + box.width_mm <= sheet.width_mm + 0.01, text
        assert box.y_mm >= -0.01 and box.y_mm + box.height_mm <= sheet.height_mm + 0.01, text
        assert not any(box.meets(other.box) for other in sheet.texts[k + 1 :]), text
        assert not any(box.meets(sign) for sign in sheet.signs), text
    for size in re.findall(r'font-size="([\d.]+)"', sheet.svg):
        assert float(size) >= 7.0 * POINT_MM


@pytest.mark.parametrize("connector", connectors())
@pytest.mark.parametrize("gender", ["male", "female"])
def test_no_text_stands_on_a_pin_on_another_text_or_outside(connector, gender):
    for face in (landed_face(connector, gender), bare_face(connector, gender)):
        check_nothing_on_top(draw_face(face))
        check_nothing_on_top(draw_face_card(face))


words = st.text(st.characters(codec="utf-8"), max_size=30)


@given(words, words, words)
def test_whatever_a_name_holds_the_drawing_stays_well_formed(place, carries, conductor):
    pins = tuple(
        FacePin(p.pin, carries=carries, conductor=conductor, colour=conductor, far="x")
        for p in bare_face("m12-a-5", "female").pins
    )
    face = Face(place, carries, "m12-a-5", "female", pins)
    for sheet in (draw_face(face), draw_face_card(face)):
        ET.fromstring(sheet.svg)
        check_nothing_on_top(sheet)


def test_colour_is_never_the_only_sign(sheet):
    for face in sheet.faces:
        card, brief = draw_face_card(face).svg, draw_face(face).svg
        for pin in face.pins:
            if pin.conductor:
                assert f"{pin.pin}  {pin.conductor}" in card
                code = pin.conductor if pin.colour.isdigit() else pin.colour
                assert f">{code}</text>" in brief


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
            if abs(apart) > connector_outline(connector).circle_mm * 0.25:
                got = found[a.pin.pin][axis] - found[b.pin.pin][axis]
                assert got * apart > 0


def test_a_connector_without_known_places_is_a_list_only():
    face = Face("K9-X1", "", "unheard-of-7", "female", (FacePin("1", "PE"),))
    assert not face.drawn and face_text(face, MATING) == [] and where_words(face, MATING) == {}
    assert any("PE" in line for line in face_lines(face))
