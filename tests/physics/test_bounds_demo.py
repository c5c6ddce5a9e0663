"""The guaranteed ranges of `prove` against thousands of random tolerances and states."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ringout import run
from ringout.circuit.model import HIGH, LOW, TYP
from ringout.findings.judge import lay_out
from ringout.solve import CERTIFICATE_A, solve_cases

EXAMPLES = Path(__file__).resolve().parents[2] / "examples" / "caddy-lidder"
SAMPLES = 1500


@pytest.mark.parametrize("name", ["corrected.yaml", "first-drawing.yaml"])
def test_no_sample_leaves_the_guaranteed_range(name):
    """Every element at a random corner, every other switch anywhere it may be: inside, always."""
    cell = run.load(str(EXAMPLES / name)).cell
    bench = lay_out(cell)
    circuit, found = bench.circuit, bench.found
    random = np.random.default_rng(20)
    allowed = [
        [r for r in found.rows_of(c.number) if found.allowed[r]] for c in found.part.clusters
    ]
    positions = np.repeat(found.base, SAMPLES, axis=0)
    for cluster in found.part.clusters:
        rows = allowed[cluster.number]
        columns = [*cluster.actors, *cluster.driven]
        if rows and columns:
            positions[:, columns] = found.positions[random.choice(rows, SAMPLES)][:, columns]
    corner = random.choice([LOW, TYP, HIGH], (SAMPLES, len(circuit.elements)))
    on = circuit.conducts(positions)
    every = np.arange(len(circuit.elements))
    curve_of = np.where(on, circuit.on_curve[corner, every], circuit.off_curve[corner, every])
    curve_of[:, found.cut] = circuit.off_curve[TYP][found.cut]
    solution = solve_cases(circuit.network, curve_of)
    assert solution.solved.all()
    assert solution.residual_a.max() <= CERTIFICATE_A
    checked = 0
    for states in bench.levels.by_name.values():
        element = circuit.elements[states.element]
        volts = solution.node_v[:, element.tail] - solution.node_v[:, element.head]
        if states.signal.on is None and element.kind in ("coil", "resistance"):
            volts = np.abs(volts)  # a coil works either way round
        columns = list(states.columns)
        for row, state in enumerate(states.positions):
            same = (positions[:, columns] == state[columns]).all(axis=1)
            if not same.any() or not states.proven[row]:
                continue
            checked += int(same.sum())
            assert volts[same].min() >= states.v_low[row] - 1e-6, states.signal.name
            assert volts[same].max() <= states.v_high[row] + 1e-6, states.signal.name
    assert checked > 10 * SAMPLES  # most signals were really sampled


def test_the_bounds_are_reached_not_only_respected():
    """At the two extreme corners of one button's own circuit the range is met within 20 mV.

    Source: Ohm's law; the button's loop is one series path, its corners are the extremes.
    """
    cell = run.load(str(EXAMPLES / "corrected.yaml")).cell
    bench = lay_out(cell)
    circuit, states = bench.circuit, bench.levels.by_name["start_lidding"]
    row = int(np.flatnonzero(states.wanted_on)[0])
    element = circuit.elements[states.element]
    ends = []
    for corner in (LOW, HIGH):
        curve_of = circuit.curves(states.positions[row : row + 1], corner)
        node_v = solve_cases(circuit.network, curve_of).node_v[0]
        ends.append(node_v[element.tail] - node_v[element.head])
    assert states.v_low[row] <= min(ends)
    assert states.v_high[row] >= max(ends)
    assert states.v_high[row] - states.v_low[row] < 0.9
