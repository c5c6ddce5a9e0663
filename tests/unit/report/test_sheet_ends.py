"""The connection sheet: what a core is made off with, where it goes and what is written on it."""

from __future__ import annotations

from collections import Counter

import pytest

from ringout.cell.resolve import resolve_cell
from ringout.cellfile import parse_cell_text, read_cell_text
from ringout.report.sheet import build_sheet
from ringout.report.sheet_make import read_house
from ringout.report.sheet_model import CLAMP, FIELD_PLUG, LEAD, LINK, PLUGGED
from tests.contract.house import ROOT

EXAMPLES = ROOT / "examples" / "caddy-lidder"
HEAD = """
cell: bench
revision: A
items:
  K1: {part: io-panel-16x16, note: panel}
  S1: {part: pushbutton-1no-led, note: start}
  S2: {part: pushbutton-1no, note: stop}
  B1: {part: inductive-pnp-no, note: seen}
"""


def cell_of(text):
    found, problems = parse_cell_text(text, "bench.yaml")
    assert found is not None and not problems, problems
    cell, more = resolve_cell(found)
    assert not more, [p.message for p in more]
    return cell


def sheet_of(body, head=HEAD):
    return build_sheet(cell_of(head + body))


def example(name):
    found, problems = read_cell_text(EXAMPLES / name)
    assert found is not None and not problems
    return resolve_cell(found, folder=str(EXAMPLES))[0]


@pytest.fixture(scope="module", params=["corrected.yaml", "first-drawing.yaml"])
def demo(request):
    cell = example(request.param)
    return cell, build_sheet(cell)


def rows_of(sheet):
    return [(e, r) for e in sheet.ends for r in e.rows]


# -- what must hold for any sheet ----------------------------------------------------------


def test_every_join_stands_exactly_once_at_each_of_its_ends(demo):
    cell, sheet = demo
    wanted = Counter()
    for join in cell.joins:
        wanted[join.cable, join.core, str(join.a), str(join.b)] += 1
        wanted[join.cable, join.core, str(join.b), str(join.a)] += 1
    got = Counter(
        (e.cable if e.part else "", r.core, r.terminal, r.far)
        for e, r in rows_of(sheet)
        if not r.spare
    )
    assert got == wanted


def test_the_two_ends_of_a_join_are_end_1_and_end_2_of_its_cable(demo):
    _, sheet = demo
    ends = {}
    for e, r in rows_of(sheet):
        if not r.spare and e.part:
            ends.setdefault((e.cable, r.core), []).append(e.end)
    assert all(sorted(found) == [1, 2] for found in ends.values())


def test_labels_mirror_each_other(demo):
    _, sheet = demo
    written = Counter((r.label, r.far_label) for _, r in rows_of(sheet) if not r.spare)
    assert written == Counter({(b, a): n for (a, b), n in written.items()})


def test_a_hand_landed_label_names_core_and_both_terminals_own_end_first(demo):
    _, sheet = demo
    for e, r in rows_of(sheet):
        if e.work in {CLAMP, FIELD_PLUG} and not r.spare:
            assert r.label == f"{e.cable}:{r.core} {r.terminal} > {r.far}"


def test_every_core_of_a_joined_cable_stands_at_both_ends_joined_or_spare(demo):
    cell, sheet = demo
    for name, cable in cell.cables.items():
        for end in (1, 2):
            cores = [r.core for e, r in rows_of(sheet) if e.cable == name and e.end == end]
            assert sorted(cores) == sorted(c.colour for c in cable.part.cores), (name, end)


def test_plugged_ends_strip_nothing_and_hand_landed_ones_say_how_much(demo):
    _, sheet = demo
    for e, r in rows_of(sheet):
        if e.work == PLUGGED:
            assert (r.strip_mm, r.ferrule, r.torque_nm) == (None, None, None)
            assert "nothing to strip" in e.fit
        elif e.work in {CLAMP, FIELD_PLUG, LINK} and not r.spare:
            assert r.strip_mm is not None and 5 <= r.strip_mm <= 15


def test_what_is_only_plugged_comes_last(demo):
    _, sheet = demo
    works = [e.work == PLUGGED for e in sheet.ends]
    assert works == sorted(works)


# -- how an end is made off ----------------------------------------------------------------


