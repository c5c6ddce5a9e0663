"""Cell to circuit: every conductor and every part's inside becomes one element."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ringout.base import Interval
from ringout.cell.model import Actor, Cell, Item, Join, Terminal
from ringout.cell.part import ElementSpec
from ringout.circuit.behaviour import (
    CLAMP_OHM,
    LEAST_OHM,
    MATED_CONTACT_OHM,
    OPEN,
    Behaviour,
    behave,
    held_current,
    joined,
    ohmic,
)
from ringout.circuit.model import Circuit, Driven, Element
from ringout.circuit.network import NetworkBuilder
from ringout.tables.copper import copper_ohm

FUSE_OPENS_ABOVE = 1.5  # times rated; a fuse or breaker carries less for an hour at least


@dataclass(frozen=True, slots=True)
class Added:
    """An element that is not in the file: a meter, a trial resistor, a jumper.

    `a` and `b` are terminals or the names of lifted core ends.
    """

    name: str
    a: Terminal | str
    b: Terminal | str
    behaviour: Behaviour


def compile_circuit(
    cell: Cell, *, added: Sequence[Added] = (), lifted: Sequence[str] = ()
) -> Circuit:
    """Compile a cell to its circuit.

    Args:
        cell: the resolved cell.
        added: further elements between terminals.
        lifted: core ends taken off, as `W1:BN@S1` (cable, core, item).

    Returns:
        The circuit; each element carries the line it came from.
    """
    return _Compiler(cell, lifted).run(added)


class _Compiler:
    def __init__(self, cell: Cell, lifted: Sequence[str]) -> None:
        self.cell = cell
        self.lifted = frozenset(lifted)
        self.builder = NetworkBuilder()
        self.nodes: dict[tuple[str, str], int] = {}
        self.lifted_nodes: dict[str, int] = {}
        self.elements: list[Element] = []
        self.curves: list[tuple[Behaviour, Behaviour]] = []
        self.conditions: list[list[tuple[int, int]]] = []
        self.actors: list[Actor] = list(cell.actors.values())
        self.index: dict[str, int] = {a.name: i for i, a in enumerate(self.actors)}
        self.driven: list[Driven] = []
        self.resistances: dict[object, Behaviour] = {}

    def run(self, added: Sequence[Added]) -> Circuit:
        for item in self.cell.items.values():
            self._add_nodes(item)
        for item in self.cell.items.values():
            self._add_inside(item)
        for join in self.cell.joins:
            self._add_join(join)
        for extra in added:
            self._add_element(
                Element(
                    extra.name,
                    "added",
                    self._place(extra.a),
                    self._place(extra.b),
                    "",
                    None,
                    None,
                    self.cell.span,
                ),
                (extra.behaviour, OPEN),
                [],
            )
        return self._finish()

    # -- nodes ---------------------------------------------------------------------------

    def _add_nodes(self, item: Item) -> None:
        names: dict[str, str] = {}
        for pin, net in item.part.terminals.items():
            names.setdefault(net, str(Terminal(item.name, "", pin)))
        for socket in item.part.sockets.values():
            for pin, net in socket.pins.items():
                names.setdefault(net, str(Terminal(item.name, socket.name, pin)))
        for element in item.part.elements:
            for net in (element.tail, element.head):
                names.setdefault(net, f"{item.name}.{net}")
        earth = item.part.facts.get("earth", "")
        for net, name in names.items():
            self.nodes[(item.name, net)] = 0 if net == earth else self.builder.add_node(name)

    def _place(self, place: Terminal | str) -> int:
        if isinstance(place, str):
            return self.lifted_nodes[place]
        net = self.cell.items[place.item].net(place)
        assert net is not None
        return self.nodes[(place.item, net)]

    # -- elements ------------------------------------------------------------------------

    def _add_element(
        self,
        element: Element,
        curves: tuple[Behaviour, Behaviour],
        conditions: list[tuple[int, int]],
    ) -> int:
        number = self.builder.add_element(element.name, element.tail, element.head)
        self.elements.append(element)
        self.curves.append(curves)
        self.conditions.append(conditions)
        return number

    def _hidden_actor(self, item: Item, key: str, positions: tuple[str, str], by: str) -> int:
        name = f"{item.name}.{key}" if key else item.name
        self.actors.append(Actor(name, item.name, key, positions, by))
        self.index[name] = len(self.actors) - 1
        return self.index[name]

    def _add_inside(self, item: Item) -> None:
        part = item.part
        alive_actor = -1
        if part.alive is not None:
            alive_actor = self._hidden_actor(item, "electronics", ("alive", "dead"), "voltage")
            tail, head = (self.nodes[(item.name, n)] for n in (part.alive.tail, part.alive.head))
            level = part.alive.above_v
            self.driven.append(
                Driven(alive_actor, "volts", tail, head, -1, level, level, False, 0, 1, item.span)
            )
        for spec in part.elements:
            self._add_spec(item, spec, alive_actor)

    def _add_spec(self, item: Item, spec: ElementSpec, alive_actor: int) -> None:
        tail, head = self.nodes[(item.name, spec.tail)], self.nodes[(item.name, spec.head)]
        conditions: list[tuple[int, int]] = []
        if spec.when:
            column = self.index[actor_name(item.name, spec.actor, item)]
            positions = self.actors[column].positions
            conditions.append((column, sum(1 << positions.index(w) for w in spec.when)))
        if spec.powered and alive_actor >= 0:
            conditions.append((alive_actor, 1))
        if spec.kind in ("fuse", "breaker", "protection"):
            column = self._hidden_actor(item, spec.name, ("holding", "opened"), "current")
            conditions.append((column, 1))
        curves = behave(spec.kind, tuple(spec.values.items()))
        element = Element(
            f"{item.name}.{spec.name}", spec.kind, tail, head, item.name, spec, None, item.span
        )
        number = self._add_element(element, curves, conditions)
        self._add_driven(item, spec, element, number)

    def _add_driven(self, item: Item, spec: ElementSpec, element: Element, number: int) -> None:
        never = Interval.exact(float("inf"))
        if spec.kind == "coil" and "drives" in spec.words and "pulls_in" in spec.values:
            word = spec.words["drives"]
            actor = item.part.actor_of(word)
            assert actor is not None
            column = self.index[actor_name(item.name, actor, item)]
            positions = self.actors[column].positions
            on = positions.index(word)
            pulls_in = spec.values["pulls_in"]
            releases = spec.values.get("releases", pulls_in.scaled(0.1))
            self.driven.append(
                Driven(
                    column,
                    "volts",
                    element.tail,
                    element.head,
                    -1,
                    pulls_in,
                    releases,
                    False,
                    on,
                    1 - on if len(positions) == 2 else 0,
                    item.span,
                )
            )
        elif spec.kind in ("fuse", "breaker"):
            column = self.index[element.name]
            opens = spec.values["rated"].scaled(FUSE_OPENS_ABOVE)
            self.driven.append(
                Driven(
                    column,
                    "amps",
                    element.tail,
                    element.head,
                    number,
                    never,
                    opens,
                    True,
                    0,
                    1,
                    item.span,
                )
            )
        elif spec.kind == "protection":
            column = self.index[element.name]
            self.driven.append(
                Driven(
                    column,
                    "amps",
                    element.tail,
                    element.head,
                    number,
                    never,
                    spec.values["set"],
                    True,
                    0,
                    1,
                    item.span,
                )
            )

    # -- conductors ----------------------------------------------------------------------

    def _end(self, join: Join, terminal: Terminal) -> int:
        name = f"{join.conductor}@{terminal.item}"
        if name in self.lifted:
            if name not in self.lifted_nodes:
                self.lifted_nodes[name] = self.builder.add_node(name)
            return self.lifted_nodes[name]
        return self._place(terminal)

    def _add_join(self, join: Join) -> None:
        kind = "core" if join.core else ("plug" if join.plugged else "link")
        element = Element(
            join.conductor,
            kind,
            self._end(join, join.a),
            self._end(join, join.b),
            "",
            None,
            join,
            join.span,
        )
        behaviour = self._conductor(join)
        self._add_element(element, (behaviour, OPEN), [])

    def _conductor(self, join: Join) -> Behaviour:
        sockets = bool(join.a.socket) + bool(join.b.socket)
        ohm = Interval.exact(LEAST_OHM)
        for count, each in ((sockets, MATED_CONTACT_OHM), (2, CLAMP_OHM)):
            ohm = ohm + each.scaled(count)
        key: object = (join.cable, join.core, sockets, join.length_m, join.area_mm2)
        found = self.resistances.get(key)
        if found is not None:
            return found
        if join.cable:
            cable = self.cell.cables[join.cable]
            core = cable.core(join.core)
            assert core is not None
            ohm = ohm + conductor_ohm(
                cable.length_m,
                core.area_mm2,
                self.cell.ambient_c,
                cable.part.facts.get("plating", "plain"),
            )
        elif join.length_m > 0 and join.area_mm2 > 0:
            length = Interval.exact(join.length_m)
            ohm = ohm + conductor_ohm(length, join.area_mm2, self.cell.ambient_c, "plain")
        self.resistances[key] = ohmic(ohm)
        return self.resistances[key]

    # -- the end ---------------------------------------------------------------------------

    def _finish(self) -> Circuit:
        add = self.builder.add_curve
        count = len(self.elements)
        on = np.zeros((3, count), dtype=np.int64)
        off = np.zeros((3, count), dtype=np.int64)
        either = np.zeros((2, count), dtype=np.int64)
        cond_actor = np.full((count, 2), -1, dtype=np.int64)
        cond_mask = np.zeros((count, 2), dtype=np.int64)
        held = np.full((2, 2, count), -1, dtype=np.int64)
        nominal_v = highest_source_v(self.cell)
        for number, (conducting, idle) in enumerate(self.curves):
            on[:, number] = [add(c) for c in (conducting.low, conducting.typ, conducting.high)]
            off[:, number] = [add(c) for c in (idle.low, idle.typ, idle.high)]
            both = joined(conducting, idle)
            either[:, number] = add(both.low), add(both.high)
            spec = self.elements[number].spec
            if spec is not None and spec.kind == "coil":
                amps = nominal_v / spec.values["ohm"].typ
                for way, turned in enumerate((amps, -amps)):
                    for part, share in enumerate((1.0, 0.5)):
                        held[way, part, number] = add(held_current(turned * share))
            for slot, (actor, mask) in enumerate(self.conditions[number]):
                cond_actor[number, slot], cond_mask[number, slot] = actor, mask
        return Circuit(
            cell=self.cell,
            network=self.builder.build(),
            elements=tuple(self.elements),
            node_of_net=self.nodes,
            lifted_node=self.lifted_nodes,
            actors=tuple(self.actors),
            actor_index=self.index,
            on_curve=on,
            off_curve=off,
            either_curve=either,
            cond_actor=cond_actor,
            cond_mask=cond_mask,
            driven=tuple(self.driven),
            index_of={e.name: i for i, e in enumerate(self.elements)},
            held_curve=held,
        )


def highest_source_v(cell: Cell) -> float:
    """Return the highest typical voltage of the cell's supplies, 24 V without any."""
    volts = [
        e.values["volts"].typ
        for item in cell.items.values()
        if item.part.family == "supply"
        for e in item.part.elements
        if e.kind == "source"
    ]
    return max(volts, default=24.0)


def actor_name(item: str, key: str, owner: Item) -> str:
    """Return how a cell file names an actor: by item alone when the item has only one."""
    return item if len(owner.part.actors) == 1 else f"{item}.{key}"


@lru_cache(maxsize=4096)
def conductor_ohm(
    length_m: Interval, area_mm2: float, ambient_c: Interval, plating: str
) -> Interval:
    """Return the resistance of one copper conductor over its length and temperature range.

    Args:
        length_m: its length.
        area_mm2: cross-section.
        ambient_c: temperatures it may have.
        plating: `plain` or `tinned`.
    """
    cold = copper_ohm(length_m.low, area_mm2, ambient_c.low, plating=plating)
    mid = copper_ohm(length_m.typ, area_mm2, ambient_c.typ, plating=plating)
    hot = copper_ohm(length_m.high, area_mm2, ambient_c.high, plating=plating)
    return Interval(cold.low, mid.typ, hot.high)
