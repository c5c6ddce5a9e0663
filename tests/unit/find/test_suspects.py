"""Every kind of fault is known to those who rank and explain it."""

from __future__ import annotations

import pytest

from ringout import run
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import single_faults
from ringout.find.suspects import INTERNAL, LOOSE, MOVING, belongs
from ringout.findings.effects.reasons import why_latent
from ringout.tables import read_table
from tests.contract.house import ROOT
from tests.physics.small_cells import small_cell

# What is wired stays when a device is exchanged.
WIRING = {
    "open-landed", "open-cord", "open-link", "joint", "short-pins", "short-cores", "short-rail",
    "water", "swap", "swap-plugs", "off-pin", "off-plug", "no-return",
}  # fmt: skip
KINDS = {row.text("kind") for row in read_table("fault_likelihoods")}


def test_every_kind_goes_with_a_device_or_stays_with_the_wiring():
    assert KINDS == INTERNAL | WIRING
    assert not INTERNAL & WIRING
    assert KINDS >= LOOSE >= MOVING


@pytest.fixture(scope="module")
def faults(tmp_path_factory):
    file = tmp_path_factory.mktemp("dead") / "cell.yaml"
    items = "K1: input-card-8-type-3\nB1: inductive-pnp-no\nP1: lamp-led-24v"
    joins = "P B1-X:1\nM B1-X:3\nB1-X:4 K1:1\nM K1:M\nP P1:X1\nP1:X2 M"
    file.write_text(small_cell(items, joins, "seen: {channel: K1.I1, on: B1 target}"), "utf-8")
    return {f.id: f for f in single_faults(compile_circuit(run.load(str(file)).cell))}


@pytest.mark.parametrize(
    ("fault", "thing"), [("dead B1", "B1"), ("dead supply T1", "T1"), ("dead P1", "P1")]
)
def test_what_is_dead_goes_with_the_device(faults, fault, thing):
    assert belongs(faults[fault], thing)
    assert not belongs(faults[fault], "K1")


def test_every_kind_of_the_demo_cells_says_why_it_matters_when_hidden():
    for name in ("first-drawing.yaml", "corrected.yaml"):
        cell = run.load(str(ROOT / "examples" / "caddy-lidder" / name)).cell
        for fault in single_faults(compile_circuit(cell)):
            assert len(why_latent(fault, (), 0.0)) > 30