def test_a_button_core_of_034_gets_a_turquoise_ferrule_of_the_named_series():
    sheet = sheet_of("""
cables:
  W1: {part: cable-4x0.34, length: 6 m}
joins:
  - S1:13  W1:BN  K1-X1:1
""")
    row = sheet.ends[0].rows[0]
    # trade extension of DIN 46228-4: 0.34 mm2 turquoise; common practice: 8 mm barrel, strip 10 mm
    assert (row.ferrule.area_mm2, row.ferrule.colour) == (0.34, "turquoise")
    assert row.ferrule.series == sheet.ferrule_series == "DIN 46228-4"
    assert (row.ferrule.barrel_mm, row.strip_mm) == (8, 10)
    assert row.awg == 22  # ASTM B258: AWG 22 is 0.3255 mm2, the nearest even gauge
    assert row.torque_nm == 0.5  # IEC 60947-1: M3 0.5 Nm
    assert row.colour == "brown"  # IEC 60757


@pytest.mark.parametrize(
    ("series", "colour"),
    [("DIN 46228-4", "red"), ("French", "red"), ("old German", "yellow")],
)  # trade charts, 1.0 mm2: DIN red, French red, old German yellow
def test_the_house_chooses_the_colour_series(series, colour):
    sheet = sheet_of(
        """
  T1: {part: supply-24v-5a}
cables:
  W1: {part: cable-2x1.0, length: 1 m}
joins:
  - T1:+  W1:BN  K1-XS:1
""",
        f"house: {{ferrule_series: {series}}}" + HEAD,
    )
    assert sheet.ends[0].rows[0].ferrule.colour == colour
    assert sheet.ferrule_series.lower().startswith(series.lower())


def test_an_unknown_series_is_told_and_the_default_is_named():
    house = read_house({"ferrule_series": "rainbow"})
    assert house.series_name == "DIN 46228-4"
    assert any("rainbow" in note for note in house.notes)


def test_a_core_landed_on_a_socket_pin_wants_the_opposite_plug_and_its_wiring_side():
    sheet = sheet_of("""
cables:
  W1: {part: cable-4x0.34, length: 6 m}
joins:
  - S1:13  W1:BN  K1-X1:1
  - S1:14  W1:BK  K1-X1:4
""")
    end = next(e for e in sheet.ends if e.place == "K1-X1")
    assert (end.work, end.connector, end.gender) == (FIELD_PLUG, "m12-a-4", "male")
    assert "plug (male)" in end.fit and "WIRING side" in end.fit
    # IEC 61076-2-101 (memory): male mating face runs counter-clockwise, so from behind clockwise;
    # with the key up between 1 and 2, pin 1 is then top left and 4 bottom left.
    assert "clockwise" in end.fit and "counter" not in end.fit
    assert {r.pin: r.seen for r in end.rows if not r.spare} == {"1": "top left", "4": "bottom left"}
    assert all(r.ferrule is None and r.strip_mm == 6.5 for r in end.rows if not r.spare)
    assert end.sheath_mm == (20, 30)  # trade practice for small M12 connectors
    assert end.nut.startswith("nut 0.6 Nm")  # common practice for M12 metal nuts
    assert [r.core for r in end.rows if r.spare] == ["WH", "BU"]
    assert all("spare: cut back" in r.cautions[0] for r in end.rows if r.spare)


def test_pin_5_wants_a_five_pin_plug():
    sheet = sheet_of("""
  Q1: {part: valve-4w5-din-diode}
cables:
  W1: {part: cable-3x0.5, length: 4 m}
joins:
  - K1-X11:4  W1:BN    Q1:1
  - K1-X11:5  W1:GNYE  Q1:PE
""")
    assert sheet.ends[0].connector == "m12-a-5"
    assert sheet.ends[0].rows[1].seen == "centre"


def test_a_join_written_the_other_way_round_stays_at_its_own_end():
    sheet = sheet_of("""
cables:
  W1: {part: cable-4x0.34, length: 6 m}
joins:
  - S1:13    W1:BN  K1-X1:1
  - K1-X1:4  W1:BK  S1:14
""")
    assert [(e.place, e.end, len(e.rows)) for e in sheet.ends] == [("S1", 1, 4), ("K1-X1", 2, 4)]


def test_two_conductors_in_one_clamp_are_told_and_the_link_follows_its_cable():
    sheet = sheet_of("""
cables:
  W1: {part: cable-4x0.34, length: 6 m}
  W2: {part: cable-4x0.34, length: 6 m}
joins:
  - S1:13  W1:BN  K1-X1:1
  - S2:13  W2:BN  K1-X2:1
  - S1:13  S1:X1
""")
    assert [e.cable for e in sheet.ends] == ["W1", "W1", "link", "link", "W2", "W2"]
    both = [r for _, r in rows_of(sheet) if r.terminal == "S1:13"]
    assert len(both) == 2
    assert all("two conductors in this clamp" in r.cautions[0] for r in both)
    link = next(e for e in sheet.ends if e.cable == LINK)
    assert link.rows[0].area_mm2 == 0.34  # as the core it shares the clamp with
    assert sheet.cut.links == 1


