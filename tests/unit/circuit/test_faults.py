"""Faults as data: how many there are, what they are called, and that they leave health alone."""

from __future__ import annotations

from itertools import combinations
from math import comb
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringout import run
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import (
    HEALTHY,
    both,
    find_fault,
    in_groups,
    single_faults,
    with_faults,
)
from ringout.circuit.faults.wiring import facing_pins
from ringout.circuit.model import HIGH, LOW, TYP
from ringout.solve import CERTIFICATE_A, solve_cases
from ringout.tables import read_table

DEMO = Path(__file__).resolve().parents[3] / "examples" / "caddy-lidder" / "corrected.yaml"

# One cable of n cores between two rows of clamps; every core ties a rail to a resistor.
STRIP = """
cell: a strip
ambient: 20..30 °C
items:
  T1: supply-24v-5a
  X1: terminal-strip-10
  X2: terminal-strip-10
{loads}
cables:
  W1: {{part: {cable}, length: 5 m}}
joins:
  - T1:+ X1:1a
{cores}
"""
CABLES = {  # cores of cables with free colours, from the library
    2: ("cable-2x0.34", ["BN", "WH"]),
    3: ("cable-3x0.34", ["BN", "BU", "BK"]),
    4: ("cable-4x0.34", ["BN", "WH", "BU", "BK"]),
}


@pytest.fixture(scope="module")
def demo():
    circuit = compile_circuit(run.load(str(DEMO)).cell)
    return circuit, single_faults(circuit)


def cell_of(folder, text):
    file = folder / "cell.yaml"
    file.write_text(text, encoding="utf-8")
    loaded = run.load(str(file))
    assert not loaded.problems, [p.message for p in loaded.problems]
    return loaded.cell


# -- geometry and counting -------------------------------------------------------------------


def test_pins_face_each_other_when_none_lies_between():
    # geometry: four pins in a square without a middle pin all see each other
    assert set(facing_pins("m12-a-4", ("1", "2", "3", "4"))) == set(combinations("1234", 2))
    # with a pin in the middle the two diagonals are blocked
    five = {frozenset(p) for p in facing_pins("m12-a-5", ("1", "2", "3", "4", "5"))}
    blocked = {frozenset("13"), frozenset("24")}
    assert five == {frozenset(p) for p in combinations("12345", 2)} - blocked
    # clamps in a row touch only the next one
    assert facing_pins("terminal-5", ("1", "2", "3")) == (("1", "2"), ("2", "3"))


@pytest.mark.parametrize("cores", CABLES)
def test_faults_of_a_hand_landed_cable_are_counted_by_formula(tmp_path, cores):
    """n cores on nodes of their own, landed by hand at both ends: combinatorics."""
    cable, colours = CABLES[cores]
    joins, loads = [], []
    for k, colour in enumerate(colours):
        joins.append(f"  - X1:{2 * k + 1}a  W1:{colour}  X2:{2 * k + 1}a")
        loads.append(f"  R{k}: {{part: resistor, ohm: 1 kΩ}}")
        joins.append(f"  - X2:{2 * k + 1}b  R{k}:1")
        joins.append(f"  - R{k}:2  T1:PE" if k == 0 else f"  - R{k}:2  R{k - 1}:1")
    text = STRIP.format(cable=cable, cores="\n".join(joins), loads="\n".join(loads))
    faults = single_faults(compile_circuit(cell_of(tmp_path, text)))
    mine = [f for f in faults if f.cables == ("W1",)]
    count = {kind: sum(f.kind == kind for f in mine) for kind in {f.kind for f in mine}}
    assert count["open-landed"] == 2 * cores
    assert count["joint"] == 2 * cores
    assert count["swap"] == 2 * comb(cores, 2)
    assert count["short-cores"] == comb(cores, 2)


def test_names_are_unique_also_with_their_second_names(demo):
    names = [name for fault in demo[1] for name in (fault.id, *fault.also)]
    assert len(names) == len(set(names))
    assert len(names) > len(demo[1])


def test_faults_are_found_by_any_name(demo):
    _, faults = demo
    first = find_fault(faults, "SWAP  w1:bn W1:BK@k1")
    assert first is not None
    assert first is find_fault(faults, "swap W1:BK W1:BN@K1")
    # two cores of one cable exchanged at a polarised valve is that valve reversed; the same
    # mistake at the controller is another place to look at
    assert find_fault(faults, "swap W21:BN W21:BU@Q1") is find_fault(faults, "reversed Q1")
    assert find_fault(faults, "swap W21:BN W21:BU@K1") is not find_fault(faults, "reversed Q1")
    assert find_fault(faults, "melted Q1") is None


