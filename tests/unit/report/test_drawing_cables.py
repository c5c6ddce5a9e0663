"""Cables with both ends and maps of terminals: all of the model is on them, nothing overlaps."""

from __future__ import annotations

import re

import pytest

from ringout.cell.model import Terminal
from ringout.report.drawing import cable_names, draw_cable, draw_map, mapped_items
from ringout.report.drawing.cable import end_face, lanes_of
from ringout.report.drawing.map_build import build_map
from ringout.report.sheet import build_sheet
from ringout.report.sheet_nets import Nets, other_end
from tests.bench.cells import generated_cell
from tests.unit.report.test_drawing_overlap import EXAMPLES, FIELD, cell_from, cell_of, trouble

STRIP = """\
cell: A strip, a fuse and a box
revision: A
items:
  T1: supply-24v-5a
  K1: {part: io-panel-16x16, note: robot controller}
  S1: {part: pushbutton-1no-gold, note: start}
  S2: {part: pushbutton-1no-gold, note: again}
  X1: {part: terminal-strip-10, note: cabinet strip}
  X2: {part: terminal-block-fuse, note: fuse of the buttons}
  X3: {part: distribution-box-4, note: box at the gripper}
  B1: {part: inductive-pnp-no, note: part present}
cables:
  W1: {part: cable-2x1.0, length: 2 m}
  W2: {part: cable-4x0.34, length: 5 m}
  W3: {part: cable-4x0.34, length: 3 m}
  W5: {part: cordset-m12-4, length: 3 m}
joins:
  - T1:+   W1:BN  K1-XS:1
  - T1:-   W1:BU  K1-XS:2
  - X1:1a  W3:BN  K1-X1:1
  - X1:2a  W3:BK  K1-X1:4
  - X1:3a  W3:WH  K1-X1:2
  - X1:1b  X2:1
  - X2:2   W2:BN  S1:13
  - X1:2b  W2:BK  S1:14
  - S1:13  S2:13
  - X1:3b  W2:WH  S2:14
  - X1:1b  X1:4b
  - X1:5b  X1:6b
  - B1     W5     X3-X1
signals:
  start: {channel: K1.I1, on: S1 pressed}
"""
NAME = "S_a_push_button_with_a_name_of_forty_char"


def words_of(sheet):
    return [t.text for t in sheet.texts]


def squeezed(sheet):
    return re.sub(r"\s", "", "".join(words_of(sheet)))


@pytest.fixture(scope="module")
def strip(tmp_path_factory):
    return cell_from(STRIP, tmp_path_factory.mktemp("strip"))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_a_cable_shows_every_core_from_pin_to_pin_with_its_part_and_length(path):
    cell = cell_of(path)
    sheet = build_sheet(cell)
    assert set(cable_names(sheet)) == set(cell.cables)  # all are joined
    for name in cable_names(sheet):
        drawing = draw_cable(sheet, name)
        words = words_of(drawing)
        cable = cell.cables[name]
        assert cable.part.name in " ".join(words)
        assert f"{cable.length_m.typ:g} m" in " ".join(words)
        for core in cable.part.cores:
            assert sum(w.startswith(f"{name}:{core.colour}") or core.colour.isdigit()
                       for w in words) >= 1  # fmt: skip
        ends = [e for e in sheet.ends if e.cable == name]
        lanes = {lane.core: lane for lane in lanes_of(ends)}
        for join in cell.joins:
            if join.cable != name:
                continue
            found = [e[1].terminal for e in lanes[join.core].ends if e is not None]
            assert sorted(found) == sorted([str(join.a), str(join.b)])
            assert {join.a.pin, join.b.pin} <= set(words)
        for end in ends:
            assert end.place in words
            face = end_face(sheet, end)
            if face is not None:
                assert "seen from the mating side" in words
                assert "seen from the wiring side" in words
                # each contact bears the core that this very cable lands on it
                own = {r.pin: r.core for r in end.rows if r.pin}
                shown = {p.pin: p.colour for p in face.pins if p.conductor == p.colour}
                assert shown == own


