"""Arrays of a circuit with faults: only the axis of elements grows."""

from __future__ import annotations

from ringout import run
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import single_faults, with_faults


def test_only_the_axis_of_elements_grows():
    cell = run.load("examples/caddy-lidder/corrected.yaml").cell
    healthy = compile_circuit(cell)
    circuit = with_faults(healthy, single_faults(healthy)).circuit
    elements = len(circuit.elements)
    assert elements > len(healthy.elements)
    assert circuit.held_curve.shape == (2, 2, elements)
    assert circuit.on_curve.shape == circuit.off_curve.shape == (3, elements)
    assert circuit.cond_actor.shape == (elements, 2)
