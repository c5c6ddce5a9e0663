"""Checkouts of small cells of chance: no crash, every fault told, the cost its own sum."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringout import run
from ringout.checkout import PHASES, plan_checkout
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import single_faults
from tests.physics.small_cells import small_cell

INPUTS, OUTPUTS = 8, 8


@st.composite
def cells(draw):
    """Return the text of a cell with buttons on inputs and valves on outputs."""
    buttons = draw(st.integers(0, 2))
    valves = draw(st.integers(0 if buttons else 1, 1))
    length_m = draw(st.integers(1, 40))
    items, joins, cables, signals = [], [], [], []
    if buttons:
        items.append("K1: input-card-8-15k")
        joins.append("K1:COM M")
        ports = draw(st.permutations(range(1, INPUTS + 1)))
    for k in range(1, buttons + 1):
        contact = draw(st.sampled_from(["pushbutton-1no-gold", "pushbutton-1nc-gold"]))
        pins = ("13", "14") if "1no" in contact else ("11", "12")
        items.append(f"S{k}: {contact}")
        cables.append(f"W{k}: {{part: cable-2x0.34, length: {length_m} m}}")
        joins.append(f"P W{k}:BN S{k}:{pins[0]}")
        joins.append(f"S{k}:{pins[1]} W{k}:WH K1:{ports[k - 1]}")
        signals.append(f"in{k}: {{channel: K1.I{ports[k - 1]}, on: S{k} pressed}}")
    if valves:
        port = draw(st.integers(1, OUTPUTS))
        valve = draw(st.sampled_from(["valve-2w3-diode", "valve-2w3-bare"]))
        items += ["K2: output-card-8-0a5", f"Q1: {valve}"]
        cables.append(f"W9: {{part: cable-2x0.5, length: {length_m} m}}")
        joins += ["P K2:L+", "K2:M M", f"K2:{port} W9:BN Q1:1", "Q1:2 W9:BU M"]
        signals.append(f"out1: {{channel: K2.O{port}, drives: Q1}}")
    return small_cell(
        "\n".join(items), "\n".join(joins), "\n".join(signals), cables="\n".join(cables)
    )


@settings(max_examples=6)
@given(cells())
def test_every_fault_is_exposed_or_told_hidden(text):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "cell.yaml"
        path.write_text(text, encoding="utf-8")
        loaded = run.load(str(path))
    assert not loaded.broken, [(str(p.span), p.message) for p in loaded.problems]
    made = plan_checkout(loaded.cell)
    every = {f.id for f in single_faults(compile_circuit(loaded.cell))}
    shown = [f.id for s in made.steps for f in s.exposes]
    hidden = [u.fault.id for u in made.not_exposable]
    assert sorted(shown + hidden) == sorted(every)
    assert len(shown) == made.exposed
    assert made.optimal
    assert made.bound_s - 1e-6 <= made.cost_s == pytest.approx(sum(s.seconds for s in made.steps))
    phases = [PHASES.index(s.phase) for s in made.steps]
    assert phases == sorted(phases)
    assert all(u.why for u in (*made.not_exposable, *made.harm_before_power))
