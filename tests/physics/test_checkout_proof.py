"""The checkout followed by its printed text alone, on cells of other shapes than the demo.

A reading is compared with the limits read back from the words of the step, as a person does; the
planner's own limits are not looked at. Cells with faults are solved anew by the reference
engine, the meter an element of the circuit.
"""

from __future__ import annotations

import math
import random
import re

import numpy as np
import pytest

from ringout import run
from ringout.checkout import plan_checkout
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import both, single_faults
from ringout.findings.effects import effects_of, lay_out
from ringout.findings.looks import HEALTHY_CELL
from tests.physics.small_cells import small_cell
from tests.physics.walk import Walker, looks_of, unexpected

DEMO = "examples/caddy-lidder/corrected.yaml"
SIZE = {"MΩ": 1e6, "kΩ": 1e3, "Ω": 1.0, "V": 1.0}
VALUE = re.compile(r"(-?\d+(?:\.\d+)?) (MΩ|kΩ|Ω|V)")
SAME = 1e-9
PAIRS = 150

ONE_BUTTON = small_cell(
    "S1: pushbutton-1no-gold\nK1: input-card-8-15k",
    "P W1:BN S1:13\nS1:14 W1:WH K1:1\nK1:COM M",
    "start: {channel: K1.I1, on: S1 pressed}",
    cables="W1: {part: cable-2x0.34, length: 5 m}",
)

# Two machines: the button of one is read by the other, and a valve hangs on the second supply.
TWO_SUPPLIES = """\
cell: Two supplies
ambient: 10..40 °C
items:
  T1: supply-24v-5a
  T2: supply-24v-5a
  X1: terminal-block-4
  X2: terminal-block-4
  X3: terminal-block-4
  X4: terminal-block-4
  S1: pushbutton-1no-gold
  K1: input-card-8-15k
  K2: output-card-8-0a5
  Q1: valve-2w3-diode
cables:
  W1: {part: cable-2x0.34, length: 8 m}
  W2: {part: cable-2x0.5, length: 6 m}
joins:
  - T1:+  X1:1
  - T1:-  X2:1
  - T2:+  X3:1
  - T2:-  X4:1
  - X2:2  X4:2
  - X1:2  W1:BN  S1:13
  - S1:14  W1:WH  K1:1
  - K1:COM  X2:3
  - X3:2  K2:L+
  - X4:3  K2:M
  - K2:1  W2:BN  Q1:1
  - Q1:2  W2:BU  X4:4
signals:
  start: {channel: K1.I1, on: S1 pressed}
  blow: {channel: K2.O1, drives: Q1}
"""


def text_limits(text):
    """Return the lowest and highest good reading that the words of a step allow."""
    values = [float(a) * SIZE[unit] for a, unit in VALUE.findall(text)]
    if "over" in text:
        return values[0], math.inf
    if "at most" in text:
        return (-values[0] if "either sign" in text else 0.0), values[0]
    if len(values) == 1:  # "23.5 to 24.5 V": one unit for both
        first = re.match(r"(-?\d+(?:\.\d+)?) to ", text)
        assert first is not None, text
        return float(first.group(1)), values[0]
    low, high = values
    return low, high


def stops_by_text(walker, steps, faults):
    """Return the number of the step at which each fault is noticed, 0 for never."""
    stop = np.zeros(len(faults), dtype=int)
    for number, step in enumerate(steps, 1):
        left = np.flatnonzero(stop == 0)
        if not len(left):
            break
        for look, word in looks_of(step, walker.kinds):
            seen = walker.predictor.see(look, [faults[k] for k in left], spread=False)
            if look.by_meter:
                low, high = text_limits(step.expect)
                bad = ~((seen.typ >= low) & (seen.typ <= high))
            else:
                bad = unexpected(step, look, word, seen)
            stop[left[bad]] = number
    return stop.tolist()


class Planned:
    """A cell, its procedure, and where each unlike fault is noticed."""

    def __init__(self, path):
        loaded = run.load(str(path))
        assert not loaded.broken, [(str(p.span), p.message) for p in loaded.problems]
        self.cell = loaded.cell
        self.checkout = plan_checkout(self.cell)
        self.walker = Walker(self.cell, self.checkout)
        self.faults = single_faults(compile_circuit(self.cell))
        self.unlike = list({f.delta: f for f in self.faults}.values())
        stops = stops_by_text(self.walker, self.checkout.steps, self.unlike)
        self.stop_of = {f.delta: n for f, n in zip(self.unlike, stops, strict=True)}


