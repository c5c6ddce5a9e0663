from __future__ import annotations

import numpy as np
import pytest

from ringout.circuit import curves as cv
from ringout.circuit.network import CurveTable, NetworkBuilder, curve_text, dump_text


def test_equal_curves_share_one_number():
    builder = NetworkBuilder()
    assert builder.add_curve(cv.resistor(10.0)) == builder.add_curve(cv.resistor(10.0))
    assert builder.add_curve(cv.resistor(11.0)) == 1


def test_elements_need_nodes_that_exist():
    builder = NetworkBuilder()
    with pytest.raises(ValueError, match="no node 1"):
        builder.add_element("R", 0, 1)


def test_a_built_network_cannot_be_changed():
    builder = NetworkBuilder()
    builder.add_element("R", builder.add_node("a"), 0)
    network = builder.build()
    with pytest.raises(ValueError, match="read-only"):
        network.tail[0] = 3
    builder.add_node("b")
    assert network.node_count == 2
    assert builder.build().node_count == 3


def test_the_table_holds_every_piece():
    curves = [cv.resistor(10.0), cv.source(24.0, 0.1, 5.0), cv.diode(0.7, 1.0)]
    table = CurveTable.of(curves)
    assert table.count.tolist() == [0, 2, 1]
    for row, curve in enumerate(curves):
        for v in np.linspace(-30, 30, 121):
            piece = int((v > table.break_v[row]).sum())
            current = table.intercept_a[row, piece] + table.slope_s[row, piece] * v
            assert current == pytest.approx(cv.value(curve, float(v)), abs=1e-9)


# The text a person reads; each line told by the elements put in.
def test_dump():
    builder = NetworkBuilder()
    plus = builder.add_node("G1:+")
    builder.add_element("G1.source", plus, 0)
    builder.add_element("W1:BN", plus, 0)
    case = [builder.add_curve(cv.source(24.0, 0.1, 5.0)), builder.add_curve(cv.resistor(0.35))]
    assert dump_text(builder.build(), np.array(case)) == (
        "2 nodes, 2 elements; reference PE\n"
        "G1.source: G1:+ > PE: 1e-09 S  (23.5 V, -5 A)  (24 V, 0 A)  1e-09 S\n"
        "W1:BN: G1:+ > PE: 0.35 ohm\n"
    )


def test_a_straight_line_beside_zero_says_so():
    assert curve_text(cv.source(24.0, 2.0, can_sink=True)) == "2 ohm, -12 A at 0 V"
