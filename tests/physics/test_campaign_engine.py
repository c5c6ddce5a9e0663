"""The campaign engine against the reference engine and against exact arithmetic.

The usual run calls the kernels as the plain functions they are, so that nothing is compiled; the
slow tests compile them. Where both engines differ, fractions decide: at a node on which next to
nothing hangs but its leak of 1 nS, the reference engine's certificate of 1 nA leaves room.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringout import run
from ringout.circuit import curves as cv
from ringout.circuit.faults import HEALTHY, in_groups, single_faults, with_faults
from ringout.findings.effects import lay_out
from ringout.solve import CERTIFICATE_A, solve_cases
from ringout.solve.campaign import (
    HARD,
    LOCAL,
    REFERENCE,
    UNSOLVED,
    Campaign,
    Near,
    Neighbourhood,
    engine,
)
from tests.physics.networks import LEAK_S, networks, wired

DEMO = Path(__file__).resolve().parents[2] / "examples" / "caddy-lidder" / "corrected.yaml"
AGREE_V = 10e-6  # both engines
EXACT_V = 1e-6  # the campaign engine against fractions
SAME_A = 10e-6
PIECE_ROUNDS = 4  # of exact solutions, each on the pieces of the one before


@pytest.fixture
def plain(monkeypatch):
    """Leave the kernels uncompiled, unless an earlier test of the run has compiled them."""
    monkeypatch.setattr(engine, "ready", lambda: None)


@pytest.fixture(scope="module")
def plain_module():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(engine, "ready", lambda: None)
        yield


# -- exact arithmetic --------------------------------------------------------------------------


def exact_voltages(network, curve_of, near_v):
    """Return the exact solution in fractions, and by how much elements are off their pieces.

    Pieces are taken from voltages near the solution. On these pieces the network is linear;
    when the answer lies on the same pieces it is the solution, for there is only one. A voltage
    within rounding of a break may name the wrong piece: then the answer itself names them.
    """
    v, off = on_pieces_at(network, curve_of, near_v)
    for _ in range(PIECE_ROUNDS):
        if off <= 0.0:
            break
        v, off = on_pieces_at(network, curve_of, v)
    return v, off


def on_pieces_at(network, curve_of, near_v):
    """Return the exact solution on the pieces at these voltages, and how far it lies off them."""
    table = network.curves
    across = near_v[network.tail] - near_v[network.head]
    rows = [{n: Fraction(LEAK_S)} for n in range(network.node_count)]
    right = [Fraction(0)] * network.node_count
    pieces = []
    for e, c in enumerate(curve_of.tolist()):
        piece = int((across[e] > table.break_v[c]).sum())
        pieces.append(piece)
        g = Fraction(float(table.slope_s[c, piece]))
        i = Fraction(float(table.intercept_a[c, piece]))
        a, b = int(network.tail[e]), int(network.head[e])
        if a != b:
            for n, m, sign in ((a, b, 1), (b, a, -1)):
                rows[n][n] += g
                rows[n][m] = rows[n].get(m, 0) - g
                right[n] -= sign * i
    v = eliminated(rows, right)
    off = Fraction(0)
    for e, c in enumerate(curve_of.tolist()):
        u = v[int(network.tail[e])] - v[int(network.head[e])]
        breaks = table.curves[c].break_v
        if pieces[e] > 0:
            off = max(off, Fraction(breaks[pieces[e] - 1]) - u)
        if pieces[e] < len(breaks):
            off = max(off, u - Fraction(breaks[pieces[e]]))
    return np.array([float(x) for x in v]), float(off)


def eliminated(rows, right):
    """Solve sparse equations in fractions; row and column 0 are PE at 0 V."""
    for row in rows:
        row.pop(0, None)
    left, order = set(range(1, len(rows))), []
    while left:
        k = min(left, key=lambda n: len(rows[n]))
        left.discard(k)
        order.append(k)
        for n in [m for m in rows[k] if m in left]:
            factor = rows[n][k] / rows[k][k]
            right[n] -= factor * right[k]
            for m, g in rows[k].items():
                rows[n][m] = rows[n].get(m, 0) - factor * g
            del rows[n][k]
    v = [Fraction(0)] * len(rows)
    for k in reversed(order):
        rest = sum((g * v[m] for m, g in rows[k].items() if m != k), Fraction(0))
        v[k] = (right[k] - rest) / rows[k][k]
    return v


def test_fractions_solve_what_is_solved_by_hand():
    # 24 V behind 1 ohm into 23 ohm, leaks aside: 23 V.
    network, case, node = wired(
        ("G", "P", "PE", cv.source(24.0, 1.0, can_sink=True)), ("R", "P", "PE", cv.resistor(23.0))
    )
    v, off = exact_voltages(network, case, np.array([0.0, 20.0]))
    assert v[node["P"]] == pytest.approx(23.0, abs=1e-6)
    assert off == 0.0


def agreed(network, curve_of, ours, theirs):
    """Demand that both engines agree within 10 uV, or that fractions prove ours right."""
    if np.abs(ours - theirs).max() > AGREE_V:
        exact, off = exact_voltages(network, curve_of, ours)
        assert off <= EXACT_V
        assert np.abs(ours - exact).max() <= EXACT_V
        assert np.abs(theirs - exact).max() > EXACT_V


# -- random circuits -----------------------------------------------------------------------------


@st.composite
def campaigns(draw, most_nodes=12, most_changes=2):
    """Draw a network, a base, and neighbourhoods with single and double changes."""
    network, case = draw(networks(most_nodes))
    change = st.tuples(
        st.integers(0, network.element_count - 1), st.integers(0, len(network.curves.count) - 1)
    )
    node = st.integers(0, network.node_count - 1)
    proper = np.flatnonzero(network.tail != network.head).tolist()
    area = st.builds(
        Neighbourhood,
        st.lists(st.lists(change, max_size=most_changes), min_size=1, max_size=4),
        st.lists(st.lists(change, max_size=1), min_size=1, max_size=3),
        st.lists(st.tuples(node, node), max_size=2),
        st.lists(st.sampled_from(proper), max_size=2),
        st.lists(st.tuples(node, node, st.sampled_from([0.5, 3.0, 11.0])), max_size=2),
    )
    return network, case, draw(st.lists(area, min_size=1, max_size=3))


def check_campaign(network, base, areas):
    """Compare every case of a campaign, as a whole and reading by reading; return certificates."""
    compiled = Campaign(network, base[None, :]).compile(areas)
    result = compiled.run()
    curves = np.array([compiled.curves_of(k) for k in range(compiled.case_count)])
    known = solve_cases(network, curves)
    assert known.solved.all()
    assert (result.residual_a <= CERTIFICATE_A).all()
    case = 0
    for h, area in enumerate(areas):
        rows = result.readings(h)
        for own in rows:
            v, a = compiled.rebuild(case)
            agreed(network, curves[case], v, known.node_v[case])
            expected = [v[p] - v[q] for p, q in area.volts]
            assert own[: len(expected)] == pytest.approx(expected, abs=EXACT_V)
            assert own[len(expected) :] == pytest.approx(a[list(area.amps)], abs=SAME_A)
            for bit, (p, q, limit) in enumerate(area.limits):
                if abs(v[p] - v[q] - limit) > EXACT_V:
                    assert bool(result.decision[case] >> bit & 1) == (v[p] - v[q] > limit)
            case += 1
    assert case == len(result.decision)
    return result.certificate


@given(campaigns())
def test_random_circuits(plain_module, drawn):
    check_campaign(*drawn)


def check_near(network, base, areas):
    """Compare whole cases near bases that are found, and far from all, with the reference."""
    compiled = Campaign(network, base[None, :]).compile(areas)
    curves = np.array([compiled.curves_of(k) for k in range(compiled.case_count)])
    curves = np.concatenate([curves] * (1 + 16 // len(curves)))  # worth a base
    known, own = solve_cases(network, curves), Near(network).solve(curves)
    assert own.solved.all()
    assert (own.residual_a <= CERTIFICATE_A).all()
    for k, curve_of in enumerate(curves):
        agreed(network, curve_of, own.node_v[k], known.node_v[k])
        across = own.node_v[k][network.tail] - own.node_v[k][network.head]
        for e, u in enumerate(across.tolist()):
            from_curve = cv.value(network.curves.curves[int(curve_of[e])], u)
            assert own.element_a[k, e] == pytest.approx(from_curve, rel=1e-6, abs=1e-9)


@given(campaigns())
def test_whole_cases_of_random_circuits(plain_module, drawn):
    check_near(*drawn)


def test_whole_cases_far_from_all_bases_go_to_the_reference_engine(plain):
    network, base, _ = two_branches()
    near = Near(network)
    assert np.isfinite(near.solve(base[None, :]).node_v).all()
    assert not near.campaign.bases  # one case is not worth a base
    assert near.solve(np.repeat(base[None, :], 20, axis=0)).solved.all()
    assert len(near.campaign.bases) == 1
    with pytest.raises(ValueError, match="must be"):
        near.solve(base)


@pytest.mark.slow
@settings(max_examples=1500)
@given(campaigns(most_nodes=20, most_changes=4))
def test_many_random_circuits_compiled(drawn):
    check_campaign(*drawn)
    check_near(*drawn)


# -- a certificate that fails --------------------------------------------------------------------


def two_branches():
    """Return a supply limited to 5 A, with a load and a light on branches of their own."""
    network, base, node = wired(
        ("supply", "P", "PE", cv.source(24.0, 0.01, 5.0)),
        ("core", "P", "a", cv.resistor(0.1)),
        ("load", "a", "PE", cv.resistor(100.0)),
        ("feed", "P", "b", cv.resistor(0.1)),
        ("light", "b", "PE", cv.lamp_led(2.0, 1000.0)),
        ("spare", "b", "PE", cv.resistor(0.05)),
        ("absent", "b", "PE", cv.open_circuit()),
    )
    base = base.copy()
    base[5] = base[6]
    return network, base, node


def test_a_short_beyond_the_neighbourhood_is_followed(plain):
    network, base, node = two_branches()
    short, open_ = int(np.array([network.curves.curves.index(cv.resistor(0.05))])[0]), int(base[6])
    area = Neighbourhood([[(2, short)], [(2, open_)]], volts=[(node["a"], 0)])
    compiled = Campaign(network, base[None, :]).compile([area])
    result = compiled.run()
    assert result.certificate.tolist() == [HARD, LOCAL]
    # By hand: 5 A through 0.1 and 0.05 ohm; the light, 0.75 V now, is dark.
    assert result.readings(0)[0, 0] == pytest.approx(0.25, abs=1e-6)
    v, a = compiled.rebuild(0)
    assert v[node["P"]] == pytest.approx(0.75, abs=1e-6)
    assert a[4] == pytest.approx(0.0, abs=1e-6)
    # Nothing drawn over the core: 24 V less what the light draws through 10 mohm.
    assert result.readings(0)[1, 0] == pytest.approx(24.0 - 0.01 * 22.0 / 1000.0, abs=2e-6)
    for k in range(2):
        known = solve_cases(network, compiled.curves_of(k)[None, :]).node_v[0]
        assert compiled.rebuild(k)[0] == pytest.approx(known, abs=AGREE_V)


def test_what_the_kernels_cannot_settle_goes_to_the_reference_engine(plain, monkeypatch):
    network, base, node = two_branches()
    short = network.curves.curves.index(cv.resistor(0.05))
    area = Neighbourhood(
        [[(2, short)]], volts=[(node["a"], 0)], amps=[2], limits=[(node["P"], 0, 0.5)]
    )
    compiled = Campaign(network, base[None, :]).compile([area])

    def give_up(net, job, now, first, end, only):
        job.out.certificate[job.out.certificate == HARD] = REFERENCE
        return 1

    monkeypatch.setattr(engine, "run_hard", give_up)
    result = compiled.run()
    assert result.certificate.tolist() == [REFERENCE]
    assert result.readings(0)[0] == pytest.approx([0.25, 5.0], abs=1e-6)
    assert result.decision.tolist() == [1]
    assert result.residual_a[0] <= CERTIFICATE_A
    assert compiled.rebuild(0)[0][node["P"]] == pytest.approx(0.75, abs=1e-6)

    monkeypatch.setattr("ringout.solve.newton.MOST_STEPS", 1)
    unsolved = compiled.run()
    assert unsolved.certificate.tolist() == [UNSOLVED]
    assert np.isnan(unsolved.readings(0)).all()
    assert np.isnan(compiled.rebuild(0)[0]).all()


# -- the demo cell -------------------------------------------------------------------------------


def demo_cases():
    """Return network, base and one neighbourhood per group: all single faults in all states."""
    laid = lay_out(run.load(str(DEMO)).cell)
    faults = single_faults(laid.circuit)
    faulted = with_faults(laid.circuit, faults)
    number = {fault.id: k for k, fault in enumerate(faults)}
    base = faulted.curves(faulted.positions(laid.found.base), np.array([HEALTHY]))[0]
    network = faulted.circuit.network
    areas = []
    for _, members in in_groups(faults):
        cases = []
        for fault in members:
            positions = faulted.positions(laid.reach.states(fault).positions)
            healthy = faulted.curves(positions, np.full(len(positions), HEALTHY))
            for position, curve_of in zip(positions, healthy, strict=True):
                for e, curve in faulted.changes(number[fault.id], position):
                    curve_of[e] = curve
                moved = np.flatnonzero(curve_of != base)
                cases.append(list(zip(moved.tolist(), curve_of[moved].tolist(), strict=True)))
        nodes = sorted({int(n) for case in cases for e, _ in case for n in (network.tail[e],)})
        areas.append(Neighbourhood(cases, volts=[(n, 0) for n in nodes]))
    return network, base, areas, len(faults)


@pytest.mark.slow
def test_every_single_fault_of_the_demo_cell_in_every_state():
    network, base, areas, faults = demo_cases()
    assert faults > 500 and len(areas) > 50
    compiled = Campaign(network, base[None, :]).compile(areas)
    result = compiled.run()
    assert compiled.case_count > 2000
    assert not (result.certificate == UNSOLVED).any()
    curves = np.array([compiled.curves_of(k) for k in range(compiled.case_count)])
    known = solve_cases(network, curves, start_v=compiled.base.node_v)
    assert known.solved.all()
    worst = np.zeros(compiled.case_count)
    for h, area in enumerate(areas):
        first, end = result.case_first[h : h + 2]
        wanted = known.node_v[first:end][:, [n for n, _ in area.volts]]
        worst[first:end] = np.abs(result.readings(h) - wanted).max(axis=1, initial=0.0)
    print(f"{len(worst)} cases, worst difference {worst.max():.2g} V")
    assert worst.max() <= AGREE_V

    # The fifty that differ most, in fractions.
    off_v = []
    for case in np.argsort(worst)[::-1][:50].tolist():
        v, _ = compiled.rebuild(case)
        exact, off = exact_voltages(network, curves[case], v)
        assert off <= EXACT_V
        off_v.append(np.abs(v - exact).max())
        h = int(np.searchsorted(result.case_first, case, side="right")) - 1
        own = result.readings(h)[case - int(result.case_first[h])]
        off_v.append(np.abs(own - exact[[n for n, _ in areas[h].volts]]).max(initial=0.0))
    print(f"50 worst cases against fractions: {max(off_v):.2g} V")
    assert max(off_v) <= EXACT_V