def test_both_ends_of_one_core_stand_at_one_height():
    sheet = build_sheet(cell_of(EXAMPLES[0]))
    drawing = draw_cable(sheet, "W1")
    at = {t.text: t.box.y_mm for t in drawing.texts}
    ends = [e for e in sheet.ends if e.cable == "W1"]
    for lane in lanes_of(ends):
        left, right = lane.ends
        if left and right and left[1].pin and right[1].pin:
            assert at[left[1].pin] == pytest.approx(at[right[1].pin], abs=0.1)


def test_a_plug_that_two_cables_share_shows_the_cores_of_both():
    sheet = build_sheet(cell_of(next(p for p in EXAMPLES if p.stem == "corrected")))
    # demo cell: the relay's two wires W23 and W24 land on pins 4 and 3 of one plug
    words = words_of(draw_cable(sheet, "W23"))
    assert words.count("W24:1") == 2  # from both sides


def test_a_cable_that_is_joined_nowhere_is_no_drawing():
    sheet = build_sheet(cell_of(EXAMPLES[0]))
    with pytest.raises(KeyError):
        draw_cable(sheet, "W999")


def test_a_map_shows_every_pin_what_is_on_it_and_what_is_free(strip):
    nets = Nets(strip)
    assert mapped_items(strip) == ("X1", "X2", "X3")
    for name in mapped_items(strip):
        (drawing,) = draw_map(strip, name)
        found = squeezed(drawing)
        words = words_of(drawing)
        free = 0
        for terminal in strip.items[name].terminals():
            label = f"{terminal.socket}:{terminal.pin}" if terminal.socket else terminal.pin
            assert label in words
            joins = nets.joins_at.get(terminal, [])
            free += not joins
            for join in joins:
                assert str(other_end(join, terminal)) in found
                if join.cable:
                    assert f"{join.conductor}{other_end(join, terminal)}" in found
        assert words.count("free") == free


def test_both_sides_of_a_feed_through_stand_on_one_line(strip):
    rows = build_map(strip, "X1").rows
    assert [(r.left.label, r.right.label) for r in rows] == [
        (f"{n}a", f"{n}b") for n in range(1, 11)
    ]
    fuse = build_map(strip, "X2").rows
    assert [(r.left.label, r.through, r.right.label) for r in fuse] == [("1", "fuse", "2")]


def test_jumpers_are_told_and_drawn(strip):
    found = build_map(strip, "X1")
    pairs = {(a.pin, b.pin) for a, b in found.jumpers}
    assert pairs == {("1b", "4b"), ("5b", "6b")}
    (drawing,) = draw_map(strip, "X1")
    assert "jumper X1:4b" in words_of(drawing)
    bars = [s for s in drawing.strokes if s.x1_mm == s.x2_mm and abs(s.y1_mm - s.y2_mm) > 5]
    assert len(bars) >= 2


def test_a_splitter_says_which_leg_works_which_pin():
    cell = cell_of(next(p for p in EXAMPLES if p.stem == "corrected"))
    rows = {(r.left.label if r.left else "", r.right.label if r.right else "") for r in
            build_map(cell, "Y1").rows}  # fmt: skip
    # the demo cell: leg A to pin 4, leg B to pin 2
    assert {("T:4", "A:4"), ("T:2", "B:4")} <= rows
    ports = dict(build_map(cell, "Y1").ports)
    assert ports["T"].startswith("M12-A 4-pin male: W14 to K1-X5")
    assert Terminal("B4", "X", "1").item in ports["A"]


@pytest.mark.parametrize("path", [*EXAMPLES, *FIELD], ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_nothing_overlaps_on_cables_and_maps(path):
    cell = cell_of(path)
    check(cell)


def test_nothing_overlaps_on_strips_and_with_long_names(tmp_path):
    check(cell_from(STRIP, tmp_path))
    long = STRIP.replace("S1", NAME).replace("start}", f"{NAME} {NAME}}}").replace("X3", f"X{NAME}")
    check(cell_from(long, tmp_path))


def test_nothing_overlaps_in_a_generated_cell(tmp_path):
    check(cell_from(generated_cell(16), tmp_path))


def check(cell):
    sheet = build_sheet(cell)
    drawings = [draw_cable(sheet, n) for n in cable_names(sheet)]
    drawings += [s for n in cell.items for s in draw_map(cell, n)]
    found = {d.name: t for d in drawings if (t := trouble(d))}
    assert not found
