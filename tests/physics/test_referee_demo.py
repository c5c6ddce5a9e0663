"""ngspice as referee: both demo cells, in their local states, through the printed netlist."""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
import pytest

from ringout import run
from ringout.cell.model import Terminal
from ringout.circuit.compile import compile_circuit
from ringout.circuit.model import HIGH, LOW, TYP, Circuit
from ringout.circuit.spice import netlist, parse_ngspice_output
from ringout.findings.survey import survey
from ringout.solve import CERTIFICATE_A, solve_cases

EXAMPLES = Path(__file__).resolve().parents[2] / "examples" / "caddy-lidder"
AGREE_V = 0.001  # what the job asks for


def spice_nodes(ngspice: str, text: str, folder: Path) -> dict[str, float]:
    """Return what ngspice prints for every node."""
    file = folder / "circuit.cir"
    file.write_text(text, encoding="utf-8")
    done = subprocess.run(
        [ngspice, "-b", str(file)], capture_output=True, text=True, timeout=120, check=False
    )
    return parse_ngspice_output(done.stdout)


def states_of(name: str) -> tuple[Circuit, np.ndarray]:
    loaded = run.load(str(EXAMPLES / name))
    assert loaded.cell is not None
    assert not loaded.problems
    circuit = compile_circuit(loaded.cell)
    return circuit, survey(circuit).positions


@pytest.mark.parametrize("name", ["first-drawing.yaml", "corrected.yaml"])
def test_every_local_state_agrees_with_ngspice(ngspice: str, name: str, tmp_path: Path) -> None:
    """At least 50 states of each demo cell, at alternating corners of tolerance, within 1 mV."""
    circuit, positions = states_of(name)
    assert len(positions) >= 50
    worst = 0.0
    for row in range(len(positions)):
        corner = (TYP, LOW, HIGH)[row % 3]
        curve_of = circuit.curves(positions[row : row + 1], corner)
        ours = solve_cases(circuit.network, curve_of)
        assert ours.solved.all()
        assert ours.residual_a[0] <= CERTIFICATE_A
        # the start is only a hint, let go of before the end, and a wrong one here: all nodes
        # 50 mV up, which puts 50 A through the bond to PE
        start = ours.node_v[0] + 0.05
        text = netlist(circuit.network, curve_of[0], f"row {row}", start_v=start)
        theirs = spice_nodes(ngspice, text, tmp_path)
        for node, user in enumerate(circuit.network.node_names):
            if node == 0:
                continue
            difference = abs(ours.node_v[0, node] - theirs[f"n{node}"])
            worst = max(worst, difference)
            assert difference < AGREE_V, f"row {row}, {user}: {difference * 1000:.3f} mV apart"
    print(f"{name}: {len(positions)} states, worst difference {worst:.3g} V")


def test_the_printed_netlist_runs_unchanged(ngspice: str, tmp_path: Path) -> None:
    """What `ringout netlist` prints is what ngspice takes; its voltages are those of `meter`."""
    loaded = run.load(str(EXAMPLES / "corrected.yaml"))
    assert loaded.cell is not None
    text = run.netlist(loaded.cell, {"S1": "pressed", "K1.O1": "on"})
    found = spice_nodes(ngspice, text, tmp_path)
    names = {
        line.split(" = ")[1].strip(): line.split()[1]
        for line in text.splitlines()
        if line.startswith("* n") and " = " in line
    }
    across = found[names["K1-X1:4"]] - found[names["K1-XS:2"]]
    reading = run.meter(
        loaded.cell,
        Terminal("K1", "X1", "4"),
        Terminal("K1", "X1", "3"),
        state={"S1": "pressed", "K1.O1": "on"},
    )
    assert reading.value == pytest.approx(across, abs=AGREE_V)
