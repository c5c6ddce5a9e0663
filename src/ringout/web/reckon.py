"""A setting solved: levels, loads, what opened, and what the meter shows."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ringout.base import Span
from ringout.base.quantity import format_quantity
from ringout.cell.model import Terminal
from ringout.circuit import curves as cv
from ringout.circuit.behaviour import OPEN, Behaviour, ohmic
from ringout.circuit.faults import Change, Extra, Fault, Faulted, both, with_faults
from ringout.circuit.model import Circuit
from ringout.findings.effects import FaultStates, settle_faults
from ringout.findings.looks.corners import CORNERS, at_corner
from ringout.findings.meter import (
    LOADED_OHM,
    OHMS_INNER_OHM,
    OHMS_OPEN_V,
    VOLTMETER_OHM,
    WEAK_V,
    to_ohm,
)
from ringout.report.drawing.path_words import amps_text
from ringout.solve import solve_cases
from ringout.web.changes import NOTHING, Bench

MARKS = ("off", "between", "on")  # classes and signs of what is seen, from little to much
UNSOLVED = "unsolved"
_NOWHERE = Span("", 1, 1, 1)


@dataclass(frozen=True, slots=True)
class Shown:
    """What a signal or a load does.

    Args:
        name: signal, or load as the file names it.
        kind: `input`, `output` or `load`.
        mark: `off`, `between`, `on` or `unsolved`.
        word: in words: off, undefined, energised ...
        figure: the volts or amperes it is judged by.
    """

    name: str
    kind: str
    mark: str
    word: str
    figure: str


@dataclass(frozen=True, slots=True)
class MeterReading:
    """What the meter shows.

    Args:
        figure: as on the display.
        low: lowest over tolerances.
        high: highest.
        note: what is to be known about it.
        reverse: with the probes exchanged, for ohms.
        value: the number; `inf` for open, NaN where nothing could be solved.
        unit: V or ohm.
    """

    figure: str
    low: str
    high: str
    note: str
    reverse: str
    value: float
    unit: str


@dataclass(frozen=True)
class Reckoned:
    """A setting solved.

    Args:
        shown: every input signal and load.
        meter: None while a probe is nowhere.
        opened: protections that open.
        cautions: what must be known.
        change: all changes of the wiring, and what protection has opened by them.
        stands: actor to the position it has taken.
    """

    shown: tuple[Shown, ...]
    meter: MeterReading | None
    opened: tuple[str, ...]
    cautions: tuple[str, ...]
    change: Fault
    stands: dict[str, str]


def reckon(bench: Bench, mode: str) -> Reckoned:
    """Return a setting solved: all cases of it in one batch.

    Args:
        bench: the setting made real.
        mode: kind of meter.
    """
    circuit = bench.variant.circuit
    probes = _probes(bench)
    cases = [bench.change]
    powered = [True]
    if probes is not None and probes[0] != probes[1]:
        for meter in _meters(probes, mode):
            joined = both(bench.change, meter)
            assert joined is not None  # a meter is an element of its own
            cases.append(joined)
            powered.append(mode != "ohms")
    faulted = with_faults(circuit, cases)
    off = {a.name: a.positions[-1] for a in circuit.actors if a.moved_by == "supply"}
    positions = circuit.positions([bench.state | ({} if p else off) for p in powered])
    cut = np.zeros(len(circuit.elements), dtype=np.bool_)
    start_v = bench.variant.start_v
    states = settle_faults(faulted, positions, np.arange(len(cases)), cut, start_v)
    opened = [d for d in faulted.circuit.driven if d.one_way]
    opened = [d for d in opened if int(states.positions[0, d.actor]) == d.off_position]
    names = tuple(faulted.circuit.elements[d.element].name for d in opened)
    cautions = []
    if not bool(states.last.solved[0]):
        cautions.append("This state could not be solved: no figure of it can be trusted.")
    if bool(states.chatter[0]):
        cautions.append("Something switches on and off without end in this state.")
    reading = None
    if probes is not None:
        reading = _read(faulted, states, probes, mode) if len(cases) > 1 else _same(mode)
    return Reckoned(
        tuple(_shown(bench, faulted.circuit, states)),
        reading,
        names,
        tuple(cautions),
        _after(bench.change, names),
        {a.name: a.positions[int(states.positions[0, k])] for k, a in enumerate(circuit.actors)},
    )


def _probes(bench: Bench) -> tuple[int, int] | None:
    circuit = bench.variant.circuit
    nodes = []
    for place in (bench.red, bench.black):
        if place is None:
            return None
        if isinstance(place, Terminal):
            nodes.append(circuit.node(place))
        else:
            nodes.append(circuit.lifted_node[place])
    return nodes[0], nodes[1]


def _meters(probes: tuple[int, int], mode: str) -> list[Fault]:
    """Return the meters to solve with: as chosen, and loaded or turned round to compare."""
    a, b = probes
    if mode != "ohms":
        first, second = (VOLTMETER_OHM, LOADED_OHM) if mode == "volts" else (LOADED_OHM, None)
        return [_meter(f"meter{k}", a, b, ohmic(r)) for k, r in enumerate((first, second)) if r]
    source = Behaviour.fixed(cv.source(OHMS_OPEN_V, OHMS_INNER_OHM, can_sink=True))
    return [_meter("meter0", a, b, source), _meter("meter1", b, a, source)]


def _meter(name: str, a: int, b: int, behaviour: Behaviour) -> Fault:
    extra = Extra(name, "meter", a, b, "", None, None, _NOWHERE)
    return replace(
        NOTHING, id=name, text="m", changes=(Change.always(name, behaviour),), extras=(extra,)
    )


def _same(mode: str) -> MeterReading:
    note = "Both probes are on one and the same net."
    figure = "0 Ω" if mode == "ohms" else "0 V"
    return MeterReading(figure, figure, figure, note, "", 0.0, "ohm" if mode == "ohms" else "V")


def _read(
    faulted: Faulted, states: FaultStates, probes: tuple[int, int], mode: str
) -> MeterReading:
    """Return the reading with its range over the corners of tolerance."""
    a, b = probes
    typ_v = states.last.node_v[1:, a] - states.last.node_v[1:, b]  # (meters)
    rows = np.array([1])  # the meter asked for; the other one is there to compare
    volts = [typ_v[0]]
    for sources, others in CORNERS:
        curve_of = at_corner(
            faulted.circuit,
            lambda corner: faulted.curves(states.positions[rows], rows, corner),
            sources,
            others,
        )
        start_v = states.last.node_v[rows]
        found = solve_cases(faulted.circuit.network, curve_of, start_v=start_v)
        if bool(found.solved[0]):
            volts.append(found.node_v[0, a] - found.node_v[0, b])
    low_v, high_v = float(np.min(volts)), float(np.max(volts))
    if mode == "ohms":
        ohm = to_ohm(np.array([typ_v[0], low_v, high_v, -typ_v[1]]))
        return MeterReading(
            _ohm(ohm[0]),
            _ohm(ohm[1]),
            _ohm(ohm[2]),
            "All supplies are off while ohms are measured; so they are reckoned here.",
            _ohm(ohm[3]),
            float(ohm[0]),
            "ohm",
        )
    value, note = float(typ_v[0]), ""
    if mode == "volts" and abs(value - float(typ_v[1])) > WEAK_V:
        loaded = float(typ_v[1])
        low_v, high_v = min(low_v, loaded), max(high_v, loaded)
        note = (
            f"Nothing firm holds this point: a loaded tester shows {_volt(loaded)} here. "
            f"Change to the loaded meter before you trust it."
        )
    return MeterReading(_volt(value), _volt(low_v), _volt(high_v), note, "", value, "V")


def _volt(value: float) -> str:
    if math.isnan(value):
        return "?"
    text = f"{value:.2f} V"
    return text.replace("-0.00", "0.00").replace("-", "\N{MINUS SIGN}")


def _ohm(value: float) -> str:
    if math.isnan(value):
        return "?"
    return "open" if math.isinf(value) else format_quantity(float(value), "ohms")


def _shown(bench: Bench, circuit: Circuit, states: FaultStates) -> list[Shown]:
    out = []
    for w in bench.variant.watched:
        value = float(w.values(circuit, states.last)[0])
        judged = int(w.judge(np.array([value]))[0])
        if judged < 0:
            out.append(Shown(w.name, _kind(bench, w.name), UNSOLVED, "not solved", "?"))
            continue
        figure = amps_text(value) if w.by_current else f"{value:.1f} V"
        figure = figure.replace("-0.0 V", "0.0 V").replace("-", "\N{MINUS SIGN}")
        out.append(Shown(w.name, _kind(bench, w.name), MARKS[judged], w.words[judged], figure))
    return out


def _kind(bench: Bench, name: str) -> str:
    return "input" if name in bench.variant.cell.signals else "load"


def _after(change: Fault, opened: tuple[str, ...]) -> Fault:
    """Return the changes with opened protection held open, for the picture."""
    if not opened:
        return change
    more = replace(NOTHING, text="o", changes=tuple(Change.always(n, OPEN) for n in opened))
    joined = more if change is NOTHING else both(change, more)
    if joined is None:  # a change acts on the protection itself
        return change
    return replace(joined, text=change.text)
