from __future__ import annotations

import subprocess

import numpy as np
import pytest

from ringout.circuit import curves as cv
from ringout.circuit.spice import netlist, parse_ngspice_output
from tests.physics.networks import wired


def divider():
    return wired(
        ("G1", "G1:+", "PE", cv.source(24.0, 1.0, can_sink=True)),
        ("top\n.end", "G1:+", "K1-X1:4", cv.resistor(11.0)),
        ("below", "K1-X1:4", "PE", cv.resistor(12.0)),
        ("light", "K1-X1:4", "PE", cv.lamp_led(2.0, 1e6)),
        ("loop", "K1-X1:4", "K1-X1:4", cv.resistor(1.0)),
    )


def test_names_stay_in_comments():
    network, case, _ = divider()
    lines = netlist(network, case, "two\nlines").splitlines()
    assert lines[0] == "two lines"
    assert "* n2 = K1-X1:4" in lines
    assert "* top .end" in lines
    assert [line for line in lines if line.startswith(".end")] == [".endc", ".end"]


def test_ngspice_runs_it_unchanged(ngspice):
    network, case, _ = divider()
    done = subprocess.run(
        [ngspice, "-b"],
        input=netlist(network, case, "divider"),
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    found = parse_ngspice_output(done.stdout)
    assert found == pytest.approx({"n1": 23.0, "n2": 12.0}, abs=1e-4)


def test_start_voltages_are_only_a_start():
    network, case, _ = divider()
    text = netlist(network, case, "divider", start_v=np.array([0.0, 23.0, 12.5]))
    assert ".nodeset v(n2)=12.5" in text
    assert ".nodeset" not in netlist(network, case, "divider")


def test_nothing_printed_is_nothing_found():
    assert parse_ngspice_output("doAnalyses: iteration limit reached") == {}
