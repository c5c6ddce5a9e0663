"""Circuits of any size for measuring campaigns: tree-shaped feeds, ten nodes a channel.

A supply feeds an eight-way protection, each way a tree of blocks, each block eight sockets with a
three-wire sensor on its cable. Values: common practice (conductors 0.34 mm2 and 1.0 mm2 copper,
sensor drop, input knee and current as in a type 3 input).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ringout.circuit import curves as cv
from ringout.circuit.network import Network, NetworkBuilder

BLOCK_CHANNELS = 8
BRANCHES = 8
FAULT_KINDS = 16
STATES = 4

JOINT = cv.resistor(0.005)
CORE = cv.resistor(0.27)  # 5 m of 0.34 mm2
FEED = cv.resistor(0.054)  # 3 m of 1.0 mm2
OPEN = cv.open_circuit()
SHORT = cv.resistor(0.01)
BAD_JOINT = cv.resistor(2200.0)
WATER = cv.resistor(20000.0)
# ngspice finds no operating point for many faults once outputs limit their current and inputs and
# sensors are current sinks, so the cells it is compared on are softened: an output is 20 ohm, and
# no curve is quite flat.
OUTPUT_ON = cv.points([(0.7, 7e-6)], 1e-5, 0.05)
OUTPUT_LIMITED = cv.drop(0.7, 3.0, 0.2)
OUTPUT_OFF = cv.resistor(1e5)
SENSOR = cv.resistor(2400.0)  # 10 mA, protected against reversed polarity
CLAMP = cv.points([(0.7, 7e-6)], 1e-5, 2.0)
INPUT = cv.points([(1.5, 1.5e-5)], 1e-5, 1.0 / 8000.0)
PROTECTION = cv.points([(-0.09, -3.0), (0.09, 3.0)], 0.05, 0.05)
SUPPLY = cv.points([(0.0, -25.0), (23.8, -20.0), (24.0, 0.0)], 1.0, 100.0)
# the harder sister, as the product has them: with flat pieces and limits, for our own engines
HARD_SENSOR = cv.constant_current(0.01, 5.0)
HARD_INPUT = cv.constant_current(0.0025, 5.0, 0.7)
HARD_PROTECTION = cv.limited(0.03, 3.0)
HARD_SUPPLY = cv.source(24.0, 0.01, 20.0)
BOND = cv.resistor(0.001)


@dataclass(frozen=True, slots=True)
class Channel:
    """Faults and states of one channel as lists of (element, curve), and where to measure."""

    faults: list[list[tuple[int, int]]]
    states: list[list[tuple[int, int]]]
    volts: list[tuple[int, int]]
    limits: list[tuple[int, int, float]]


@dataclass(frozen=True, slots=True)
class TreeCell:
    """A network, its base state (E,), and its channels."""

    network: Network
    base_of: np.ndarray
    channels: list[Channel]


class _Maker:
    def __init__(self, hard: bool) -> None:
        self.output, self.input = (OUTPUT_ON, INPUT) if not hard else (OUTPUT_LIMITED, HARD_INPUT)
        self.sensor = HARD_SENSOR if hard else SENSOR
        self.protection = HARD_PROTECTION if hard else PROTECTION
        self.supply = HARD_SUPPLY if hard else SUPPLY
        self.builder = NetworkBuilder()
        self.base: list[int] = []

    def element(self, name: str, tail: int, head: int, curve: cv.Curve) -> int:
        self.base.append(self.builder.add_curve(curve))
        return self.builder.add_element(name, tail, head)


def tree_cell(channels: int, *, hard: bool = False) -> TreeCell:
    """Return a cell with this many channels (a multiple of 8), or its harder sister."""
    make = _Maker(hard)
    node, element = make.builder.add_node, make.element
    plus, minus = node("T1:+"), node("T1:-")
    element("T1", plus, minus, make.supply)
    element("T1 bond", minus, 0, BOND)
    feeds: list[tuple[int, int]] = []
    found = []
    for block in range(channels // BLOCK_CHANNELS):
        branch, place = block % BRANCHES, block // BRANCHES
        p, m = node(f"K{block}:+"), node(f"K{block}:-")
        if place == 0:
            way = node(f"F{branch}")
            element(f"F{branch}", plus, way, make.protection)
            above = (way, minus)
        else:
            above = feeds[(place - 1) // 2 * BRANCHES + branch]
        element(f"WF{block}:1", above[0], p, FEED)
        element(f"WF{block}:2", above[1], m, FEED)
        feeds.append((p, m))
        found += _block(make, block, p, m)
    network = make.builder.build()
    base = np.array(make.base, dtype=np.int64)
    return TreeCell(network, base, found)


def _block(make: _Maker, block: int, p: int, m: int) -> list[Channel]:
    parts = [_channel(make, block * BLOCK_CHANNELS + k, p, m) for k in range(BLOCK_CHANNELS)]
    add = make.builder.add_curve
    open_, short, on, off = add(OPEN), add(SHORT), add(make.output), add(OUTPUT_OFF)
    joint, bad, water = add(JOINT), add(BAD_JOINT), add(WATER)
    beside = [
        make.element(f"S{block}.{k}", a["p4"], b["p4"], OPEN)
        for k, (a, b) in enumerate(pairwise(parts))
    ]
    out = []
    for k, c in enumerate(parts):
        other = parts[k + 1] if k + 1 < len(parts) else parts[k - 1]

        def swapped(c: dict[str, int], a: int, b: int) -> list[tuple[int, int]]:
            return [
                (c[f"J{a}"], open_),
                (c[f"J{b}"], open_),
                (c[f"J{a}{b}"], joint),
                (c[f"J{b}{a}"], joint),
            ]

        faults = [
            [(c["W1"], open_)],
            [(c["W3"], open_)],
            [(c["W4"], open_)],
            [(c["J4in"], open_)],
            [(c["S14"], short)],
            [(c["S34"], short)],
            [(c["S13"], short)],
            [(c["S4e"], short)],
            [(c["S1e"], short)],
            [(beside[min(k, len(beside) - 1)], short)],
            swapped(c, 1, 3),
            swapped(c, 1, 4),
            swapped(c, 3, 4),
            [(c["J4"], bad)],
            [(c["Q"], on)],
            [(c["S14"], water)],
        ]
        states = [
            [(c["Q"], mine), (other["Q"], theirs)] for mine in (on, off) for theirs in (on, off)
        ]
        volts = [(c["i"], m), (c["p1"], c["p3"]), (c["s1"], c["s3"]), (c["p4"], c["p3"])]
        limits = [(c["i"], m, 11.0), (c["i"], m, 5.0), (c["s1"], c["s3"], 10.0)]
        out.append(Channel(faults, states, volts, limits))
    return out


def _channel(make: _Maker, number: int, p: int, m: int) -> dict[str, int]:
    """Add a channel; return its nodes and elements by short names."""
    node, element = make.builder.add_node, make.element
    c = {f"{kind}{pin}": node(f"X{number}.{kind}{pin}") for kind in "pfs" for pin in (1, 3, 4)}
    c["i"] = node(f"X{number}.i")
    element(f"X{number}:1", p, c["p1"], JOINT)
    element(f"X{number}:3", m, c["p3"], JOINT)
    c["J4in"] = element(f"X{number}:4", c["p4"], c["i"], JOINT)
    element(f"I{number}", c["i"], m, make.input)
    for pin in (1, 3, 4):
        c[f"W{pin}"] = element(f"W{number}:{pin}", c[f"p{pin}"], c[f"f{pin}"], CORE)
        for end in (1, 3, 4):
            name = f"J{pin}" if pin == end else f"J{pin}{end}"
            curve = JOINT if pin == end else OPEN
            c[name] = element(f"B{number}:{name}", c[f"f{pin}"], c[f"s{end}"], curve)
    c["S14"] = element(f"S{number}:14", c["f1"], c["f4"], OPEN)
    c["S34"] = element(f"S{number}:34", c["f3"], c["f4"], OPEN)
    c["S13"] = element(f"S{number}:13", c["f1"], c["f3"], OPEN)
    c["S4e"] = element(f"S{number}:4e", c["f4"], 0, OPEN)
    c["S1e"] = element(f"S{number}:1e", c["f1"], 0, OPEN)
    element(f"B{number}", c["s1"], c["s3"], make.sensor)
    c["Q"] = element(f"B{number}:Q", c["s1"], c["s4"], make.output)
    element(f"B{number}:D", c["s3"], c["s4"], CLAMP)
    return c
