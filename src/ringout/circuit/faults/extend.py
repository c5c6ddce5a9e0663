"""The healthy circuit with room for faults: their added elements, absent until asked for.

Nodes, elements, actors and curves of the healthy circuit keep their numbers, so that a fault
is a short list of (element, curve) changes to any healthy case.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ringout.cell.model import Actor
from ringout.circuit.behaviour import Behaviour
from ringout.circuit.faults.model import ABSENT, Extra, Fault, Place, Sensing
from ringout.circuit.model import TYP, Circuit, Driven, Element, IntArray
from ringout.circuit.network import NetworkBuilder

HEALTHY = -1  # stands for "no fault" among fault numbers


@dataclass(frozen=True)
class FaultCurves:
    """What one fault changes: K elements with their curves at low, typical and high.

    Args:
        elements: (K,) element numbers.
        on: (3, K) curve while the element's conditions hold.
        off: (3, K) curve while they do not.
    """

    elements: IntArray
    on: IntArray
    off: IntArray


@dataclass(frozen=True)
class Faulted:
    """A circuit and faults that can be put into it.

    Args:
        healthy: the circuit without added elements.
        circuit: the same with added elements (absent), nodes and electronics behind its own.
        faults: F faults.
        changed: (F) their changes as numbers.
    """

    healthy: Circuit
    circuit: Circuit
    faults: tuple[Fault, ...]
    changed: tuple[FaultCurves, ...]

    def only(self, faults: Sequence[Fault], numbers: Sequence[int]) -> Faulted:
        """Return the same circuit, only some of its faults being looked at.

        Electronics that only other faults bring rest: they are not among what is driven.

        Args:
            faults: K faults.
            numbers: (K) each one's number here, or that of one that is electrically the same.
        """
        actors = {s.actor for fault in faults for s in fault.sensing}
        own = len(self.healthy.driven)
        driven = self.circuit.driven
        more = (d for d in driven[own:] if self.circuit.actors[d.actor].name in actors)
        circuit = replace(self.circuit, driven=(*driven[:own], *more))
        changed = tuple(self.changed[number] for number in numbers)
        return Faulted(self.healthy, circuit, tuple(faults), changed)

    def positions(self, healthy: IntArray) -> IntArray:
        """Return (S, A') positions for (S, A) of the healthy circuit; added ones at rest."""
        more = len(self.circuit.actors) - healthy.shape[1]
        return np.pad(healthy, ((0, 0), (0, more)))

    def curves(self, positions: IntArray, fault_of: IntArray, corner: int = TYP) -> IntArray:
        """Return (S, E') curve choices of (S, A') positions with (S,) faults put in.

        Args:
            positions: position indices.
            fault_of: fault number of each case, `HEALTHY` for none.
            corner: low, typical or high.
        """
        conducts = self.circuit.conducts(positions)
        chosen: IntArray = np.where(
            conducts, self.circuit.on_curve[corner][None], self.circuit.off_curve[corner][None]
        )
        for number in np.unique(fault_of[fault_of != HEALTHY]).tolist():
            change = self.changed[number]
            rows = np.flatnonzero(fault_of == number)
            if change.elements.size:
                at = np.ix_(rows, change.elements)
                chosen[at] = np.where(
                    conducts[at], change.on[corner][None], change.off[corner][None]
                )
        return chosen

    def changes(self, fault: int, positions: IntArray, corner: int = TYP) -> list[tuple[int, int]]:
        """Return (element, curve) of one fault in one state of (A',) positions."""
        change = self.changed[fault]
        conducts = self.circuit.conducts(positions[None, :])[0, change.elements]
        curve = np.where(conducts, change.on[corner], change.off[corner])
        return list(zip(change.elements.tolist(), curve.tolist(), strict=True))


def with_faults(circuit: Circuit, faults: Sequence[Fault]) -> Faulted:
    """Return a circuit that can take any of these faults.

    Args:
        circuit: the healthy circuit.
        faults: faults of this circuit; best those of one neighbourhood.

    Raises:
        KeyError: a fault names an element that is not there (a programmer's error).
    """
    return _Extender(circuit).run(faults)


class _Extender:
    def __init__(self, circuit: Circuit) -> None:
        self.healthy = circuit
        self.builder = NetworkBuilder()
        network = circuit.network
        for name in network.node_names[1:]:
            self.builder.add_node(name)
        for number, name in enumerate(network.element_names):
            self.builder.add_element(name, int(network.tail[number]), int(network.head[number]))
        for curve in network.curves.curves:
            self.builder.add_curve(curve)
        self.elements = list(circuit.elements)
        self.index = dict(circuit.index_of)
        self.new_nodes: dict[str, int] = {}
        self.actors = list(circuit.actors)
        self.actor_index = dict(circuit.actor_index)
        self.driven = list(circuit.driven)
        self.conditions: list[tuple[tuple[str, int], ...]] = []

    def run(self, faults: Sequence[Fault]) -> Faulted:
        for sensing in dict.fromkeys(s for f in faults for s in f.sensing):
            self._sense(sensing)
        for extra in {e.name: e for f in faults for e in f.extras}.values():
            self._add(extra)
        changed = tuple(self._changed(f) for f in faults)
        return Faulted(self.healthy, self._circuit(), tuple(faults), changed)

    def _place(self, place: Place) -> int:
        if isinstance(place, int):
            return place
        if place not in self.new_nodes:
            self.new_nodes[place] = self.builder.add_node(place)
        return self.new_nodes[place]

    def _sense(self, s: Sensing) -> None:
        column = len(self.actors)
        self.actors.append(Actor(s.actor, s.item, "electronics", ("alive", "dead"), "voltage"))
        self.actor_index[s.actor] = column
        tail, head = self._place(s.tail), self._place(s.head)
        self.driven.append(
            Driven(column, "volts", tail, head, -1, s.level, s.level, False, 0, 1, s.span)
        )

    def _add(self, extra: Extra) -> None:
        tail, head = self._place(extra.tail), self._place(extra.head)
        self.index[extra.name] = self.builder.add_element(extra.name, tail, head)
        self.elements.append(
            Element(
                extra.name, extra.kind, tail, head, extra.item, extra.spec, extra.join, extra.span
            )
        )
        self.conditions.append(extra.conditions)

    def _curves(self, behaviour: Behaviour) -> tuple[int, int, int]:
        add = self.builder.add_curve
        return add(behaviour.low), add(behaviour.typ), add(behaviour.high)

    def _changed(self, fault: Fault) -> FaultCurves:
        elements = np.array([self.index[c.element] for c in fault.changes], dtype=np.int64)
        on = np.array([self._curves(c.on) for c in fault.changes], dtype=np.int64)
        off = np.array([self._curves(c.off) for c in fault.changes], dtype=np.int64)
        return FaultCurves(elements, on.reshape(-1, 3).T, off.reshape(-1, 3).T)

    def _circuit(self) -> Circuit:
        old, more = self.healthy, len(self.conditions)
        absent = self._curves(ABSENT)[0]
        cond_actor = np.full((more, 2), -1, dtype=np.int64)
        cond_mask = np.zeros((more, 2), dtype=np.int64)
        for row, conditions in enumerate(self.conditions):
            for slot, (actor, mask) in enumerate(conditions):
                cond_actor[row, slot], cond_mask[row, slot] = self.actor_index[actor], mask

        def wider(array: IntArray) -> IntArray:
            return np.pad(array, ((0, 0), (0, more)), constant_values=absent)

        return replace(
            old,
            network=self.builder.build(),
            elements=tuple(self.elements),
            actors=tuple(self.actors),
            actor_index=self.actor_index,
            on_curve=wider(old.on_curve),
            off_curve=wider(old.off_curve),
            either_curve=wider(old.either_curve),
            cond_actor=np.concatenate([old.cond_actor, cond_actor]),
            cond_mask=np.concatenate([old.cond_mask, cond_mask]),
            driven=tuple(self.driven),
            index_of=self.index,
            held_curve=np.pad(old.held_curve, ((0, 0), (0, 0), (0, more)), constant_values=-1),
        )
