"""Circuits with published answers."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from ringout.circuit import curves as cv
from ringout.solve import (
    Device,
    adjoint_v,
    driving_point_ohm,
    settle,
    solve_cases,
)
from tests.physics.networks import balance, wired

STIFF_OHM = 1e-4  # of a supply that the source text calls ideal


def ideal(volts):
    return cv.source(volts, STIFF_OHM, can_sink=True)


def solved(network, case):
    solution = solve_cases(network, case[None, :])
    assert solution.solved.all()
    assert balance(network, case, solution.node_v[0]) <= 1e-9
    return solution


# Kuphaldt, Lessons in Electric Circuits, volume I (DC), chapter 10: branch current method.
# 28 V behind 4 ohm and 7 V behind 1 ohm feed 2 ohm: 5 A, -1 A, 4 A; drops 20, 1 and 8 V.
def test_two_supplies_and_one_load():
    network, case, node = wired(
        ("B1 R1", "x", "PE", cv.source(28.0, 4.0, can_sink=True)),
        ("R2", "x", "PE", cv.resistor(2.0)),
        ("B2 R3", "x", "PE", cv.source(7.0, 1.0, can_sink=True)),
    )
    solution = solved(network, case)
    assert solution.node_v[0, node["x"]] == pytest.approx(8.0, abs=1e-7)
    assert solution.element_a[0] == pytest.approx([-5.0, 4.0, 1.0], abs=1e-7)


# Same chapter, mesh current method: 24 V bridge with 150, 50, 100, 300 and 250 ohm. Exact
# values by fractions: V2 = 512/29 V, V3 = 560/29 V; currents as printed below, in mA.
def test_unbalanced_bridge_24_v():
    network, case, node = wired(
        ("G", "1", "PE", ideal(24.0)),
        ("R12", "1", "2", cv.resistor(150.0)),
        ("R13", "1", "3", cv.resistor(50.0)),
        ("R32", "3", "2", cv.resistor(100.0)),
        ("R20", "2", "PE", cv.resistor(300.0)),
        ("R30", "3", "PE", cv.resistor(250.0)),
    )
    solution = solved(network, case)
    assert solution.node_v[0, node["2"]] == pytest.approx(512 / 29, abs=3e-5)
    assert solution.node_v[0, node["3"]] == pytest.approx(560 / 29, abs=3e-5)
    milliamps = solution.element_a[0] * 1e3
    printed = [-136.092, 42.299, 93.793, 16.552, 58.851, 77.241]
    assert milliamps == pytest.approx(printed, abs=1e-3)


# Same chapter: 10 V bridge with 12, 18, 6, 18 and 12 ohm: V2 = 90/17 V, V3 = 80/17 V.
def test_unbalanced_bridge_10_v():
    network, case, node = wired(
        ("G", "1", "PE", ideal(10.0)),
        ("R12", "1", "2", cv.resistor(12.0)),
        ("R13", "1", "3", cv.resistor(18.0)),
        ("R23", "2", "3", cv.resistor(6.0)),
        ("R20", "2", "PE", cv.resistor(18.0)),
        ("R30", "3", "PE", cv.resistor(12.0)),
    )
    solution = solved(network, case)
    assert solution.node_v[0, node["2"]] == pytest.approx(90 / 17, abs=1e-4)
    assert solution.node_v[0, node["3"]] == pytest.approx(80 / 17, abs=1e-4)


# ngspice regression test sens-dc-2: values as printed there, V per ohm and V per V.
SENS = {
    ("1", "2", 1000.0): -4.104514e-3,
    ("2", "3", 1500.0): -2.954317e-4,
    ("3", "PE", 2200.0): 1.129249e-3,
    ("3", "4", 3300.0): -2.005826e-4,
    ("4", "PE", 1800.0): 3.755609e-3,
    ("2", "4", 2700.0): -1.494392e-3,
}


def test_sensitivities_of_a_ladder():
    elements = [(f"R{a}{b}", a, b, cv.resistor(r)) for a, b, r in SENS]
    network, case, node = wired(("V1", "1", "PE", ideal(42.0)), *elements)
    solution = solved(network, case)
    assert solution.node_v[0, node["4"]] == pytest.approx(12.318877, abs=5e-5)
    lam = adjoint_v(network, case[None, :], solution.node_v, np.array([[node["4"], 0]]))[0]
    for (a, b, r), printed in SENS.items():
        tail, head = node[a], node[b]
        across = solution.node_v[0, tail] - solution.node_v[0, head]
        # A larger resistance takes across/r^2 less, and a current a > b lowers the target.
        assert (lam[tail] - lam[head]) * across / r**2 == pytest.approx(printed, rel=2e-5)
    assert lam[node["1"]] / STIFF_OHM == pytest.approx(0.29330659, rel=1e-5)


def test_driving_point_resistance_of_a_divider():
    network, case, node = wired(
        ("G", "1", "PE", ideal(24.0)),
        ("top", "1", "x", cv.resistor(3000.0)),
        ("bottom", "x", "PE", cv.resistor(6000.0)),
        ("lamp", "y", "PE", cv.lamp_led(2.0, 1000.0)),
    )
    solution = solved(network, case)
    pairs = np.array([[node["x"], 0]])
    ohm = driving_point_ohm(network, solution, case[None, :], pairs)
    assert ohm[0] == pytest.approx(2000.0, rel=1e-5)  # 3k parallel 6k
    pairs = np.array([[node["y"], 0]])
    ohm = driving_point_ohm(network, solution, case[None, :], pairs)
    assert ohm[0] == pytest.approx(0.5e9, rel=1e-3)  # a dark lamp's 1 GOhm and the leak's


# -- sneak circuits ------------------------------------------------------------------------


# J. Becker's note on sneak circuits: ignition off, radio on, hazard flasher on, brake pressed:
# the radio pulses, fed backwards through the brake contact. Exactly 1 of the 8 states does it.
def test_car_radio_is_fed_in_exactly_one_state():
    closed, opened = cv.resistor(0.05), cv.open_circuit()
    elements = [
        ("battery", "bat", "PE", cv.source(12.0, 0.02)),
        ("flasher", "bat", "fl", cv.resistor(0.05)),
        ("hazard", "fl", "lamps", opened),
        ("lamps", "lamps", "PE", cv.resistor(6.0)),
        ("brake", "bus", "lamps", opened),
        ("radio switch", "bus", "radio", opened),
        ("radio", "radio", "PE", cv.resistor(12.0)),
        ("ignition", "bat", "bus", opened),
        ("spare", "bus", "lamps", closed),
    ]
    network, case, _ = wired(*elements)
    on, off = case[8], case[7]
    case[8] = off
    cases, states = [], list(product((False, True), repeat=3))
    for hazard, brake, radio in states:
        one = case.copy()
        one[[2, 4, 5]] = [on if s else off for s in (hazard, brake, radio)]
        cases.append(one)
    normal = case.copy()
    normal[[5, 7]] = on
    solution = solve_cases(network, np.array([*cases, normal]))
    assert solution.solved.all()
    fed = solution.element_a[:, 6] > 0.05
    assert [s for s, f in zip(states, fed[:8], strict=True) if f] == [(True, True, True)]
    assert fed[8]
    sneak = states.index((True, True, True))
    assert solution.element_a[sneak, 4] < -0.5  # backwards through the brake contact


# Saturn 2000 service text, as told by J. Becker: one fuse per side for high and low filament;
# the lows share one switched ground, the highs another. Left fuse blown, low beam on: right
# low 12 V, the other three 4 V each ("one normal, three very dim").
def test_headlamps_with_a_blown_fuse():
    stiff, filament = cv.resistor(1e-3), cv.resistor(3.0)
    network, case, node = wired(
        ("battery", "bat", "PE", ideal(12.0)),
        ("left fuse", "bat", "L", cv.open_circuit()),
        ("right fuse", "bat", "R", stiff),
        ("left high", "L", "highs", filament),
        ("left low", "L", "lows", filament),
        ("right high", "R", "highs", filament),
        ("right low", "R", "lows", filament),
        ("low switch", "lows", "PE", stiff),
        ("high switch", "highs", "PE", cv.open_circuit()),
    )
    v = solved(network, case).node_v[0]
    assert v[node["R"]] - v[node["lows"]] == pytest.approx(12.0, abs=0.02)
    for a, b in (("R", "highs"), ("highs", "L"), ("L", "lows")):
        assert v[node[a]] - v[node[b]] == pytest.approx(4.0, abs=0.01)


# Mercury-Redstone 1, 1960 (memory): the plug with the ground parted first; current then took
# its way through the cutoff relay and its diode. Here: a lost 0 V return picks up a relay.
@pytest.mark.parametrize("ground_there", [True, False])
def test_lost_return_picks_up_a_relay(ground_there):
    network, case, node = wired(
        ("supply", "P", "PE", cv.source(24.0, 0.05, 5.0)),
        ("lamp", "P", "x", cv.resistor(60.0)),
        ("ground plug", "x", "PE", cv.resistor(0.02) if ground_there else cv.open_circuit()),
        ("diode", "x", "y", cv.diode(0.7, 0.05)),
        ("relay", "y", "PE", cv.resistor(300.0)),
    )
    relay = Device("relay", "volts", node["y"], 0, 16.0, 3.0, one_way=False)
    result = settle(network, case[None, :], [relay])
    assert bool(result.state[0, 0]) is not ground_there
    # By hand: (24 - 0.7) V over 360.1 ohm leave 19.41 V on the coil.
    if not ground_there:
        assert result.solution.node_v[0, node["y"]] == pytest.approx(23.3 * 300 / 360.1, abs=1e-3)