@pytest.fixture(
    scope="module",
    params=[
        pytest.param(ONE_BUTTON, id="one-button"),
        pytest.param(TWO_SUPPLIES, id="two-supplies"),
        pytest.param("", id="demo", marks=pytest.mark.slow),
    ],
)
def planned(request, tmp_path_factory):
    if not request.param:
        return Planned(DEMO)
    path = tmp_path_factory.mktemp("cell") / "cell.yaml"
    path.write_text(request.param, encoding="utf-8")
    return Planned(path)


def test_every_exposable_fault_is_noticed_by_the_text(planned):
    hidden = {u.fault.delta for u in planned.checkout.not_exposable}
    shown = [f for f in planned.faults if f.delta not in hidden]
    assert len(shown) == planned.checkout.exposed > 10
    assert [f.id for f in shown if not planned.stop_of[f.delta]] == []


def test_harm_is_noticed_dead_or_named(planned):
    dead = sum(s.phase == "dead" for s in planned.checkout.steps)
    told = {u.fault.delta for u in planned.checkout.harm_before_power}
    rows = effects_of(lay_out(planned.cell), planned.unlike).rows
    unsafe = [
        r.fault.id
        for r in rows
        if r.harm and not 0 < planned.stop_of[r.fault.delta] <= dead and r.fault.delta not in told
    ]
    assert unsafe == []


def test_the_text_turns_no_healthy_cell_away(planned):
    for step in planned.checkout.steps:
        for look, word in looks_of(step, planned.walker.kinds):
            seen = planned.walker.predictor.see(look, [HEALTHY_CELL])
            if look.by_meter:
                low, high = text_limits(step.expect)
                assert low <= seen.low[0] <= seen.high[0] <= high, (step.do, step.expect)
            else:
                assert not unexpected(step, look, word, seen).any(), step.do


def test_the_text_says_what_the_plan_reckons_with(planned):
    for step in planned.checkout.steps:
        if step.unit:
            low, high = text_limits(step.expect)
            assert low == pytest.approx(step.low, rel=SAME, abs=SAME), step.expect
            assert high == pytest.approx(step.high, rel=SAME, abs=SAME), step.expect


def test_power_begins_with_every_supply(planned):
    powered = [s for s in planned.checkout.steps if s.phase == "power"]
    names = [n for n, i in planned.cell.items.items() if i.part.family == "supply"]
    begin = powered[: len(names)]
    assert sorted(s.a.item for s in begin) == sorted(names)
    assert all(s.a.pin == "+" and s.b.pin == "-" and s.low > 20.0 for s in begin)  # 24 V supplies


def test_every_signal_is_seen_at_both_its_levels_with_power_on(planned):
    seen = {
        (level, s.what) for s in planned.checkout.steps if s.phase != "dead" for level in s.levels
    }
    for signal in planned.cell.signals.values():
        if signal.on is None:  # a valve is energised, a lamp lit
            words = {w for (name, w), _ in seen if name == signal.drives}
            assert words & {"at rest", "dark"}, signal.name
            assert words & {"energised", "lit"}, signal.name
        else:
            item = signal.item
            assert {(signal.name, w) for w in ("on", "off")} <= {
                level for level, what in seen if what == item
            }, signal.name
    assert planned.checkout.unseen == ()


def test_a_signal_that_never_works_is_named_as_unseen():
    """The button of a drawing with both ends of a channel on one pole: never on."""
    cell = run.load("examples/caddy-lidder/first-drawing.yaml").cell
    assert ("start_lidding", "on") in plan_checkout(cell).unseen


def test_pairs_that_pass_hide_each_other(planned, capsys):
    chance = random.Random(11)
    pairs = []
    while len(pairs) < PAIRS:
        pair = both(*chance.sample(planned.unlike, 2))
        if pair is not None:
            pairs.append(pair)
    stops = stops_by_text(planned.walker, planned.checkout.steps, pairs)
    hidden = {u.fault.id for u in planned.checkout.not_exposable}
    fair = [any(part not in hidden for part in p.id.split(" + ")) for p in pairs]
    caught = sum(n > 0 for n, f in zip(stops, fair, strict=True) if f)
    with capsys.disabled():
        print(f"\n{planned.cell.name}: {caught} of {sum(fair)} pairs are caught")
    assert sum(fair) > PAIRS / 2  # else nothing is tested here
    assert caught >= 0.9 * sum(fair)
