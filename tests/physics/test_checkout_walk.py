"""The checkout, proven by walking it: every fault put into the reference engine, one by one.

Nothing of the planner is used but the procedure it gives: the readings are solved anew, with the
meter as an element of the circuit.
"""

from __future__ import annotations

import random

import pytest

from ringout import run
from ringout.checkout import plan_checkout
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import both, single_faults
from ringout.findings.effects import effects_of, lay_out
from ringout.findings.looks import HEALTHY_CELL
from tests.physics.walk import Walker, looks_of, unexpected

CELL = "examples/caddy-lidder/corrected.yaml"
PAIRS = 1000


@pytest.fixture(scope="module")
def cell():
    return run.load(CELL).cell


@pytest.fixture(scope="module")
def checkout(cell):
    return plan_checkout(cell)


@pytest.fixture(scope="module")
def unlike(cell):
    return list({f.delta: f for f in single_faults(compile_circuit(cell))}.values())


@pytest.fixture(scope="module")
def stops(cell, checkout, unlike):
    found = Walker(cell, checkout).stops_at(unlike)
    return {f.delta: n for f, n in zip(unlike, found, strict=True)}


def test_the_cost_is_proven_least(checkout):
    assert checkout.optimal
    assert checkout.cost_s == pytest.approx(checkout.bound_s)
    assert checkout.cost_s == pytest.approx(sum(s.seconds for s in checkout.steps))


def test_every_exposable_fault_is_noticed(cell, checkout, stops):
    hidden = {u.fault.delta for u in checkout.not_exposable}
    missed = [
        f.id
        for f in single_faults(compile_circuit(cell))
        if f.delta not in hidden and not stops[f.delta]
    ]
    assert not missed


def test_a_fault_is_noticed_no_later_than_the_procedure_says(checkout, stops):
    late = [
        (f.id, n, stops[f.delta])
        for n, step in enumerate(checkout.steps, 1)
        for f in step.exposes
        if not 0 < stops[f.delta] <= n
    ]
    assert not late


def test_harm_is_noticed_before_power(cell, checkout, unlike, stops):
    dead = sum(s.phase == "dead" for s in checkout.steps)
    told = {u.fault.delta for u in checkout.harm_before_power}
    rows = effects_of(lay_out(cell), unlike).rows
    harmful = [r.fault for r in rows if r.harm]
    assert len(harmful) > 20  # else nothing is tested here
    unsafe = [f.id for f in harmful if not 0 < stops[f.delta] <= dead and f.delta not in told]
    assert not unsafe


def test_the_healthy_cell_passes_every_step_at_every_corner_of_tolerance(cell, checkout):
    walker = Walker(cell, checkout)
    for step in checkout.steps:
        for look, word in looks_of(step, walker.kinds):
            seen = walker.predictor.see(look, [HEALTHY_CELL])
            assert not unexpected(step, look, word, seen).any(), step.do
            if look.by_meter:
                assert step.low <= seen.low[0] <= seen.high[0] <= step.high, step.do


def test_pairs_of_faults(cell, checkout, unlike, capsys):
    """Two faults may hide each other; the share caught is told, most must be."""
    chance = random.Random(7)
    pairs = []
    while len(pairs) < PAIRS:
        pair = both(*chance.sample(unlike, 2))
        if pair is not None:
            pairs.append(pair)
    stopped = Walker(cell, checkout).stops_at(pairs)
    hidden = {u.fault.id for u in checkout.not_exposable}
    fair = [not all(part in hidden for part in p.id.split(" + ")) for p in pairs]
    caught = sum(n > 0 for n, f in zip(stopped, fair, strict=True) if f)
    with capsys.disabled():
        print(f"\n{caught} of {sum(fair)} random pairs with an exposable fault are caught")
    assert caught >= 0.98 * sum(fair)
