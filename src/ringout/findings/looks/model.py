"""A look at the cell, and what is seen: meter readings, levels, lamps, loads."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.cell.model import Terminal

FloatArray = NDArray[np.float64]

METER_KINDS = ("volts", "lowz", "ohms")
WORD_KINDS = ("level", "shows", "lamp")
KINDS = (*METER_KINDS, *WORD_KINDS)

# What may be seen, from little to much; the middle one is in doubt.
LEVELS = ("off", "undefined", "on")
LOADS = ("at rest", "half energised", "energised")
LAMPS = ("dark", "glowing", "lit")


@dataclass(frozen=True, slots=True)
class Look:
    """One thing to look at, with how the cell stands meanwhile.

    Args:
        kind: `volts` (10 MOhm meter), `lowz` (loaded tester), `ohms` (all supplies off),
            `level` (a signal as the controller shows it), `shows` (what a driven load does),
            `lamp` (the built-in lamp of a device).
        a: for a meter, where the red probe is: terminal, or lifted core end as `W1:BN@S1`.
        b: the black probe, likewise.
        what: for `level` the signal, for `shows` the load, for `lamp` the item; empty for a
            meter.
        state: (actor, position) pairs that differ from rest, sorted.
        lifted: core ends taken off, sorted.
        powered: False when all supplies are off.
    """

    kind: str
    a: Terminal | str | None = None
    b: Terminal | str | None = None
    what: str = ""
    state: tuple[tuple[str, str], ...] = ()
    lifted: tuple[str, ...] = ()
    powered: bool = True

    @property
    def by_meter(self) -> bool:
        """Return whether a meter gives a number."""
        return self.kind in METER_KINDS

    @property
    def words(self) -> tuple[str, str, str]:
        """Return what may be seen by eye: below, between, above."""
        return {"level": LEVELS, "shows": LOADS, "lamp": LAMPS}[self.kind]


@dataclass(frozen=True, eq=False)
class Seen:
    """What F cells would show at one look, each over its tolerances.

    Args:
        look: the look.
        low: (F,) lowest value, V or ohm (`inf`: open) or, for words, 0 to 2.
        typ: (F,) typical value; NaN where it could not be solved.
        high: (F,) highest value.
        firm: (F,) False where nothing firm holds the point, so that a 10 MOhm meter may show
            anything between `low` and `high`.
    """

    look: Look
    low: FloatArray
    typ: FloatArray
    high: FloatArray
    firm: NDArray[np.bool_]