def test_a_component_lead_is_no_link_and_gets_neither_sleeve_nor_label():
    sheet = sheet_of("""
  Q2: {part: valve-2w3-bare}
  R2: {part: suppressor-diode}
joins:
  - Q2:1  R2:+
  - Q2:2  R2:-
""")
    assert {e.work for e in sheet.ends} == {LEAD}
    assert all(r.ferrule is None and not r.label for _, r in rows_of(sheet))
    assert sheet.cut.links == 0 and sheet.cut.core_labels == 0


def test_a_cordset_is_plugged_with_the_connectors_it_has():
    sheet = sheet_of("""
cables:
  W1: {part: cordset-m12-4, length: 5 m}
joins:
  - B1  W1  K1-X1
""")
    assert [(e.place, e.connector, e.gender) for e in sheet.ends] == [
        ("B1-X", "m12-a-4", "female"),
        ("K1-X1", "m12-a-4", "male"),
    ]
    assert sheet.ends[0].rows[0].label == "W1 B1-X > K1-X1"
    assert sheet.cut.cables[0].ends_by_hand == 0
    # The sensor has no pin 2, so the white core carries nothing.
    assert [r.core for r in sheet.ends[0].rows if r.spare] == ["WH"]


def test_the_open_end_of_a_cordset_is_made_off_and_its_connector_is_not():
    sheet = sheet_of("""
  X1: {part: terminal-block-4}
cables:
  W1: {part: cordset-m12-4-open, length: 5 m}
joins:
  - B1-X:4  W1:BK  X1:1
""")
    assert [e.work for e in sheet.ends] == [PLUGGED, CLAMP]
    assert sheet.cut.cables[0].ends_by_hand == 1


def test_a_field_wireable_connector_that_is_an_item_is_seen_from_its_wiring_side():
    sheet = sheet_of("""
  X5: {part: m12-socket-4-field}
cables:
  W1: {part: cable-4x0.34, length: 6 m}
joins:
  - X5:1  W1:BN  S1:13
  - X5:4  W1:BK  S1:14
""")
    end = sheet.ends[0]
    assert (end.work, end.gender) == (FIELD_PLUG, "female")
    # A female socket from behind looks like the male mating face: pin 1 top right (memory).
    assert {r.pin: r.seen for r in end.rows if not r.spare} == {
        "1": "top right",
        "4": "bottom right",
    }
    assert not sheet.cut.plugs  # it is an item already


def test_two_wires_share_the_plug_of_one_socket_and_one_plug_is_bought():
    sheet = sheet_of("""
  K5: {part: relay-2k2-diode}
cables:
  W1: {part: wire-0.75, length: 1 m}
  W2: {part: wire-0.75, length: 1 m}
joins:
  - K1-X13:4  W1:1  K5:A1
  - K1-X13:3  W2:1  K5:A2
""")
    assert [p.count for p in sheet.cut.plugs] == [1]
    second = next(e for e in sheet.ends if e.cable == "W2" and e.end == 1)
    assert second.fit.startswith("same plug as W1")


def test_cores_too_thick_for_a_round_connector_are_told():
    sheet = sheet_of("""
cables:
  W1: {part: cable-2x1.0, length: 6 m}
joins:
  - S1:13  W1:BN  K1-X1:1
""")
    end = next(e for e in sheet.ends if e.place == "K1-X1")
    # makers of field-wireable M12 connectors take up to 0.75 mm2 (common practice)
    assert any("1 mm2 is more than this connector takes (0.75 mm2)" in c for c in end.cautions)


def test_one_cable_end_on_two_sockets_is_told():
    sheet = sheet_of("""
cables:
  W1: {part: cable-4x0.34, length: 6 m}
joins:
  - S1:13  W1:BN  K1-X1:1
  - S1:14  W1:BK  K1-X2:4
""")
    places = [e for e in sheet.ends if e.end == 2]
    assert [e.place for e in places] == ["K1-X1", "K1-X2"]
    assert all(any("2 connectors (K1-X1, K1-X2)" in c for c in e.cautions) for e in places)
