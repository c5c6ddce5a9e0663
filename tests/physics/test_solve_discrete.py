"""Relays, brown-outs and fuses around the solve."""

from __future__ import annotations

import numpy as np
import pytest

from ringout.circuit import curves as cv
from ringout.solve import Device, settle, settle_all, solve_cases
from tests.physics.networks import wired

PULLS_IN_V, RELEASES_V = 16.0, 3.0
ON, OFF = cv.resistor(0.05), cv.open_circuit()


def relay_circuit(supply_volts=(24.0,)):
    """A coil behind a button, with a contact of its own beside the button."""
    network, case, node = wired(
        *((f"supply {u}", "P", "PE", cv.source(u, 0.1, 5.0)) for u in supply_volts),
        ("button", "P", "A1", OFF),
        ("contact", "P", "A1", ON),
        ("coil", "A1", "PE", cv.resistor(1000.0)),
    )
    return network, case, node


def relay(network, node, *, normally_closed=False):
    contact = network.element_names.index("contact")
    on, off = (network.curves.curves.index(c) for c in (ON, OFF))
    when_on, when_off = {contact: on}, {contact: off}
    if normally_closed:
        when_on, when_off = when_off, when_on
    return Device(
        "K1",
        "volts",
        node["A1"],
        0,
        PULLS_IN_V,
        RELEASES_V,
        one_way=False,
        when_off=when_off,
        when_on=when_on,
    )


def pressed(network, case):
    result = case.copy()
    result[network.element_names.index("button")] = network.curves.curves.index(ON)
    return result


def test_a_relay_with_a_holding_contact_stays_in():
    network, case, node = relay_circuit()
    device = relay(network, node)
    first = settle(network, np.array([case, pressed(network, case)]), [device])
    assert first.state[:, 0].tolist() == [False, True]
    released = settle(network, case[None, :], [device], first.state[1:])
    assert released.state[0, 0]
    assert not released.chatter[0]
    assert released.solution.node_v[0, node["A1"]] > 23.9


def test_rest_and_held_are_both_consistent():
    network, case, node = relay_circuit()
    found = settle_all(network, case, [relay(network, node)])
    assert [f.state[0].tolist() for f in found] == [[False], [True]]


@pytest.mark.parametrize(
    ("volts", "from_off", "from_on"),
    [(2.0, False, False), (10.0, False, True), (15.9, False, True), (17.0, True, True)],
)
def test_pull_in_and_release_lie_apart(volts, from_off, from_on):
    network, case, node = wired(
        ("supply", "P", "PE", cv.source(volts, 0.001, 5.0)),
        ("coil", "P", "PE", cv.resistor(1000.0)),
    )
    device = Device("K1", "volts", node["P"], 0, PULLS_IN_V, RELEASES_V, one_way=False)
    both = settle(network, np.array([case, case]), [device], np.array([[False], [True]]))
    assert both.state[:, 0].tolist() == [from_off, from_on]


@pytest.mark.parametrize("absolute", [True, False])
def test_a_coil_without_diode_does_not_mind_polarity(absolute):
    network, case, node = wired(
        ("supply", "PE", "P", cv.source(24.0, 0.1, 5.0)),
        ("coil", "P", "PE", cv.resistor(1000.0)),
    )
    device = Device(
        "K1", "volts", node["P"], 0, PULLS_IN_V, RELEASES_V, one_way=False, absolute=absolute
    )
    assert bool(settle(network, case[None, :], [device]).state[0, 0]) is absolute


def test_a_buzzer_chatters():
    network, case, node = relay_circuit()
    device = relay(network, node, normally_closed=True)
    result = settle(network, np.array([case, pressed(network, case)]), [device])
    assert result.chatter.tolist() == [True, False]  # the button keeps the coil fed
    assert settle_all(network, case, [device]) == []


def fused(load_ohms, *, rated=(1.0, 2.0)):
    network, case, node = wired(
        ("supply", "P", "PE", cv.source(24.0, 0.02, 20.0)),
        ("F1", "P", "x", ON),
        ("F2", "x", "y", ON),
        *((f"load {r}", at, "PE", cv.resistor(r)) for at, r in load_ohms),
        ("spare", "y", "PE", OFF),
    )
    open_ = network.curves.curves.index(OFF)
    fuses = [
        Device(name, "amps", 0, 0, np.inf, amps, one_way=True, element=e, when_off={e: open_})
        for name, e, amps in zip(("F1", "F2"), (1, 2), rated, strict=True)
    ]
    return network, case, node, fuses


def test_a_fuse_opens_once_and_stays_open():
    network, case, _, fuses = fused([("x", 10.0), ("y", 1000.0)])
    result = settle(network, case[None, :], fuses)
    assert result.state[0].tolist() == [False, True]  # 2.4 A through F1, nothing through F2
    assert not result.together[0]
    assert abs(result.solution.element_a[0, 1]) < 1e-6
    again = settle(network, case[None, :], fuses, result.state)
    assert again.rounds[0] == 1


def test_two_fuses_at_once_depend_on_which_opens_first():
    network, case, _, fuses = fused([("y", 5.0), ("x", 1000.0)])
    result = settle(network, case[None, :], fuses)
    assert result.together[0]
    found = settle_all(network, case, fuses)
    assert [f.state[0].tolist() for f in found] == [[False, True], [True, False]]


def test_a_fuse_that_lets_its_relay_drop():
    # The relay's contact shorts the coil's own fuse: blown, the relay is at rest for good.
    network, case, node = wired(
        ("supply", "P", "PE", cv.source(24.0, 0.02, 20.0)),
        ("F1", "P", "x", ON),
        ("coil", "x", "PE", cv.resistor(1000.0)),
        ("contact", "x", "PE", OFF),
    )
    on, off = (network.curves.curves.index(c) for c in (ON, OFF))
    devices = [
        Device("F1", "amps", 0, 0, np.inf, 2.0, one_way=True, element=1, when_off={1: off}),
        Device(
            "K1",
            "volts",
            node["x"],
            0,
            0.01,
            0.005,
            one_way=False,
            when_off={3: off},
            when_on={3: on},
        ),
    ]
    found = settle_all(network, case, devices)
    assert [f.state[0].tolist() for f in found] == [[False, False]]


def test_without_devices_it_is_a_plain_solve():
    network, case, _ = relay_circuit()
    result = settle(network, case[None, :], [])
    assert result.state.shape == (1, 0)
    assert result.solution.node_v == pytest.approx(solve_cases(network, case[None, :]).node_v)
    assert len(settle_all(network, case, [])) == 1
