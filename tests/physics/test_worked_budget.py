"""Worked examples G: what supplies, branches and pins must carry with everything on."""

from __future__ import annotations

from itertools import pairwise

import pytest

from ringout.tables.budget import Load, input_power_w, mean_a
from tests.cells.worked.workbench import Bench, branch, codes, finding, number, read, signal


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


def row(start, letter, pole, numbers):
    """Return join lines that lead from a terminal through one pole of items in a row."""
    places = [start, *(f"{letter}{n}:{pole}" for n in numbers)]
    return [f"  - {a}  {b}\n" for a, b in pairwise(places)]


def loads_on_a_rail(loads):
    """Return item and join lines for electronic loads in a row on the supply."""
    numbers = range(1, len(loads) + 1)
    items = "".join(
        f"  E{n}: {{part: we-load, amps: {amps} A}}\n"
        for n, amps in zip(numbers, loads, strict=True)
    )
    return items, "".join(row("T1:+", "E", "+", numbers) + row("T1:-", "E", "-", numbers))


def outputs(amps, count=8, feed="T1:+"):
    """Return item and join lines for loads on the outputs of K1, and a signal for each."""
    numbers = range(1, count + 1)
    items = "  K1: we-output\n" + "".join(
        f"  Q{n}: {{part: we-load, amps: {amps} A}}\n" for n in numbers
    )
    joins = f"  - {feed}  K1:+\n" + "".join(f"  - K1:{n}  Q{n}:+\n" for n in numbers)
    joins += f"  - T1:-  K1:-\n{''.join(row('K1:-', 'Q', '-', numbers))}"
    signals = "signals:\n" + "".join(
        f"  out{n}: {{channel: K1.O{n}, drives: Q{n}}}\n" for n in numbers
    )
    return items, joins, signals


def test_we_36_drive_system(bench):
    """WE-36, a drive system manual, table 9-9: 14.25 A with everything on; exact."""
    steady = [0.8, 1.5, *[0.85] * 2, *[0.9] * 3, *[0.25] * 5, *[1.1] * 5]
    items, joins = loads_on_a_rail(steady)
    out_items, out_joins, signals = outputs(0.1)
    judged = bench.prove(
        f"items:\n  T1: we-supply\n{items}{out_items}joins:\n{joins}{out_joins}{signals}"
    )
    total = branch(judged, "T1.output")
    assert total.high_a == pytest.approx(14.25, rel=1e-4)
    assert total.rest_a == pytest.approx(14.25 - 8 * 0.1, rel=1e-4)


@pytest.mark.parametrize(("limit_a", "enough"), [(14.3, True), (14.2, False)])
def test_we_36_against_the_rating_of_the_supply(bench, limit_a, enough):
    """WE-36: a supply of less than 14.25 A is told, even where no single load is too much."""
    steady = [0.8, 1.5, *[0.85] * 2, *[0.9] * 3, *[0.25] * 5, *[1.1] * 5]
    items, joins = loads_on_a_rail(steady)
    out_items, out_joins, signals = outputs(0.1)
    supply = f"{{part: we-supply-limited, limit: {limit_a} A}}"
    judged = bench.prove(
        f"items:\n  T1: {supply}\n{items}{out_items}joins:\n{joins}{out_joins}{signals}"
    )
    assert ("F204" in codes(judged)) != enough


def test_we_38_duty_is_for_heat_only(bench):
    """WE-38, an article on a 24 V bus: 10, 2, 12 (50 % duty), 1 W: 0.79 A mean, 0.99 A with 25 %.

    The instant knows no duty: 25 W are 1.042 A, and that is what prove says.
    """
    items, joins = loads_on_a_rail([round(w / 24, 9) for w in (10, 2, 1)])
    out_items, out_joins, signals = outputs(12 / 24, count=1)
    judged = bench.prove(
        f"items:\n  T1: we-supply\n{items}{out_items}joins:\n{joins}{out_joins}{signals}"
    )
    bus = branch(judged, "T1.output")
    assert bus.high_a == pytest.approx(25 / 24, rel=0.001)
    mean = mean_a([Load(bus.rest_a), Load(bus.high_a - bus.rest_a, duty=0.5)])
    assert mean == pytest.approx(0.79, rel=0.01)
    assert mean * 1.25 == pytest.approx(0.9875, rel=0.01)


def full_module(amps_through, guard):
    """Return WE-39: eight outputs of 0.5 A behind one guard of 4 A, and what is fed through."""
    out_items, out_joins, signals = outputs(0.5, feed="F1:2")
    through = f"  E1: {{part: we-load, amps: {amps_through} A}}\n" if amps_through else ""
    fed = "  - F1:2  E1:+\n  - T1:-  E1:-\n" if amps_through else ""
    return (
        f"items:\n  T1: we-supply\n  F1: {guard}\n{out_items}{through}"
        f"joins:\n  - T1:+  F1:1\n{out_joins}{fed}{signals}"
    )


