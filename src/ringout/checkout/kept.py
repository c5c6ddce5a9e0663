"""Looks that were done before a change of the file, and what they still prove."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from ringout.checkout.claims import Claims, Good
from ringout.checkout.model import Kept, fault_mark, look_key
from ringout.circuit.faults import Fault
from ringout.circuit.model import BoolArray, IntArray
from ringout.findings.effects import Laid
from ringout.findings.looks.places import standing

NOTHING_KEPT: Mapping[str, Kept] = MappingProxyType({})


@dataclass(frozen=True, eq=False)
class Held:
    """Looks that need not be done again.

    Args:
        looks: index of a candidate to (F,) the faults it has proven absent.
    """

    looks: Mapping[int, BoolArray]

    def meets(self, looks: IntArray, fault: int) -> bool:
        """Return whether one of these looks was done and has proven that fault absent."""
        return any(k in self.looks and bool(self.looks[k][fault]) for k in looks.tolist())


def hold(
    laid: Laid,
    claims: Claims,
    members: Sequence[Sequence[Fault]],
    kept: Mapping[str, Kept],
) -> Held:
    """Return which looks still hold.

    The limits, as printed, are the same as when the look was done, and it exposes nothing that it
    did not expose then: a fault that has come since was not there to be seen. A look that exposes
    less than it did holds for what is left.

    Args:
        laid: the cell laid out for faults.
        claims: K candidates and F unlike faults.
        members: (F) faults that are electrically the same.
        kept: by key, looks done and found right.
    """
    looks: dict[int, BoolArray] = {}
    marks = [frozenset(map(fault_mark, alike)) for alike in members] if kept else []
    for look, old in looks_kept(laid, claims, kept).items():
        good = claims.good[look]
        if not _same(old, good, level_words(laid, good)):
            continue
        exposes = claims.exposes[look]
        if all(marks[fault] <= old.caught for fault in np.flatnonzero(exposes).tolist()):
            looks[look] = exposes
    return Held(looks)


def looks_kept(laid: Laid, claims: Claims, kept: Mapping[str, Kept]) -> dict[int, Kept]:
    """Return by candidate the look of an earlier revision at the same place in the same state."""
    found: dict[int, Kept] = {}
    for look, candidate in enumerate(claims.candidates if kept else ()):
        where = [str(t) for t in (candidate.a, candidate.b) if t is not None]
        state = standing(laid.circuit, claims.states[candidate.state])
        old = kept.get(look_key(candidate.phase, candidate.kind, state, where, candidate.what))
        if old is not None:
            found[look] = old
    return found


def _same(old: Kept, good: Good, levels: tuple[tuple[str, str], ...]) -> bool:
    return old.levels == levels and _equal(old.low, good.low) and _equal(old.high, good.high)


def _equal(a: float, b: float) -> bool:
    return (math.isnan(a) and math.isnan(b)) or a == b or math.isclose(a, b, rel_tol=1e-9)


def level_words(laid: Laid, good: Good) -> tuple[tuple[str, str], ...]:
    """Return what must be seen at a glance: (name, word) of everything that is looked at."""
    return tuple((laid.watched[k].name, laid.watched[k].words[w]) for k, w in good.levels)
