"""How well each suspect agrees with each observation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringout.cell.model import Cell
from ringout.circuit.network import FloatArray
from ringout.find.model import RAN, READING, TRIED, WORD, Observation
from ringout.find.suspects import (
    LOOSE,
    MOVING,
    Suspects,
    assembled_wrong,
    at_place,
    belongs,
)
from ringout.findings.looks import Look, Predictor, Seen

# How often people tell such a thing wrongly, and what a hint is worth: all common practice; the
# shares of true causes found with them are in the benchmark.
WRONG = 0.02  # a reading, or what came of a try: wrong probe, wrong range
MISSEEN = 0.005  # a lamp, a load, an input: seen on the wrong thing
PARTLY = 0.3  # remade a joint and still the same: the joint is less likely, not ruled out
DOUBT = 0.5  # an input in its undefined band may show either
UNSAID = 0.6  # for each other signal that would be wrong too and was not told
MOST_UNSAID = 4
DROPPED = 2  # disagreements after which a suspect is left aside
LEAST_SHARE = 0.05  # of a reading's range that a suspect is held to fill at least
# a typical value further from the reading than this is not worth solving at the corners
NEAR_V = 4.0
NEAR_RATIO = 4.0
AWAY = 0.1  # what is told without `sometimes` mostly holds at the bad moments too
REBUILT = 0.01  # it worked before: a mistake of assembly would have shown then
STEADY = 0.05  # a fault that does not come and go, where the symptom does


@dataclass(frozen=True, eq=False)
class Evidence:
    """O observations against C suspects.

    Args:
        weight: (O, C) how well the suspect explains the observation, 0..1; `WRONG` or less
            where it does not.
        agrees: (O, C) whether it does.
        typ: (O, C) what the suspect would show typically; NaN for what is not looked at.
        low: (O, C) least it would show.
        high: (O, C) most it would show.
    """

    weight: FloatArray
    agrees: np.ndarray
    typ: FloatArray
    low: FloatArray
    high: FloatArray


class _Shown:
    """What one suspect shows at one look, once solved."""

    __slots__ = ("fine", "firm", "high", "low", "typ")

    def __init__(self, seen: Seen, k: int, *, fine: bool) -> None:
        self.low, self.typ, self.high = (float(v[k]) for v in (seen.low, seen.typ, seen.high))
        self.firm, self.fine = bool(seen.firm[k]), fine


def _together(look: Look, shown: Sequence[_Shown]) -> Seen:
    low, typ, high = (np.array([getattr(s, n) for s in shown]) for n in ("low", "typ", "high"))
    return Seen(look, low, typ, high, np.array([s.firm for s in shown], dtype=np.bool_))


class Witness:
    """Weighs observations of one cell; what is asked twice is solved once.

    Args:
        cell: the cell as drawn.
    """

    def __init__(self, cell: Cell) -> None:
        self.predictor = Predictor(cell)
        self._known: dict[Look, dict[str, _Shown]] = {}

    def weigh(
        self, observations: Sequence[Observation], suspects: Suspects, *, whole: bool = False
    ) -> Evidence:
        """Return how each suspect agrees with each observation.

        Suspects that already disagree twice, while others agree throughout, are not solved
        further: they count as disagreeing.

        Args:
            observations: what was seen.
            suspects: C classes, the healthy cell first.
            whole: solve every suspect for every observation.
        """
        shape = len(observations), len(suspects.members)
        weight, agrees = np.full(shape, WRONG), np.zeros(shape, dtype=np.bool_)
        typ, low, high = (np.full(shape, np.nan) for _ in range(3))
        loose = any(o.when != "always" for o in observations)
        told = frozenset(o.look.what for o in observations if o.look is not None)
        asked: set[object] = set()
        for row, o in enumerate(observations):
            wrong = (~agrees[:row]).sum(axis=0)
            out = (wrong >= DROPPED) & (wrong.min(initial=row) == 0) & (not whole)
            out[0] = False
            kept = np.flatnonzero(~out)
            some = Suspects(tuple(suspects.members[k] for k in kept))
            if o.kind in (READING, WORD):
                seen = self._seen(o, some)
                fits, fit = _agree(o, seen)
                typ[row, kept], low[row, kept], high[row, kept] = seen.typ, seen.low, seen.high
                look = o.look
                if look is not None and look.kind == "level":
                    place = look.state, look.lifted, look.powered
                    if place not in asked:
                        asked.add(place)
                        fit *= self._unsaid(look, some, told)
                self._timing(o, some, fits, fit, loose=loose)
            elif o.kind == RAN:
                fits, fit = _worked(some)
            else:
                fits, fit = _tried(o, some)
            agrees[row, kept], weight[row, kept] = fits, fit
        return Evidence(weight, agrees, typ, low, high)

    def _unsaid(self, look: Look, suspects: Suspects, told: frozenset[str]) -> FloatArray:
        """Return (C,) less than 1 where more would be wrong in a state than anybody told."""
        others = self.predictor.others(look, suspects.first, told)
        return np.asarray(UNSAID ** np.minimum(others, MOST_UNSAID), dtype=np.float64)

    def _seen(self, o: Observation, suspects: Suspects) -> Seen:
        """Return what suspects show; the corners of tolerance only where they can matter."""
        assert o.look is not None
        known = self._known.setdefault(o.look, {})
        faults = suspects.first
        fresh = [f for f in faults if f.id not in known]
        if fresh:
            rough = self.predictor.see(o.look, fresh, spread=False)
            for k, fault in enumerate(fresh):
                known[fault.id] = _Shown(rough, k, fine=False)
        near = _near(o, _together(o.look, [known[f.id] for f in faults]))
        near[0] = True  # the healthy cell is always told with its range
        wanted = [f for f, n in zip(faults, near, strict=True) if n and not known[f.id].fine]
        if wanted:
            fine = self.predictor.see(o.look, wanted)
            for k, fault in enumerate(wanted):
                known[fault.id] = _Shown(fine, k, fine=True)
        return _together(o.look, [known[f.id] for f in faults])

    @staticmethod
    def _timing(
        o: Observation,
        suspects: Suspects,
        agrees: np.ndarray,
        weight: FloatArray,
        *,
        loose: bool,
    ) -> None:
        """Judge what comes and goes: the fault is there at times, at others the cell is whole."""
        if o.when == "always":
            if loose and agrees[0]:  # then the fault was away
                agrees[:] = True
                weight[:] = np.maximum(weight, AWAY)
            return
        able = MOVING if o.when == "moving" else LOOSE
        for k, fault in enumerate(suspects.first):
            kinds = {fault.kind} if fault.kind != "pair" else LOOSE
            if not kinds & able:
                weight[k] *= STEADY
                agrees[k] = False


def _agree(o: Observation, seen: Seen) -> tuple[np.ndarray, FloatArray]:
    """Return (C,) whether what is shown may be what was seen, and how well it fits."""
    low, high = np.nan_to_num(seen.low, nan=0.0), np.nan_to_num(seen.high, nan=0.0)
    if o.low <= 0.0 and o.high >= 2.0 and o.kind == WORD:
        # comes and goes: some other thing than in the healthy cell, or in doubt
        moved = (seen.typ != seen.typ[0]) | (low < high)
        return moved, np.where(moved, 1.0, MISSEEN)
    overlap = np.minimum(high, o.high) - np.maximum(low, o.low)
    agrees = (low <= o.high) & (high >= o.low) & ~np.isnan(seen.typ)
    if o.kind == WORD:
        share = np.where(low < high, DOUBT, 1.0)
    else:
        with np.errstate(divide="ignore", invalid="ignore"):
            width = np.where(np.isfinite(high), high - low, np.inf)
            room = max(o.high - o.low, 1e-3)
            share = np.where(width <= room, 1.0, (np.maximum(overlap, 0.0) + 1e-3) / width)
            share = np.where(np.isinf(high) & np.isinf(o.high), 1.0, share)
    share = np.clip(np.nan_to_num(share, nan=LEAST_SHARE), LEAST_SHARE, 1.0)
    return agrees, np.where(agrees, share, MISSEEN if o.kind == WORD else WRONG)


def _near(o: Observation, rough: Seen) -> np.ndarray:
    """Return which suspects tolerance may bring to what was seen."""
    if o.kind == WORD:
        return np.ones(len(rough.typ), dtype=np.bool_)
    if o.look is not None and o.look.kind == "ohms":
        return (rough.low <= o.high * NEAR_RATIO + 1.0) & (rough.high >= o.low / NEAR_RATIO - 1.0)
    return (rough.low <= o.high + NEAR_V) & (rough.high >= o.low - NEAR_V)


def _worked(suspects: Suspects) -> tuple[np.ndarray, FloatArray]:
    """Return (C,) agreement with a cell that worked: mistakes of assembly are left, far down.

    Somebody may have worked on it unasked, so nothing is ruled out.
    """
    weight = np.ones(len(suspects.members))
    for k, members in enumerate(suspects.members):
        every = sum(f.likelihood for f in members)
        wrong = sum(f.likelihood for f in members if assembled_wrong(f))
        if wrong:
            weight[k] = 1.0 - (1.0 - REBUILT) * wrong / every
    return np.ones(len(weight), dtype=np.bool_), weight


def _tried(o: Observation, suspects: Suspects) -> tuple[np.ndarray, FloatArray]:
    """Return (C,) agreement with something exchanged, remade or proven good."""
    agrees = np.ones(len(suspects.members), dtype=np.bool_)
    weight = np.ones(len(suspects.members))
    for k, members in enumerate(suspects.members):
        inside = any(belongs(f, thing) for f in members for thing in o.about)
        remade = o.kind == TRIED and any(at_place(f, thing) for f in members for thing in o.about)
        if o.outcome in ("cured", "moved"):
            agrees[k] = inside or remade
            weight[k] = 1.0 if inside else (PARTLY if remade else WRONG)
        else:  # no change, stayed, good
            agrees[k] = not inside
            weight[k] = WRONG if inside else (PARTLY if remade else 1.0)
    return agrees, weight
