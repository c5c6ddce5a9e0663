"""Who may be a culprit: unlike faults of the cell, with what belongs to which thing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from ringout.circuit.faults import Fault, both
from ringout.findings.looks import HEALTHY_CELL

# Kinds that go with a device when it is exchanged.
INTERNAL = frozenset(
    {
        "wrong-part",
        "welded",
        "never",
        "stage-shorted",
        "stage-dead",
        "suppressor-absent",
        "suppressor-reversed",
        "supply-low",
        "supply-dead",
        "device-dead",
        "load-open",
        "reversed",
    }
)
# Kinds that come and go: when something moves, warms up or is touched.
LOOSE = frozenset(
    {
        "open-landed",
        "open-cord",
        "open-link",
        "joint",
        "short-pins",
        "short-cores",
        "short-rail",
        "water",
        "no-return",
        "stage-shorted",
        "welded",
        "never",
        "supply-dead",
        "device-dead",
        "load-open",
    }
)
# Kinds that are made in putting the cell together and then stay as they are.
ASSEMBLY = frozenset(
    {
        "swap",
        "swap-plugs",
        "off-pin",
        "off-plug",
        "reversed",
        "wrong-part",
        "no-return",
        "suppressor-reversed",
    }
)
MOVING = frozenset({"open-landed", "open-cord", "open-link", "joint", "short-cores", "short-rail"})
LANDING = frozenset({"open-landed", "open-link", "joint", "swap", "off-pin"})


@dataclass(frozen=True, eq=False)
class Suspects:
    """Classes of faults that are the same circuit, also with cores taken off.

    Args:
        members: (C) faults of each class, most likely first; the first class is the healthy
            cell.
    """

    members: tuple[tuple[Fault, ...], ...]

    @cached_property
    def first(self) -> list[Fault]:
        """Return one fault of each class."""
        return [m[0] for m in self.members]

    @cached_property
    def prior(self) -> list[float]:
        """Return how likely each class is before anything is seen, relative."""
        return [sum(f.likelihood for f in m) for m in self.members]


def suspects_of(faults: Iterable[Fault]) -> Suspects:
    """Return the unlike suspects among faults, the healthy cell first."""
    alike: dict[object, list[Fault]] = {}
    for fault in faults:
        # shorts between the same places lie in the plug or in the cable: unplugging tells
        where = fault.kind if fault.kind.startswith("short") else ""
        alike.setdefault((fault.delta, where), []).append(fault)
    members = (tuple(sorted(m, key=lambda f: (-f.likelihood, f.id))) for m in alike.values())
    return Suspects(((HEALTHY_CELL,), *members))


def pairs_of_suspects(singles: Sequence[Fault], most: int) -> Suspects:
    """Return pairs of suspects that can be there together, the likeliest, at most `most`."""
    pairs = []
    for k, first in enumerate(singles):
        for second in singles[k + 1 :]:
            pair = both(first, second)
            if pair is not None:
                pairs.append(pair)
    pairs.sort(key=lambda f: (-f.likelihood, f.id))
    return Suspects(((HEALTHY_CELL,), *((p,) for p in pairs[:most])))


def belongs(fault: Fault, thing: str) -> bool:
    """Return whether a fault goes with a thing when that is exchanged.

    Args:
        fault: the fault.
        thing: item, cable, core as `W1:BN`, or socket or terminal as `K1-X1`, `K1-X1:4`.
    """
    if thing in fault.cables:
        return True
    if thing in fault.items:
        return fault.kind in INTERNAL and fault.items[0] == thing
    return ":" in thing and thing in fault.id


def assembled_wrong(fault: Fault) -> bool:
    """Return whether a fault is a mistake of assembly: no cell that has it ever worked whole."""
    return fault.kind in ASSEMBLY


def at_place(fault: Fault, thing: str) -> bool:
    """Return whether a fault is a joint that is made anew when a thing is worked on."""
    if fault.kind not in LANDING:
        return False
    if thing in fault.items:
        return f"@{thing}" in fault.id or f" {thing}" in f" {fault.place}"
    return fault.place == thing or fault.place.startswith(f"{thing}:")
