"""What is on a drawing is what was solved: elements, figures, names, colours, faults."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import find_fault, single_faults
from ringout.report.drawing import build_circuit_view, draw_circuit, draw_signal
from ringout.report.drawing.blocks import on_simple_paths
from ringout.report.drawing.lanes import make_grid
from ringout.report.drawing.path_model import RETURN
from tests.contract.house import ROOT
from tests.unit.report.test_drawing_overlap import ONE_BUTTON, cell_from, cell_of

DEMO = ROOT / "examples" / "caddy-lidder"
FIELD = ROOT / "tests" / "cells" / "field"


@pytest.fixture(scope="module")
def demo():
    return cell_of(DEMO / "corrected.yaml")


@pytest.fixture(scope="module")
def first():
    return cell_of(DEMO / "first-drawing.yaml")


@pytest.fixture(scope="module")
def circuit(demo):
    return compile_circuit(demo)


def words(sheets) -> list[str]:
    return [t.text for s in sheets for t in s.texts]


def view_of(cell, name, state=None, **more):
    return build_circuit_view(cell, cell.signals[name], state, **more)


def names(view) -> set[str]:
    return {c.name for c in view.conductors}


# -- what takes part -----------------------------------------------------------------------


def test_a_button_from_plus_to_zero(demo):
    view = view_of(demo, "start_lidding", {"S1": "pressed"})
    # read off the cell file: supply, branch 1, panel, S1 with its lamp, and back
    wanted = {"W30:BN", "W31:BN", "W1:BN", "W1:BK", "W1:BU", "W31:BU", "W30:BU", "link"}
    assert names(view) == wanted
    assert {e.name for e in view.elements} == {
        "T1.output", "F1.branch1", "S1.contact", "S1.lamp", "K1.in1",
    }  # fmt: skip


def test_the_input_draws_its_constant_current(demo):
    view = view_of(demo, "start_lidding", {"S1": "pressed"})
    (contact,) = [e for e in view.elements if e.name == "S1.contact"]
    # the part says 2.5..3.5 mA, typically the middle (iec-61131-2 type 3 asks for 2 mA or more)
    assert contact.amps == pytest.approx(3.0e-3, rel=1e-3)
    assert "3 mA" in contact.words
    assert contact.live


def test_released_nothing_flows_and_the_way_is_still_drawn(demo):
    view = view_of(demo, "start_lidding", {})
    on = view_of(demo, "start_lidding", {"S1": "pressed"})
    assert names(view) == names(on)
    (contact,) = [e for e in view.elements if e.name == "S1.contact"]
    assert not contact.live
    assert "open" in contact.words


def test_layout_is_the_same_in_every_state(demo):
    grids = [make_grid(view_of(demo, "start_lidding", s)) for s in ({}, {"S1": "pressed"})]
    assert grids[0].column == grids[1].column
    assert [g.net for g in grids[0].lanes] == [g.net for g in grids[1].lanes]


def test_a_dead_short_is_on_the_drawing_of_the_signal_that_makes_it(first):
    view = view_of(first, "finish_cycle", {})
    (contact,) = [e for e in view.elements if e.name == "S2.contact"]
    # the branch holds 1.5 times its 2 A for a moment (WE-31), the rest of the cell takes little
    assert 2.5 < contact.amps < 3.1
    assert any("F1.branch1 opens" in c for c in view.cautions)
    (free,) = [n for i in view.items if i.name == "K1" for n in i.nets if n.net == "I2"]
    assert free.free == "X2:4"
    assert "free" in words(draw_circuit(view))


def test_a_short_elsewhere_does_not_spoil_other_drawings(first):
    view = view_of(first, "on_line", {"S3": "right"})
    assert any("S2 pressed" in c for c in view.cautions)
    (contact,) = [e for e in view.elements if e.name == "S3.make"]
    assert contact.amps == pytest.approx(3.0e-3, rel=0.01)


def test_two_supplies_and_their_common(demo):
    del demo
    cell = cell_of(FIELD / "c12_two_zero_volts_never_met" / "cell.yaml")
    view = view_of(cell, "fan")
    assert {"T1.output", "T2.output"} <= {e.name for e in view.elements}


def test_return_through_the_frame_passes_earth():
    cell = cell_of(FIELD / "c41_return_through_the_frame" / "cell.yaml")
    view = view_of(cell, next(iter(cell.signals)))
    (bond,) = [e for e in view.elements if e.symbol == "link"]
    assert bond.live
    assert {i.name for i in view.items for n in i.nets if n.earth} == {"T1", "X9"}


def test_currents_balance_at_nets_between_rails(demo, circuit):
    """Kirchhoff: at a net that is no rail, what the drawing shows comes in and goes out."""
    looked = 0
    for name in ("start_lidding", "clamp_open", "magazine_low", "conveyor_run", "on_line"):
        view = view_of(demo, name, circuit=circuit)
        sums: dict[tuple[str, str], float] = {}
        for e in view.elements:
            sums[e.item, e.tail] = sums.get((e.item, e.tail), 0.0) - e.amps
            sums[e.item, e.head] = sums.get((e.item, e.head), 0.0) + e.amps
        for c in view.conductors:
            for pin, sign in ((c.a, -1.0), (c.b, 1.0)):
                key = (pin.terminal.item, pin.net)
                sums[key] = sums.get(key, 0.0) + sign * c.amps
        for item in view.items:
            for net in item.nets:
                if 1.5 < net.rank < RETURN:
                    # leakage beside a closed output, up to 0.4 mA, is left out
                    assert abs(sums[item.name, net.net]) < 4e-4
                    looked += 1
    assert looked > 10


# -- what is written -----------------------------------------------------------------------


@pytest.mark.parametrize("name", ["start_lidding", "clamp_closed", "vacuum", "magazine_low"])
def test_every_core_pin_and_figure_is_written(demo, circuit, name):
    view = view_of(demo, name, circuit=circuit)
    written = words(draw_circuit(view))
    for c in view.conductors:
        assert c.name in written
        assert {c.a.label, c.b.label} <= set(written)
    for item in view.items:
        assert item.name in written
    volts = {f"{n.volts:.2f} V".replace("-0.00", "0.00") for i in view.items for n in i.nets}
    shown = {t for t in written if re.fullmatch(r"[\d.]+ V", t)}
    assert volts <= shown | {"24.1 V"}


def test_connector_genders_are_those_of_the_parts(demo, circuit):
    view = view_of(demo, "clamp_closed", circuit=circuit)
    genders = {(c.a.terminal.item, c.a.gender) for c in view.conductors} | {
        (c.b.terminal.item, c.b.gender) for c in view.conductors
    }
    # a panel socket is female, a switch's plug male; clamps have none (iec-61076-2-101 practice)
    assert {("K1", "female"), ("B5", "male"), ("Y1", "male"), ("Y1", "female")} <= genders
    assert ("T1", "") in genders


def test_wires_have_the_colour_of_the_core_and_a_dark_rim(tmp_path):
    text = ONE_BUTTON.replace("cable-2x0.5", "cable-5x0.75").replace("W1:BU", "W1:GNYE")
    cell = cell_from(text.replace("W1:BN", "W1:1"), tmp_path)
    svg = draw_signal(cell, cell.signals["start"])[0].svg
    lines = re.findall(r'<path d="(M[^"]+)" stroke="([^"]+)" stroke-width="([\d.]+)"', svg)
    green = [(d, float(w)) for d, colour, w in lines if colour == "#28963c"]
    yellow = {d for d, colour, _ in lines if colour == "#f5d728"}
    assert green, "a green-yellow core has no green"
    for d, wide in green:  # 40, 150, 60 and 245, 215, 40 of wire_colours.csv
        assert d in yellow
        assert any(o == d and c == "#000" and float(w) > wide for o, c, w in lines)


def test_current_is_shown_by_thickness_too(demo, circuit):
    def widest(state):
        svg = draw_signal(demo, demo.signals["on_line"], state, circuit=circuit)[0].svg
        inner = re.findall(r'stroke="#14\w+" stroke-width="([\d.]+)"', svg)  # black core W3:BK
        return max(map(float, inner))

    assert widest({"S3": "right"}) > 2 * widest({})


# -- faults --------------------------------------------------------------------------------


def test_an_open_core_is_drawn_open(demo, circuit):
    fault = find_fault(single_faults(circuit), "open W1:BK@S1")
    view = view_of(demo, "start_lidding", {"S1": "pressed"}, fault=fault, circuit=circuit)
    (core,) = [c for c in view.conductors if "W1:BK" in c.name]
    assert core.kind == "fault"
    assert not core.live
    assert fault.text in view.fault
    assert "off" in view.result


def test_exchanged_cores_are_drawn_where_they_are(demo, circuit):
    fault = find_fault(single_faults(circuit), "swap W1:BN W1:BK@S1")
    view = view_of(demo, "start_lidding", {"S1": "pressed"}, fault=fault, circuit=circuit)
    moved = {c.colour: c for c in view.conductors if c.kind == "fault"}
    ends = {colour: {str(c.a.terminal), str(c.b.terminal)} for colour, c in moved.items()}
    assert ends == {"BN": {"K1-X1:1", "S1:14"}, "BK": {"K1-X1:4", "S1:13"}}


# -- edges on paths ------------------------------------------------------------------------


def walks(edges, a, b):
    """Return the edges of every simple path from a to b, by trying all of them."""
    found: set[int] = set()

    def go(node, seen, used):
        if node == b:
            found.update(used)
            return
        for number, x, y in edges:
            for here, there in ((x, y), (y, x)):
                if here == node and there not in seen:
                    go(there, seen | {there}, [*used, number])

    go(a, {a}, [])
    return found


@given(
    ends=st.lists(
        st.tuples(st.integers(0, 5), st.integers(0, 5)).filter(lambda p: p[0] != p[1]),
        min_size=1,
        max_size=9,
    ),
    a=st.integers(0, 5),
    b=st.integers(0, 5),
)
def test_edges_on_simple_paths_are_all_and_only_those(ends, a, b):
    edges = [(k, x, y) for k, (x, y) in enumerate(ends)]
    if a != b:
        assert on_simple_paths(edges, [(a, b)]) == walks(edges, a, b)


def test_lanes_of_one_box_keep_plus_above_zero(demo, circuit):
    for name in demo.signals:
        view = view_of(demo, name, circuit=circuit)
        grid = make_grid(view)
        for item in view.items:
            ranks = [
                next(n.rank for n in item.nets if n.net == lane.net[item.name])
                for lane in grid.lanes
                if item.name in lane.net
            ]
            if item.family == "supply":
                assert all(x <= y for x, y in pairwise(ranks))


RELAY = """
cell: Relay
revision: A
ambient: 10..40 °C
items: {T1: supply-24v-5a, K1: io-panel-16x16, K5: relay-2k2-diode}
cables: {W1: {part: cable-4x0.5, length: 5 m}}
joins:
  - T1:+ K1-XS:1
  - T1:- K1-XS:2
  - T1:+ K1-XS:3
  - T1:- K1-XS:4
  - K1-X11:4 W1:BN K5:A1
  - K1-X11:3 W1:BU K5:A2
  - K5:11 K1-X4:1
  - K5:14 K1-X4:4
signals: {run: {channel: K1.O1, drives: K5}, running: {channel: K1.I4, on: K5 energised}}
"""


def test_a_relay_is_pulled_in_by_its_coil_not_by_wishing(tmp_path):
    cell = cell_from(RELAY, tmp_path)
    view = view_of(cell, "running")
    assert view.state == "K1.O1 on"
    (contact,) = [e for e in view.elements if e.name == "K5.make"]
    assert contact.live
    assert "energised" in contact.words
    asked = view_of(cell, "running", {"K5": "energised"})
    assert any("follows its coil" in c for c in asked.cautions)
    (contact,) = [e for e in asked.elements if e.name == "K5.make"]
    assert not contact.live
