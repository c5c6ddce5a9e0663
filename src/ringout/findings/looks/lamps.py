"""The built-in lamp of a device: its own lamp element, or what follows its output stage."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.model import Circuit, IntArray
from ringout.findings.effects.loads import lamp_levels
from ringout.solve import Solution

FloatArray = NDArray[np.float64]
SERIES_LAMP_A = 1e-3  # a lamp in the output of a 2-wire device shows from here; common practice


@dataclass(frozen=True, slots=True)
class Lamp:
    """How the lamp of a device is told.

    Args:
        item: the device.
        element: element index.
        own: it is a lamp of its own; else it follows the output stage.
        series: it lies in the output's own current (2-wire devices).
        shows_a: current from which it glows; own lamps only.
        lit_a: current from which it is lit.
    """

    item: str
    element: int
    own: bool
    series: bool
    shows_a: float
    lit_a: float

    def judge(self, circuit: Circuit, positions: IntArray, solution: Solution) -> FloatArray:
        """Return (S,) 0 dark, 1 glowing, 2 lit; NaN where it was not solved."""
        amps = np.abs(solution.element_a[:, self.element])
        if self.own:
            seen = np.where(amps < self.shows_a, 0.0, np.where(amps < self.lit_a, 1.0, 2.0))
        else:
            # an output stage is lit for what it senses, not for what its wiring does
            on = circuit.conducts(positions)[:, self.element]
            if self.series:
                on = on & (amps >= SERIES_LAMP_A)
            seen = np.where(on, 2.0, 0.0)
        return np.where(np.isnan(solution.node_v).any(axis=1), np.nan, seen)


def lamp_of(circuit: Circuit, item: str) -> Lamp | None:
    """Return the lamp of an item, or None if it has none."""
    own = [(n, e) for n, e in enumerate(circuit.elements) if e.item == item]
    for number, element in own:
        if element.kind == "lamp":
            assert element.spec is not None
            return Lamp(item, number, True, False, *lamp_levels(element.spec))
    if circuit.cell.items[item].part.family != "sensor":
        return None
    for number, _ in own:
        actors = [int(a) for a in circuit.cond_actor[number] if a >= 0]
        if any(circuit.actors[a].moved_by == "person" for a in actors):
            powered = any(circuit.actors[a].moved_by == "voltage" for a in actors)
            return Lamp(item, number, False, not powered, 0.0, 0.0)
    return None
