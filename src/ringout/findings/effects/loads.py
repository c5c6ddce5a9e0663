"""What signals and loads do in solved states: level, energised, lit, glowing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.cell.part import ElementSpec
from ringout.circuit.model import Circuit
from ringout.findings.levels import level_element
from ringout.findings.limits import (
    LAMP_SHOWS_FROM_A,
    LOAD_OFF_BELOW_V,
    LOAD_WORKS_FROM_V,
    limits_of,
)
from ringout.solve import Solution

FloatArray = NDArray[np.float64]
Words = NDArray[np.str_]
BROKEN_A = 1e-6  # a load that works takes far more
LIT_SHARE = 0.5  # of its rated current: a lamp that anyone would call lit, common practice


@dataclass(frozen=True, slots=True)
class Watched:
    """An element that shows what a fault does.

    Args:
        name: signal, or load as the file names it.
        element: element index.
        kind: `level` for a signal read by an input, `moves` for a load.
        low: below it is off or dark (volts, for lamps amperes).
        high: from it on it is on, energised or lit.
        words: what it is called below, between and above.
        by_current: the limits are amperes.
    """

    name: str
    element: int
    kind: str
    low: float
    high: float
    words: tuple[str, str, str]
    by_current: bool = False

    @property
    def look(self) -> str:
        """Return how it is looked at: `level` of an input, `lamp`, or `shows` of any other load."""
        if self.kind == "level":
            return "level"
        return "lamp" if self.by_current else "shows"

    def values(self, circuit: Circuit, solution: Solution) -> FloatArray:
        """Return (S,) what it is judged by: volts across it, or amperes.

        Loads know no sign. Volts of a load that takes no current at all, because it is broken
        inside, are given negative: they are there for a meter, and do nothing.
        """
        e = circuit.elements[self.element]
        if self.by_current:
            found = np.abs(solution.element_a[:, self.element])
        else:
            found = solution.node_v[:, e.tail] - solution.node_v[:, e.head]
            if self.kind == "moves":
                taken = np.abs(solution.element_a[:, self.element]) > BROKEN_A
                found = np.where(taken, 1.0, -1.0) * np.abs(found)
        return np.asarray(found, dtype=np.float64)

    def judge(self, values: FloatArray) -> NDArray[np.int64]:
        """Return (S,) 0 below, 1 between, 2 above; -1 where it was not solved."""
        judged = np.where(values <= self.low, 0, np.where(values < self.high, 1, 2))
        return np.where(np.isnan(values), -1, judged).astype(np.int64)


def watch(circuit: Circuit) -> list[Watched]:
    """Return every input signal, and every coil, lamp and driven load of a cell."""
    watched: list[Watched] = []
    loads: dict[int, str] = {}
    for signal in circuit.cell.signals.values():
        element = level_element(circuit, signal)
        if element < 0:
            continue
        limits = limits_of(circuit, signal, element)
        if signal.on is None:
            loads.setdefault(element, signal.drives)
            continue
        high = limits.on_v if limits.on_v is not None else LOAD_WORKS_FROM_V
        low = limits.off_v if limits.off_v is not None else LOAD_OFF_BELOW_V
        words = ("off", "undefined", "on")
        watched.append(Watched(signal.name, element, "level", min(low, high), high, words))
    for number, e in enumerate(circuit.elements):
        if e.kind in ("coil", "lamp") and number not in loads:
            many = sum(o.item == e.item and o.kind in ("coil", "lamp") for o in circuit.elements)
            loads[number] = e.name if many > 1 else e.item
    watched += [_load(circuit, number, name) for number, name in sorted(loads.items())]
    return watched


def lamp_levels(spec: ElementSpec) -> tuple[float, float]:
    """Return the amperes from which a lamp shows at all, and from which it is lit."""
    v = spec.values
    shows = v["shows_from"].low if "shows_from" in v else LAMP_SHOWS_FROM_A
    return shows, max(v["current"].typ * LIT_SHARE, shows)


def _load(circuit: Circuit, number: int, name: str) -> Watched:
    spec = circuit.elements[number].spec
    assert spec is not None
    v = spec.values
    if spec.kind == "lamp":
        shows, lit = lamp_levels(spec)
        return Watched(name, number, "moves", shows, lit, ("dark", "glowing", "lit"), True)
    works = v.get("works_from") or v.get("pulls_in")
    off = v.get("off_below") or v.get("releases")
    high = works.high if works is not None else LOAD_WORKS_FROM_V
    low = off.low if off is not None else LOAD_OFF_BELOW_V
    words = ("at rest", "half energised", "energised")
    return Watched(name, number, "moves", min(low, high), high, words)