@pytest.mark.parametrize(
    "name",
    [
        "open W1:BK@S1",
        "open W11:BK",
        "open S1:13 to S1:X1",
        "joint W1:BK@S1 50 ohm",
        "short K1-X1:1-K1-X1:4",
        "short W11:BN-W11:BK",
        "short W1:BK to +24V",
        "short W1:BK to 0V",
        "short W1:BK to PE",
        "water K1-X1:1-K1-X1:4",
        "swap W1:BN W1:BK@K1",
        "swap W11 W17@K1-X6/X7",
        "off W4:BK@K2 at K2-X1:3",
        "off W12@K1-X3 at K1-X4",
        "reversed K5",
        "npn for B1",
        "nc for B1",
        "2-wire for B1",
        "nc for S1.contact",
        "no for S2.contact",
        "welded S1.contact",
        "never S1.contact",
        "shorted K1.O1",
        "dead K1.O1",
        "no 0V K2",
        "no common K1",
        "suppressor absent R2",
        "suppressor reversed R2",
        "low supply T1",
    ],
)
def test_every_kind_has_a_name_that_can_be_said(demo, name):
    fault = find_fault(demo[1], name)
    assert fault is not None
    assert fault.text.endswith(".") and fault.where and fault.changes
    assert fault.likelihood > 0


def test_likelihoods_and_values_are_common_practice():
    rows = (*read_table("fault_likelihoods"), *read_table("fault_values"))
    assert all(row.text("source") == "common practice" for row in rows)


def test_a_link_that_joins_what_is_joined_already_is_no_fault(demo):
    circuit, faults = demo
    index = circuit.index_of
    for fault in faults:
        for extra in fault.extras:
            assert extra.tail != extra.head, fault.id
        assert all(c.element in index or any(c.element == e.name for e in fault.extras)
                   for c in fault.changes)  # fmt: skip


# -- the delta -------------------------------------------------------------------------------


def test_the_healthy_circuit_keeps_its_numbers_and_its_voltages(demo):
    circuit, faults = demo
    rest = circuit.rest()
    plain = solve_cases(circuit.network, circuit.curves(rest))
    nodes, elements = circuit.network.node_count, circuit.network.element_count
    curves = len(circuit.network.curves.curves)
    for _, members in in_groups(faults):
        faulted = with_faults(circuit, members)
        network = faulted.circuit.network
        assert network.node_names[:nodes] == circuit.network.node_names
        assert network.element_names[:elements] == circuit.network.element_names
        assert network.curves.curves[:curves] == circuit.network.curves.curves
        assert (network.tail[:elements] == circuit.network.tail).all()
        assert (network.head[:elements] == circuit.network.head).all()
        chosen = faulted.curves(faulted.positions(rest), np.array([HEALTHY]))
        assert (chosen[:, :elements] == circuit.curves(rest)).all()
        solution = solve_cases(network, chosen)
        # added elements are exactly nothing, so only the order of elimination differs
        assert np.abs(solution.node_v[0, :nodes] - plain.node_v[0]).max() < 1e-9
        assert np.abs(solution.element_a[0, elements:]).max(initial=0.0) == 0.0


@pytest.mark.parametrize("corner", [LOW, TYP, HIGH])
def test_a_fault_is_its_list_of_changes(demo, corner):
    """Healthy choices with the changes put in are the choices of the faulted case."""
    circuit, faults = demo
    rng = np.random.default_rng(7)
    for _, members in list(in_groups(faults))[::5]:
        faulted = with_faults(circuit, members)
        actors = faulted.circuit.actors
        states = np.array([[rng.integers(len(a.positions)) for a in actors] for _ in range(3)])
        healthy = faulted.curves(states, np.full(3, HEALTHY), corner)
        for number in range(len(members)):
            wanted = healthy.copy()
            for row, state in enumerate(states):
                for element, curve in faulted.changes(number, state, corner):
                    wanted[row, element] = curve
            assert (faulted.curves(states, np.full(3, number), corner) == wanted).all()


def test_every_faulted_rest_state_is_balanced(demo):
    """Kirchhoff: every node of every single fault."""
    circuit, faults = demo
    for _, members in in_groups(faults):
        faulted = with_faults(circuit, members)
        rows = faulted.positions(np.repeat(circuit.rest(), len(members), axis=0))
        solution = solve_cases(faulted.circuit.network, faulted.curves(rows, np.arange(len(rows))))
        assert solution.solved.all()
        assert solution.residual_a.max() <= CERTIFICATE_A


def test_two_faults_of_one_conductor_are_no_pair(demo):
    _, faults = demo
    opened, joint, other = (
        find_fault(faults, n) for n in ("open W1:BK@S1", "joint W1:BK@K1 50 ohm", "open W1:BN@S1")
    )
    assert both(opened, joint) is None
    pair = both(opened, other)
    assert pair.delta == opened.delta | other.delta
    assert pair.likelihood == opened.likelihood * other.likelihood


# -- any text --------------------------------------------------------------------------------


@settings(max_examples=25, deadline=None)
@given(lost=st.sets(st.integers(0, 130), max_size=25), swap=st.integers(0, 130))
def test_a_damaged_file_never_raises(tmp_path_factory, lost, swap):
    """Whatever statements are missing or in the wrong place, the rest has its faults."""
    lines = DEMO.read_text(encoding="utf-8").split("\n")
    kept = [line for k, line in enumerate(lines) if k not in lost]
    if swap < len(kept):
        kept[swap] = kept[swap][::-1]
    file = tmp_path_factory.mktemp("damaged") / "cell.yaml"
    file.write_text("\n".join(kept), encoding="utf-8")
    cell = run.load(str(file)).cell
    if cell is None:
        return
    circuit = compile_circuit(cell)
    faults = single_faults(circuit)
    assert len({f.id for f in faults}) == len(faults)
    for _, members in in_groups(faults):
        with_faults(circuit, members)
