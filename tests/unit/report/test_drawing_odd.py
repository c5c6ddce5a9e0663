"""Drawings of generated cells, landed wherever it fell: nothing lies on anything else."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ringout.circuit.compile import compile_circuit
from ringout.report.drawing import draw_overview, draw_signal
from tests.unit.report.test_drawing_overlap import assert_clean, cell_from

NOTES = st.sampled_from(
    ["", "x", "a", "clamp of the very long second fixture in the far corner behind the guard",
     "Überwachung", "q" * 60, "<&> \"quoted\" 'text'", "caddy at the stop"]
)  # fmt: skip
CABLES = st.sampled_from(
    ["cable-5x0.34", "cable-7x0.25", "cable-4x0.5", "cable-5x0.75", "cable-12x0.25"]
)
# part, its terminals, what moves it
CONTACTS = [
    ("pushbutton-1no-gold", ["13", "14"], "pressed"),
    ("pushbutton-1nc-gold", ["11", "12"], "pressed"),
    ("pushbutton-1no-led-gold", ["13", "14", "X1", "X2"], "pressed"),
    ("key-switch-2pos-gold", ["13", "14", "21", "22"], "right"),
    ("door-switch-status-gold", ["31", "32"], "closed"),
]
PLUGGED = [
    ("inductive-pnp-no", "target"),
    ("inductive-npn-no", "target"),
    ("inductive-push-pull-no", "target"),
    ("photo-pnp-light-dark", "target"),
    ("photo-npn-pull-up", "target"),
    ("reed-2wire-led", "target"),
    ("light-curtain-ossd-status", "clear"),
]
LOADS = ["valve-2w3-bare", "valve-4w5-din-diode", "lamp-led-24v", "relay-2k2-diode"]
CORES = {"cable-5x0.34": "BN WH BU BK GY", "cable-7x0.25": "WH BN GN YE GY PK BU",
         "cable-4x0.5": "BN WH BU BK", "cable-5x0.75": "1 2 3 4 GNYE",
         "cable-12x0.25": "BN WH BU BK GY PK VT"}  # fmt: skip
LOAD_PINS = {"relay-2k2-diode": ("A1", "A2"), "lamp-led-24v": ("X1", "X2")}


FEEDS = {
    "breaker": ["T1:+ F1:in+", "T1:- F1:in-", "F1:out1 K1-XS:1", "F1:m1 K1-XS:2",
                "F1:out2 K1-XS:3", "F1:m2 K1-XS:4"],
    "one": ["T1:+ K1-XS:1", "T1:- K1-XS:2", "T1:+ K1-XS:3", "T1:- K1-XS:4"],
    "two": ["T1:+ K1-XS:1", "T1:- K1-XS:2", "T2:+ K1-XS:3", "T2:- K1-XS:4"],
    "common": ["T1:+ K1-XS:1", "T1:- K1-XS:2", "T2:+ K1-XS:3", "T2:- K1-XS:4", "T1:- T2:-"],
}  # fmt: skip


class Odd:
    """A cell in the making."""

    def __init__(self, draw) -> None:
        self.draw = draw
        panel = draw(st.sampled_from(["io-panel-16x16", "io-panel-16x16-consecutive"]))
        feed = draw(st.sampled_from(list(FEEDS)))
        self.items = ["T1: supply-24v-10a", f"K1: {{part: {panel}{self.note()}}}"]
        self.items += {"breaker": ["F1: electronic-breaker-4ch"], "one": []}.get(
            feed, ["T2: supply-24v-2a5"]
        )
        self.joins = [f"- {line}" for line in FEEDS[feed]]
        self.cables: list[str] = []
        self.signals: list[str] = []

    def note(self) -> str:
        return f", note: {json.dumps(self.draw(NOTES))}"

    def cable(self, number: int) -> list[str]:
        """Lay a cable and return its cores."""
        laid = self.draw(CABLES)
        self.cables.append(
            f"W{number}: {{part: {laid}, length: {self.draw(st.integers(1, 40))} m}}"
        )
        return CORES[laid].split()

    def contact(self, n: int) -> None:
        part, pins, position = self.draw(st.sampled_from(CONTACTS))
        cores = self.cable(n)
        self.items.append(f"S{n}: {{part: {part}{self.note()}}}")
        ends = self.draw(st.permutations(["1", "4", "3", "2"]))
        for pin, core, end in zip(pins, cores, ends, strict=False):
            self.joins.append(f"- S{n}:{pin} W{n}:{core} K1-X{n}:{end}")
        if self.draw(st.booleans()):
            self.joins.append(f"- S{n}:{pins[0]} S{n}:{pins[-1]}")
        self.signals.append(f"s{n}: {{channel: K1.I{n}, on: S{n} {position}}}")

    def plugged(self, n: int) -> None:
        part, position = self.draw(st.sampled_from(PLUGGED))
        self.items.append(f"B{n}: {{part: {part}{self.note()}}}")
        self.cables.append(f"W{n}: {{part: cordset-m12-4, length: 5 m}}")
        if self.draw(st.booleans()):
            self.joins.append(f"- B{n} W{n} K1-X{n}")
        else:
            other, _ = self.draw(st.sampled_from(PLUGGED))
            self.items += [f"Y{n}: m12-y-splitter", f"B{n}B: {other}"]
            self.joins += [f"- B{n} Y{n}-A", f"- B{n}B Y{n}-B", f"- Y{n}-T W{n} K1-X{n}"]
        self.signals.append(f"s{n}: {{channel: K1.I{n}, on: B{n} {position}}}")

    def loads(self, n: int) -> None:
        cores = self.cable(n)
        before = (f"K1-X{n + 10}:4 W{n}:{cores[0]}", f"K1-X{n + 10}:3 W{n}:{cores[-1]}")
        for k, part in enumerate(
            self.draw(st.lists(st.sampled_from(LOADS), min_size=1, max_size=3))
        ):
            name = f"Q{n}{'abc'[k]}"
            pins = LOAD_PINS.get(part, ("1", "2"))
            if self.draw(st.booleans()):
                pins = pins[::-1]
            self.items.append(f"{name}: {{part: {part}{self.note()}}}")
            self.joins += [f"- {a} {name}:{p}" for a, p in zip(before, pins, strict=True)]
            before = (f"{name}:{pins[0]}", f"{name}:{pins[1]}")
        self.signals.append(f"s{n}: {{channel: K1.O{n}, drives: Q{n}a}}")

    def text(self) -> str:
        blocks = (
            ("items", self.items),
            ("cables", self.cables),
            ("joins", self.joins),
            ("signals", self.signals),
        )
        body = "".join(f"{word}:\n" + "".join(f"  {x}\n" for x in lines) for word, lines in blocks)
        return f"cell: Odd cell\nrevision: A\nambient: 10..40 °C\n{body}"


@st.composite
def odd_cells(draw) -> str:
    """Return the text of a cell with devices landed wherever it fell, several to a clamp."""
    odd = Odd(draw)
    for number in range(1, draw(st.integers(1, 5)) + 1):
        draw(st.sampled_from([odd.contact, odd.plugged, odd.loads]))(number)
    return odd.text()


def check_odd(words: str, folder: Path) -> None:
    cell = cell_from(words, folder)
    assert cell.signals, words
    circuit = compile_circuit(cell)
    for signal in cell.signals.values():
        for state in (None, {}):
            sheets = draw_signal(cell, signal, state, circuit=circuit)
            assert_clean(sheets, f"{words}\n{signal.name} {state}")
    assert_clean(draw_overview(cell), words)


LOOSE = settings(
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@settings(LOOSE, max_examples=20)
@given(words=odd_cells())
def test_odd_cells(words, tmp_path):
    check_odd(words, tmp_path)


@pytest.mark.slow
@settings(LOOSE, max_examples=200)
@given(words=odd_cells())
def test_two_hundred_odd_cells(words, tmp_path):
    check_odd(words, tmp_path)
