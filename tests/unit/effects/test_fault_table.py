"""Faults of one button, reasoned by hand: what each must do, and that healthy stays healthy.

Source of every expectation: Ohm's and Kirchhoff's laws on the drawn circuit, and the ratings of
the parts; likelihoods are common practice and not judged here.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from ringout import run
from ringout.circuit.faults import single_faults, with_faults
from ringout.circuit.model import TYP
from ringout.findings.effects import fault_table, lay_out
from ringout.solve import CERTIFICATE_A, solve_cases

TEXT = """
cell: one button
ambient: 20..30 °C
items:
  T1: supply-24v-5a
  F1: {part: electronic-breaker-1ch, set: 1 A}
  K1: io-block-8-inputs
  S1: pushbutton-1no-gold
cables:
  W0: {part: cable-2x1.5, length: 0.5 m}
  W1: {part: cable-2x1.0, length: 2 m}
  W2: {part: cable-4x0.34, length: 6 m}
joins:
  - T1:+   W0:BN  F1:in+
  - T1:-   W0:BU  F1:in-
  - F1:out W1:BN  K1-XS:1
  - F1:m   W1:BU  K1-XS:2
  - S1:13  W2:BN  K1-X1:1
  - S1:14  W2:BK  K1-X1:4
signals:
  start: {channel: K1.I1, on: S1 pressed}
"""


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    file = tmp_path_factory.mktemp("cell") / "button.yaml"
    file.write_text(TEXT, encoding="utf-8")
    loaded = run.load(str(file))
    assert not loaded.problems
    return loaded.cell


@pytest.fixture(scope="module")
def table(cell):
    return fault_table(cell)


@pytest.fixture(scope="module")
def rows(table):
    return {row.fault.id: row for row in table.rows}


def levels(row):
    return {(e.what, e.after.split()[0]) for e in row.effects if e.kind == "level"}


def test_every_state_is_balanced_and_nothing_is_left_out(table):
    assert table.worst_residual_a <= CERTIFICATE_A
    assert not table.not_run
    assert table.solved > len(table.rows)


def test_ids_are_unique_and_sayable(table):
    ids = [row.fault.id for row in table.rows]
    assert len(ids) == len(set(ids))
    assert all(row.fault.text and row.fault.where for row in table.rows)


@pytest.mark.parametrize(
    "name", ["open W2:BN@S1", "open W2:BK@K1", "open W1:BN@K1", "never S1.contact"]
)
def test_what_breaks_the_loop_darkens_the_input(rows, name):
    row = rows[name]
    told = [e for e in row.effects if e.kind == "level" and e.what == "start"]
    assert told, row.effects
    assert any("off instead of on" in e.text for e in told)
    assert not row.harm


def test_a_welded_contact_never_lets_go(rows):
    told = [e for e in rows["welded S1.contact"].effects if e.kind == "level"]
    assert any("on instead of off" in e.text and e.what == "start" for e in told)


def test_the_signal_core_on_0_v_shorts_the_pressed_button(rows):
    """24 V through 12 m of 0.34 mm2 and the 1 A branch: the gold contact stands 0.1 A."""
    row = rows["short W2:BK to 0V"]
    assert row.harm
    assert any(e.kind == "trips" for e in row.effects)
    assert any("S1" in e.what for e in row.effects if e.kind == "harm")


def test_the_supply_core_on_24_v_is_no_fault(rows):
    """W2:BN is at +24 V already: touching it with +24 V is not a fault at all."""
    assert "short W2:BN to +24V" not in rows
    assert "short W2:BN to 0V" in rows


def test_what_nothing_tells_says_why_it_still_matters(rows):
    latent = [row for row in rows.values() if row.latent and not row.effects]
    assert latent
    assert all(row.why for row in latent)


def test_signal_core_on_24_v_is_a_button_that_is_always_pressed(rows):
    told = rows["short W2:BK to +24V"].effects
    assert any(e.kind == "level" and "on instead of off" in e.text for e in told)


def test_swapped_cores_at_a_bare_contact_are_the_same_circuit(rows):
    """A contact has no direction: exchanging its two cores at the button changes nothing."""
    row = rows["swap W2:BN W2:BK@S1"]
    assert row.latent


def test_swaps_are_all_pairs_of_landed_cores(rows):
    """Two cores landed at each end of each of three cables: one pair an end, six in all."""
    landed = {"W0": 2, "W1": 2, "W2": 2}
    expected = sum(len(list(combinations(range(n), 2))) * 2 for n in landed.values())
    assert sum(row.fault.kind == "swap" for row in rows.values()) == expected


def test_every_landed_end_can_be_open(rows):
    """Six hand-landed cores have twelve ends."""
    assert sum(row.fault.kind == "open-landed" for row in rows.values()) == 12


def test_the_healthy_case_of_a_faulted_circuit_is_the_healthy_circuit(cell):
    """Added elements are absent when healthy: the same voltages to a nanovolt."""
    laid = lay_out(cell)
    faults = single_faults(laid.circuit)
    faulted = with_faults(laid.circuit, faults[:40])
    positions = laid.found.base
    ours = solve_cases(laid.circuit.network, laid.circuit.curves(positions, TYP))
    other = solve_cases(faulted.circuit.network, faulted.curves(positions, np.array([-1]), TYP))
    count = len(laid.circuit.network.node_names)
    assert np.abs(ours.node_v[0] - other.node_v[0, :count]).max() < 1e-9


def test_pairs_of_one_neighbourhood(cell):
    pairs = fault_table(
        cell, double=True, chosen=lambda f: f.kind in ("welded", "never", "open-landed")
    )
    assert pairs.pairs_left >= 0
    assert all(" + " in row.fault.id or "and" in row.fault.id for row in pairs.rows)
