"""Fault table and checkout by both engines: the same answers, and the fast one only where it pays.

The usual run calls the kernels as the plain functions they are, so that nothing is compiled; the
slow tests compile them.
"""

from __future__ import annotations

import logging
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from ringout import run
from ringout.circuit.faults import HEALTHY, single_faults, with_faults
from ringout.findings.effects import lay_out, settle_faults, table
from ringout.solve import CERTIFICATE_A, Reference, engines, fast_engine
from ringout.solve.campaign import engine, near
from tests.bench.cells import generated_cell
from tests.physics.small_cells import small_cell

DEMO = Path(__file__).resolve().parents[2] / "examples" / "caddy-lidder" / "corrected.yaml"
AGREE_V = 10e-6  # asked of both engines in issue 3
AGREE_A = 10e-6
MANY_CASES = 10**12  # worth the kernels whatever they take to compile


class Choice:
    """Says which engine is used from now on, and counts what the reference engine had to do."""

    def __init__(self, monkeypatch):
        self.patch = monkeypatch
        self.left = 0
        self.asked = 0
        of_reference, of_near = near.solve_cases, near.Near.solve

        def left(network, curve_of, **more):
            self.left += len(curve_of)
            return of_reference(network, curve_of, **more)

        def asked(own, curve_of, start_v=None):
            self.asked += len(curve_of)
            return of_near(own, curve_of, start_v)

        monkeypatch.setattr(near, "solve_cases", left)
        monkeypatch.setattr(near.Near, "solve", asked)

    def always(self, fast):
        self.left = self.asked = 0
        for module in (engines, table):
            self.patch.setattr(module, "is_worth_it", lambda *_: fast)


@pytest.fixture
def choice(monkeypatch):
    return Choice(monkeypatch)


@pytest.fixture
def plain(monkeypatch):
    """Leave the kernels uncompiled, unless an earlier test of the run has compiled them."""
    monkeypatch.setattr(engine, "ready", lambda: None)


def cell_of(folder, text):
    file = folder / "cell.yaml"
    file.write_text(text, "utf-8")
    loaded = run.load(str(file))
    assert not loaded.broken, [(str(p.span), p.message) for p in loaded.problems]
    return loaded.cell


def small(folder):
    """A contact, a sensor and a relay that works another contact: all that jumps."""
    return cell_of(
        folder,
        small_cell(
            "K1: io-block-8-inputs\nS1: pushbutton-1no\nB1: inductive-pnp-no",
            "P K1-XS:1\nM K1-XS:2\nP S1:13\nS1:14 K1-X2:4\nB1 W1 K1-X1",
            "here: {channel: K1.I1, on: B1 target}\nstart: {channel: K1.I3, on: S1 pressed}",
            cables="W1: {part: cordset-m12-4, length: 5 m}",
        ),
    )


def same_table(choice, cell, **more):
    """Check that both engines give the same table; return it."""
    choice.always(False)
    known = run.faults(cell, **more)
    assert choice.asked == 0
    choice.always(True)
    found = run.faults(cell, **more)
    assert found.solved == known.solved
    assert choice.asked >= found.solved
    assert choice.left < 0.1 * choice.asked  # it does the work itself
    assert found.not_run == known.not_run
    assert max(known.worst_residual_a, found.worst_residual_a) <= CERTIFICATE_A
    assert len(found.rows) == len(known.rows)
    for a, b in zip(known.rows, found.rows, strict=True):
        assert (b.fault, b.harm, b.latent, b.kind) == (a.fault, a.harm, a.latent, a.kind)
        assert (b.why, b.states) == (a.why, a.states)
        assert b.moved_v == pytest.approx(a.moved_v, abs=AGREE_V)
        assert [told(e) for e in b.effects] == [told(e) for e in a.effects], a.fault.id
        for old, new in zip(a.effects, b.effects, strict=True):
            for x, y in zip(old.numbers, new.numbers, strict=True):
                within = AGREE_A if x.unit == "A" else AGREE_V
                assert (y.name, y.unit) == (x.name, x.unit)
                assert y.value == pytest.approx(x.value, abs=within)
    return known


def told(effect):
    """Return all that a person is told of an effect, figures in the sentence included."""
    return effect.kind, effect.what, effect.state, effect.before, effect.after, effect.text


def same_states(cell):
    """Check every voltage and current of every fault in every state; return how many states."""
    laid = lay_out(cell)
    faults = list({f.delta: f for f in single_faults(laid.circuit)}.values())
    faulted = with_faults(laid.circuit, faults)
    network = faulted.circuit.network
    own = [laid.reach.states(f).positions for f in faults]
    healthy = np.unique(np.concatenate(own), axis=0)
    positions = np.concatenate([*own, healthy])
    numbers = np.repeat(np.arange(len(faults)), [len(p) for p in own])
    fault_of = np.concatenate([numbers, np.full(len(healthy), HEALTHY)])
    known, found = (
        settle_faults(faulted, positions, fault_of, laid.found.cut, laid.start_v, solve)
        for solve in (Reference(network), fast_engine(network))
    )
    assert np.array_equal(found.positions, known.positions)
    assert np.array_equal(found.opened, known.opened)
    assert np.array_equal(found.chatter, known.chatter)
    for a, b in ((known.first, found.first), (known.last, found.last)):
        assert a.solved.all() and b.solved.all()
        assert np.abs(b.node_v - a.node_v).max() <= AGREE_V
        assert np.abs(b.element_a - a.element_a).max() <= AGREE_A
    return len(positions)


