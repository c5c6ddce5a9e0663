"""Laws that the closed formulas on resistors, cable lengths and coils must keep."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.tables import bleeder, length, resistors, suppress

positive = st.floats(1e-3, 1e3)


# --- resistors, bleeders, lengths ------------------------------------------------------------


@pytest.mark.parametrize(
    ("series", "r_ohm", "below", "above"),
    # IEC 60063
    [("E12", 4969, 4700, 5600), ("E12", 4700, 4700, 4700), ("E24", 4969, 4700, 5100),
     ("E12", 9.9, 8.2, 10), ("E12", 1000, 1000, 1000), ("E24", 0.95, 0.91, 1.0)],
)  # fmt: skip
def test_preferred_values(series, r_ohm, below, above):
    assert resistors.preferred_at_most(r_ohm, series) == below
    assert resistors.preferred_at_least(r_ohm, series) == above


@pytest.mark.parametrize("count", [12, 24])
def test_series_follow_their_law(count):
    # IEC 60063: the values are 10^(k/n), rounded, with eight historical exceptions within 5 %
    found = resistors.mantissas(f"E{count}")
    assert len(found) == count
    for k, value in enumerate(found):
        assert value == pytest.approx(10 ** (k / count), rel=0.05)
    assert set(resistors.mantissas("E12")) <= set(resistors.mantissas("E24"))


@given(st.floats(1e-2, 1e7), st.sampled_from(["E12", "E24"]))
def test_preferred_values_enclose(r_ohm, series):
    below = resistors.preferred_at_most(r_ohm, series)
    above = resistors.preferred_at_least(r_ohm, series)
    slack = 1e-8
    assert below <= r_ohm * (1 + slack)
    assert above >= r_ohm * (1 - slack)
    assert above / below <= 1.26  # widest step of E12, 1.2 to 1.5 and 1.8 to 2.2 included


@pytest.mark.parametrize("r_ohm", [0.0, -1.0, math.inf, math.nan])
def test_no_resistor_for_nonsense(r_ohm):
    with pytest.raises(ValueError, match="not a positive resistance"):
        resistors.preferred_at_most(r_ohm)


@pytest.mark.parametrize(
    ("power_w", "factor", "size"), [(0.2, 2, 0.5), (0.125, 2, 0.25), (4.8, 1, 5), (40, 2, None)]
)
def test_watt_size(power_w, factor, size):
    # common practice: twice the heat
    assert resistors.watt_size(power_w, factor) == size


@given(st.floats(1e-4, 1e-2), st.floats(1, 10), st.floats(500, 20_000))
def test_the_largest_bleeder_leaves_just_the_off_voltage(leak_a, off_v, input_ohm):
    found = bleeder.bleeder_by_voltage_ohm(leak_a, off_v, input_ohm)
    if found is None:
        assert bleeder.off_voltage_v(leak_a, input_ohm) <= off_v * (1 + 1e-9)
    else:
        assert bleeder.off_voltage_v(leak_a, input_ohm, found) == pytest.approx(off_v)
        assert bleeder.off_voltage_v(leak_a, input_ohm) > off_v


def test_glow_resistor():
    # Ohm's law: 1 mA through 1.5 kohm is 1.5 V
    assert bleeder.largest_glow_ohm(1e-3, 1.5) == pytest.approx(1500)


@given(positive, positive, positive)
def test_longest_length_has_just_the_allowed_drop(allowed_v, ohm_per_km, current_a):
    metres = length.longest_m(allowed_v, ohm_per_km, current_a)
    assert length.drop_v(metres, ohm_per_km, current_a) == pytest.approx(allowed_v)


@given(positive, positive, st.floats(0.14, 6))
def test_shared_return_agrees_with_kirchhoff(own_a, other_a, area_mm2):
    metres = length.longest_shared_return_m(3.6, area_mm2, own_a, other_a, kappa=56)
    ohm = metres / (56 * area_mm2)
    assert other_a * ohm + (other_a + own_a) * ohm == pytest.approx(3.6)


def test_a_chain_needs_as_many_loads_as_sections():
    with pytest.raises(ValueError, match="argument"):
        length.chain_drops_v([1.0, 2.0], [1.0], 0.05)


# --- coils -----------------------------------------------------------------------------------


@given(
    st.floats(0.01, 2), st.floats(20, 500), st.floats(0.01, 0.5), st.floats(0.01, 0.9),
    st.floats(0, 60),
)  # fmt: skip
def test_decay_obeys_the_differential_equation(henry, ohm, start_a, share, clamp_v):
    """Stepping L di/dt = -(R i + U) with small steps arrives at the same time."""
    until_a = start_a * share
    exact = suppress.decay_s(henry, ohm, start_a, until_a, clamp_v)
    steps = 400
    dt = exact / steps
    current = start_a
    for _ in range(steps):
        # midpoint rule
        slope = -(ohm * current + clamp_v) / henry
        middle = current + slope * dt / 2
        current -= (ohm * middle + clamp_v) / henry * dt
    assert current == pytest.approx(until_a, rel=2e-3, abs=1e-6)


@given(st.floats(0.01, 2), st.floats(0.01, 0.5), st.floats(24, 60))
def test_a_stiff_clamp_empties_a_coil_in_a_straight_line(henry, start_a, clamp_v):
    # relay makers' notes: t is about L I / U when U is large against I R
    straight = suppress.decay_s(henry, 0.0, start_a, 0.0, clamp_v)
    assert straight == pytest.approx(henry * start_a / clamp_v)
    almost = suppress.decay_s(henry, 1e-3, start_a, 0.0, clamp_v)
    assert almost == pytest.approx(straight, rel=1e-3)


def test_decay_of_a_diode_against_a_zener():
    # relay makers' notes: a diode slows the release 3 to 10 times, a Zener near supply barely.
    # 24 V relay of 480 ohm, 1 H, released at 40 % of its current.
    diode_v, zener_v = suppress.clamp_v("diode"), suppress.clamp_v("zener")
    slow = suppress.decay_s(1.0, 480, 0.05, 0.02, diode_v.typ)
    quick = suppress.decay_s(1.0, 480, 0.05, 0.02, zener_v.typ)
    assert 2 < slow / quick < 10
    assert suppress.clamp_v("none") is None
    assert suppress.release_factor("diode").low > suppress.release_factor("zener").high


def test_decay_without_end_and_without_sense():
    assert suppress.decay_s(0.5, 60, 0.2, 0.0) == math.inf
    with pytest.raises(ValueError, match="keeps its current"):
        suppress.decay_s(0.5, 0.0, 0.2, 0.1)
    with pytest.raises(ValueError, match="must fall"):
        suppress.decay_s(0.5, 60, 0.1, 0.2)
