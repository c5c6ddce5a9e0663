"""The least number of looks that leave only one suspect: what a perfect search would take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ringout.find import Finder, Observation
from ringout.find.next import Chooser, Option, clusters
from ringout.find.tell import look_words

MOST_SUSPECTS = 40  # the likeliest; with more the answer takes long and is seldom another
MOST_DEEP = 6  # looks; no single fault of a cell was seen to need more than four


@dataclass(frozen=True, slots=True)
class Least:
    """What a perfect search would take.

    Args:
        count: looks after the complaint; None where more than `MOST_DEEP` would be needed.
        looks: such looks, in words.
        alike: ids of the faults that no look tells from the one that is hidden, itself included.
        suspects: unlike faults that explain the complaint.
    """

    count: int | None
    looks: tuple[str, ...]
    alike: tuple[str, ...]
    suspects: int


def least_looks(finder: Finder, complaint: Observation, fault_id: str) -> Least:
    """Return the least number of looks that rule out all suspects but one.

    Args:
        finder: of the cell.
        complaint: what was told at the start.
        fault_id: the fault that is hidden.

    Raises:
        ValueError: there is no such fault.
    """
    suspects = finder.singles
    own = next(
        (k for k, m in enumerate(suspects.members) if k and any(f.id == fault_id for f in m)), 0
    )
    if not own:
        raise ValueError(f"there is no fault {fault_id}")
    agrees = finder.witness.weigh([complaint], suspects).agrees[0]
    left = [k for k in range(1, len(suspects.members)) if agrees[k] and k != own]
    left.sort(key=lambda k: -suspects.prior[k])
    kept = [own, *left[: MOST_SUSPECTS - 1]]
    faults = [suspects.members[k][0] for k in kept]
    chooser = Chooser(finder.cell, finder.witness.predictor)
    options = [o for o in chooser.options([complaint], faults) if o.look != complaint.look]
    masks = _masks(options)
    reach = 0
    for mask in masks.values():
        reach |= mask
    alike = [kept[0], *(k for n, k in enumerate(kept) if n and not reach >> n & 1)]
    names = tuple(f.id for k in alike for f in suspects.members[k])
    found = smallest_cover(list(masks.values()), reach, MOST_DEEP)
    words = list(masks)
    looks = tuple(words[k] for k in found) if found is not None else ()
    return Least(len(found) if found is not None else None, looks, names, len(left) + 1)


def _masks(options: Sequence[Option]) -> dict[str, int]:
    """Return look in words to the suspects (as bits) that it tells from the first one.

    What is seen by eye in one state is one look: all inputs, lamps and loads at a glance.
    """
    masks: dict[str, int] = {}
    for option in options:
        state = " and ".join(f"{a} {p}" for a, p in option.look.state)
        glance = f"look at inputs, lamps and loads {f'while {state}' if state else 'at rest'}"
        name = look_words(option.look) if option.look.by_meter else glance
        groups = clusters(option)
        home = next(g for g in groups if 0 in g)
        apart = 0
        for group in groups:
            if group is not home:
                apart |= sum(1 << k for k in group)
        masks[name] = masks.get(name, 0) | apart
    return masks


def smallest_cover(masks: Sequence[int], wanted: int, most: int) -> tuple[int, ...] | None:
    """Return which sets, as few as can be, hold all wanted bits; None where `most` are too few.

    Args:
        masks: sets as bits.
        wanted: bits to be held.
        most: how many sets may be taken.
    """
    useful = [
        k
        for k, m in enumerate(masks)
        if m & wanted
        and not any(
            (m & wanted) | (o & wanted) == (o & wanted) and ((m ^ o) & wanted or j < k)
            for j, o in enumerate(masks)
            if j != k
        )
    ]

    def search(missing: int, depth: int) -> tuple[int, ...] | None:
        if not missing:
            return ()
        if not depth:
            return None
        lowest = min(
            (b for b in range(missing.bit_length()) if missing >> b & 1),
            key=lambda b: sum(masks[k] >> b & 1 for k in useful),
        )
        fitting = [k for k in useful if masks[k] >> lowest & 1]
        fitting.sort(key=lambda k: -(masks[k] & missing).bit_count())
        for k in fitting:
            rest = search(missing & ~masks[k], depth - 1)
            if rest is not None:
                return (k, *rest)
        return None

    return next((f for d in range(most + 1) if (f := search(wanted, d)) is not None), None)