def same_checkout(choice, cell):
    """Check that both engines lead to the same procedure, word by word."""
    choice.always(False)
    known = run.checkout(cell)
    assert choice.asked == 0
    choice.always(True)
    found = run.checkout(cell)
    assert choice.asked > choice.left
    assert [(s.phase, s.do, s.expect, s.exposes) for s in found.steps] == [
        (s.phase, s.do, s.expect, s.exposes) for s in known.steps
    ]


# -- the same answers ----------------------------------------------------------------------------


def test_a_small_cell_has_the_same_fault_table(choice, plain, tmp_path):
    found = same_table(choice, small(tmp_path))
    kinds = {row.kind for row in found.rows}
    assert {"trips", "level", "latent"} <= kinds


@pytest.mark.slow
def test_the_demo_cell_has_the_same_fault_table_and_voltages(choice):
    cell = run.load(str(DEMO)).cell
    found = same_table(choice, cell)
    assert {row.kind for row in found.rows} == {"harm", "trips", "level", "moves", "latent"}
    assert same_states(cell) > len(found.rows)


@pytest.mark.slow
def test_a_tree_of_feeds_has_the_same_fault_table_and_voltages(choice, tmp_path):
    cell = cell_of(tmp_path, generated_cell(24))
    found = same_table(choice, cell)
    assert same_states(cell) > len(found.rows) / 2


@pytest.mark.slow
def test_a_cell_that_is_worth_the_kernels_has_the_same_fault_table(choice, tmp_path):
    same_table(choice, cell_of(tmp_path, generated_cell(96)))


@pytest.mark.slow
def test_pairs_of_faults_of_a_small_cell_are_the_same(choice, tmp_path):
    same_table(choice, small(tmp_path), double=True)


@pytest.mark.slow
def test_the_demo_cell_has_the_same_checkout(choice):
    same_checkout(choice, run.load(str(DEMO)).cell)


# -- the choice ----------------------------------------------------------------------------------


def test_a_case_that_is_not_certified_goes_to_the_reference_engine(choice, plain, monkeypatch):
    cell = run.load(str(DEMO)).cell
    faulted = with_faults(lay_out(cell).circuit, ())
    circuit = faulted.circuit
    at_rest = faulted.curves(circuit.positions([{}]), np.array([HEALTHY]))
    rows = np.repeat(at_rest, 20, axis=0)
    monkeypatch.setattr(near, "CERTIFICATE_A", -1.0)
    solution = fast_engine(circuit.network)(rows)
    assert choice.left == len(rows)
    assert solution.solved.all()
    known = Reference(circuit.network)(rows)
    assert solution.node_v == pytest.approx(known.node_v, abs=AGREE_V)


def test_few_cases_never_ask_for_the_kernels(monkeypatch):
    """The demo cell: 163 elements, 2,270 states, solved twice each at most."""
    monkeypatch.setattr(engines, "_has_numba", lambda: pytest.fail("numba was asked for"))
    assert not engines.is_worth_it(200, 10_000)


@pytest.mark.parametrize("kept", [False, True])
def test_kernels_that_must_be_compiled_wait_for_more_cases(monkeypatch, kept):
    monkeypatch.setattr("ringout.solve.campaign.is_kept", lambda: kept)
    loads = int(3.0 * engines.LOAD_S / engines.REFERENCE_S / 1000)
    assert engines.is_worth_it(1000, loads) == kept
    compiles = int(3.0 * engines.COMPILE_S / engines.REFERENCE_S / 1000)
    assert engines.is_worth_it(1000, compiles)


def test_networks_too_large_to_hold_whole_stay_with_the_reference_engine(monkeypatch):
    monkeypatch.setattr(engines, "_has_numba", lambda: True)
    assert engines.is_worth_it(engines.MOST_ELEMENTS, MANY_CASES)
    assert not engines.is_worth_it(engines.MOST_ELEMENTS + 1, MANY_CASES)


def test_without_numba_the_reference_engine_does_it_all(monkeypatch, choice, tmp_path):
    monkeypatch.setitem(sys.modules, "numba", None)  # importing it fails
    assert not engines.is_worth_it(1000, MANY_CASES)
    monkeypatch.setattr(engines, "REFERENCE_S", 1e6)  # as if every cell were a huge one
    found = run.faults(small(tmp_path))
    assert choice.asked == 0
    assert len(found.rows) > 50 and not found.not_run


def test_who_waits_for_kernels_is_told(plain, monkeypatch, caplog):
    circuit = lay_out(run.load(str(DEMO)).cell).circuit
    monkeypatch.setattr("ringout.solve.campaign.is_kept", lambda: False)
    with caplog.at_level(logging.INFO, logger="ringout"):
        fast_engine(circuit.network)
    assert [r.message for r in caplog.records] == [
        "compiling the fast engine: once on this machine, about a minute"
    ]


@pytest.mark.slow
def test_the_faults_of_the_demo_cell_never_import_numba():
    code = (
        "import sys\nfrom ringout import run\n"
        f"assert len(run.faults(run.load({str(DEMO)!r}).cell).rows) > 500\n"
        "assert 'numba' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=300)
