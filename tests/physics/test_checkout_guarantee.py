"""Powered readings of the procedure: no healthy cell is turned away, whatever its tolerances."""

from __future__ import annotations

import numpy as np
import pytest

from ringout import run
from ringout.checkout.model import VOLTS
from ringout.checkout.plan import plan_checkout
from ringout.circuit.model import HIGH, LOW, TYP
from ringout.findings.effects import lay_out
from ringout.findings.settle import settle_states
from ringout.solve import solve_cases
from tests.physics.small_cells import small_cell

TRIES = 200
ITEMS = (
    "K1: io-block-8-inputs\nB1: inductive-pnp-no\nB2: inductive-2wire-no\nX5: terminal-block-4\n"
    "R1: {part: resistor, ohm: 4.7 kΩ ± 5 %}"
)
JOINS = (
    "P K1-XS:1\nM K1-XS:2\nK1-X1:1 B1-X:1\nK1-X1:3 B1-X:3\nB1-X:4 K1-X1:4\n"
    "K1-X2:1 B2-X:1\nB2-X:4 X5:1\nX5:2 K1-X2:4\nX5:3 R1:1\nM R1:2"
)
SIGNALS = "one: {channel: K1.I1, on: B1 target}\ntwo: {channel: K1.I3, on: B2 target}"


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    file = tmp_path_factory.mktemp("guarantee") / "cell.yaml"
    file.write_text(small_cell(ITEMS, JOINS, SIGNALS), "utf-8")
    loaded = run.load(str(file))
    assert not loaded.broken, loaded.problems
    return lay_out(loaded.cell), plan_checkout(loaded.cell)


def test_every_mixture_of_tolerances_reads_within_the_printed_limits(planned):
    """Each element at its own lowest, typical or highest curve, at random: still a healthy cell."""
    laid, checkout = planned
    circuit = laid.circuit
    steps = [s for s in checkout.steps if s.kind == VOLTS]
    assert steps
    random = np.random.default_rng(1)
    for step in steps:
        position = laid.found.base[0].copy()
        for actor, name in step.state:
            column = circuit.actor_index[actor]
            position[column] = circuit.actors[column].positions.index(name)
        settled = settle_states(circuit, position[None, :], circuit.curves(position[None, :]))
        curves = np.stack([circuit.curves(settled.positions, c)[0] for c in (LOW, TYP, HIGH)])
        mixed = curves[random.integers(0, 3, (TRIES, curves.shape[1])), np.arange(curves.shape[1])]
        solved = solve_cases(circuit.network, mixed)
        volts = solved.node_v[:, circuit.node(step.a)] - solved.node_v[:, circuit.node(step.b)]
        assert np.nanmin(volts) >= step.low, step.do
        assert np.nanmax(volts) <= step.high, step.do
