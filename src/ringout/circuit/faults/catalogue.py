"""Every single fault of a cell, in a fixed order, and the neighbourhoods they fall into."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from ringout.circuit.faults.alternatives import wrong_parts
from ringout.circuit.faults.conductors import opens_and_joints, pins_off, plugs_off, swaps
from ringout.circuit.faults.dead import dead_devices, dead_loads, dead_supplies
from ringout.circuit.faults.inside import (
    contacts_and_stages,
    low_supplies,
    missing_returns,
    reversed_parts,
    suppressors,
)
from ringout.circuit.faults.model import Fault
from ringout.circuit.faults.pin_maps import wrong_connectors
from ringout.circuit.faults.shorts import between_cores, between_terminals, to_rails, wet_plugs
from ringout.circuit.faults.wiring import Wiring
from ringout.circuit.model import Circuit

KINDS: tuple[Callable[[Wiring], Iterable[Fault]], ...] = (
    opens_and_joints,
    between_terminals,
    between_cores,
    to_rails,
    reversed_parts,
    swaps,
    pins_off,
    plugs_off,
    wrong_parts,
    wrong_connectors,
    contacts_and_stages,
    missing_returns,
    suppressors,
    low_supplies,
    dead_supplies,
    dead_devices,
    dead_loads,
    wet_plugs,
)


def single_faults(circuit: Circuit) -> tuple[Fault, ...]:
    """Return every single fault of a cell; ids are unique and do not depend on the order.

    A part connected the wrong way round is often two cores exchanged: that is one fault,
    which goes by both names.

    Args:
        circuit: the healthy circuit.
    """
    w = Wiring(circuit)
    found: dict[str, Fault] = {}
    turned: dict[frozenset[object], str] = {}
    for kind in KINDS:
        for fault in kind(w):
            if fault.kind == "reversed":
                turned[frozenset(fault.delta)] = fault.id
            name = turned.get(frozenset(fault.delta)) if fault.kind == "swap" else None
            if name is not None and fault.place == found[name].place:
                found[name] = _also(found[name], fault)
            elif fault.id not in found:
                found[fault.id] = fault
    return tuple(found.values())


def _also(fault: Fault, other: Fault) -> Fault:
    values = {name: getattr(fault, name) for name in Fault.__slots__}
    return Fault(**{**values, "also": (*fault.also, other.id, *other.also)})


def find_fault(faults: Sequence[Fault], name: str) -> Fault | None:
    """Return a fault by any of its names, blanks and case apart, or None."""
    wanted = _plain(name)
    return next((f for f in faults if any(_plain(n) == wanted for n in (f.id, *f.also))), None)


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def in_groups(faults: Iterable[Fault]) -> Iterator[tuple[str, tuple[Fault, ...]]]:
    """Yield faults by neighbourhood, each to be solved in a circuit of its own."""
    groups: dict[str, list[Fault]] = {}
    for fault in faults:
        groups.setdefault(fault.group, []).append(fault)
    for name, members in groups.items():
        yield name, tuple(members)
