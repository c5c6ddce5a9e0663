"""Dead readings: what the meter shows at any corner lies within the guaranteed bounds.

Source: Rayleigh's monotonicity law; Ohm's law for the small cases.
"""

from __future__ import annotations

import numpy as np
import pytest

from ringout import run
from ringout.circuit import curves as cv
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import HEALTHY, single_faults, with_faults
from ringout.findings.effects import lay_out
from ringout.findings.looks import HEALTHY_CELL, Look, Predictor
from ringout.findings.looks.dead import DeadCells, chords
from ringout.findings.looks.places import pairs_of, rails_of

CELL = "examples/caddy-lidder/corrected.yaml"
SAME = 1e-6


def test_chords_of_known_curves():
    assert chords(cv.resistor(100.0), -3.0, 3.0) == pytest.approx((0.01, 0.01))
    # a diode of 0.7 V and 1 ohm: nothing below 0.7 V, (3 - 0.7) / 1 at 3 V
    low, high = chords(cv.diode(0.7, 1.0), -3.0, 3.0)
    assert low == pytest.approx(0.0, abs=1e-6)
    assert high == pytest.approx((3.0 - 0.7) / 1.0 / 3.0, rel=1e-3)
    assert chords(cv.diode(0.7, 1.0), -3.0, 0.0)[1] == pytest.approx(0.0, abs=1e-6)


@pytest.fixture(scope="module")
def laid():
    return lay_out(run.load(CELL).cell)


@pytest.mark.parametrize("rails", [False, True])
def test_the_meter_lies_within_the_bounds_for_every_fault(laid, rails):
    circuit = laid.circuit
    faults = list({f.delta: f for f in single_faults(circuit)}.values())
    pairs = [p for p in pairs_of(circuit, *rails_of(circuit)) if p.rails == rails]
    pairs = pairs[:: max(len(pairs) // 4, 1)]
    fault_of = np.array([HEALTHY, *range(len(faults))])
    positions = np.repeat(laid.found.base, len(fault_of), axis=0)
    cells = DeadCells(with_faults(circuit, faults), positions, fault_of)
    nodes = np.array([(circuit.node(p.a), circuit.node(p.b)) for p in pairs])
    bounds = cells.rail_readings(nodes) if rails else cells.readings(nodes)
    predictor = Predictor(circuit.cell)
    for k, pair in enumerate(pairs):
        seen = predictor.see(Look("ohms", pair.a, pair.b), [HEALTHY_CELL, *faults])
        low, high = bounds.low[:, k], bounds.high[:, k]
        assert (seen.low >= low * (1 - SAME) - 1e-4).all(), str(pair.a)
        assert (seen.high <= high * (1 + SAME) + 1e-4).all(), str(pair.a)


def test_copper_reads_its_ohms():
    cell = run.load(CELL).cell
    circuit = compile_circuit(cell)
    join = next(j for j in cell.joins if j.cable == "W33")  # 9 m of 1 mm2
    cells = DeadCells(with_faults(circuit, ()), circuit.rest(), np.array([HEALTHY]))
    pair = np.array([(circuit.node(join.a), circuit.node(join.b))])
    found = cells.readings(pair)
    # iec-60228 class 5: 19.5 ohm/km at 20 C for 1 mm2; 9 m are 0.176 ohm, clamps beside
    assert found.low[0, 0] < 0.176 * 1.1
    assert found.high[0, 0] > 0.176
    assert found.high[0, 0] < 0.3