BREAKER_4_A = "{part: breaker-c, rated: 4 A, ohm: 1 mΩ}"


def test_we_39_the_module_takes_all(bench):
    """WE-39, fieldbus box documentation: 8 outputs of 0.5 A are the 4 A allowed, margin 0."""
    judged = bench.prove(full_module(0, BREAKER_4_A))
    fed = branch(judged, "F1.pole")
    assert fed.limit_a == pytest.approx(4.0)
    assert fed.high_a == pytest.approx(4.0, rel=1e-4)


@pytest.mark.parametrize(("amps_through", "told"), [(0.1, True), (0.0, False)])
def test_we_39_nothing_may_be_fed_through(bench, amps_through, told):
    """WE-39: every single thing fed through overloads the feed."""
    judged = bench.prove(full_module(amps_through, BREAKER_4_A))
    assert ("F204" in codes(judged)) == told
    if told:
        assert number(finding(judged, "F204"), "highest") == pytest.approx(4.1, rel=1e-3)


@pytest.mark.parametrize(("amps_through", "told"), [(0.1, True), (0.0, False)])
def test_we_39_as_the_limit_of_a_pin(bench, amps_through, told):
    """WE-39: the limit is that of the connector's pins, which carry the sum of all outputs."""
    judged = bench.prove(full_module(amps_through, "{part: we-pins, max: 4 A}"))
    assert bool(codes(judged) & {"F202", "F204"}) == told


SAFETY_SWITCH = """
items:
  T1: we-supply
  B1: we-safety-switch
  E1: {part: we-load, amps: 0.05 A}
  E2: {part: we-load, amps: 0.15 A}
  E3: {part: we-load, amps: 0.15 A}
joins:
  - T1:+    B1:+
  - T1:-    B1:-
  - B1:MON  E1:+
  - B1:S1   E2:+
  - B1:S2   E3:+
  - T1:-    E1:-
  - E1:-    E2:-
  - E2:-    E3:-
"""


def test_we_40_safety_switch(bench):
    """WE-40, instructions of a non-contact safety switch: 45 + 50 + 2 x 150 = 395 mA; exact."""
    fed = branch(bench.prove(SAFETY_SWITCH), "T1.output")
    assert fed.high_a == pytest.approx(0.395, rel=1e-4)
    assert fed.rest_a == pytest.approx(0.045, rel=1e-3)


def test_we_40_outputs_may_carry_what_they_are_rated_for(bench):
    """WE-40: "up to 50 mA" and "up to 150 mA" include 50 and 150 mA."""
    assert not codes(bench.prove(SAFETY_SWITCH)) & {"F201", "F202", "F204"}


def test_we_40_what_an_output_feeds_is_fed(bench):
    """WE-40: a device on an output has a supply, through that output."""
    assert "F401" not in codes(bench.prove(SAFETY_SWITCH))


def test_we_41_mains_side(bench):
    """WE-41, an article on cabinet power: 24 V x 5 A = 120 W at 84 % takes 142.86 W, +-0.1 %."""
    text = """
items:
  T1: we-supply
  E1: {part: we-load, amps: 5 A}
joins:
  - T1:+  E1:+
  - T1:-  E1:-
"""
    volts = read(bench.load(text), "T1:+", "T1:-").value
    amps = branch(bench.prove(text), "T1.output").high_a
    assert input_power_w(volts * amps, 0.84) == pytest.approx(142.86, rel=0.001)


def test_loads_that_are_never_on_together_still_count(bench):
    """Outputs are the program's to set: the budget takes all of them at once (common practice)."""
    out_items, out_joins, signals = outputs(0.5, count=4)
    judged = bench.prove(f"items:\n  T1: we-supply\n{out_items}joins:\n{out_joins}{signals}")
    assert branch(judged, "T1.output").high_a == pytest.approx(2.0, rel=1e-4)
    assert {signal(judged, f"out{n}").verdict for n in range(1, 5)} == {"works"}


@pytest.mark.parametrize(("amps", "told"), [(5.2, True), (5.0, False)])
def test_we_41_a_supply_is_rated_for_5_a(bench, amps, told):
    """WE-41: 24 V, 5 A is what the supply is rated for, though it limits only at 5.5 A."""
    judged = bench.prove(f"""
items:
  T1: supply-24v-5a
  E1: {{part: we-load, amps: {amps} A}}
joins:
  - T1:+  E1:+
  - T1:-  E1:-
""")
    assert bool(codes(judged) & {"F202", "F204"}) == told
