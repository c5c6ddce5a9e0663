"""From a cell to the view of one signal's circuit: solved in one state, said in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from ringout.base.quantity import format_interval, format_quantity
from ringout.cell.model import Cell, Item, Join, Signal, Terminal
from ringout.cell.part import Channel
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import Fault
from ringout.circuit.model import Circuit
from ringout.findings.levels import level_element
from ringout.findings.limits import limits_of
from ringout.report.drawing.path_find import Part, find_part, used_cables
from ringout.report.drawing.path_model import (
    EARTH_RANK,
    RETURN,
    CircuitView,
    PathCable,
    PathConductor,
    PathElement,
    PathItem,
    PathNet,
    PathPin,
)
from ringout.report.drawing.path_solve import (
    Solved,
    elsewhere,
    on_state,
    solve_state,
    with_caution,
)
from ringout.report.drawing.path_words import (
    action_of,
    amps_text,
    symbol_of,
    volts_text,
    words_of,
)
from ringout.report.drawing.wires import LIVE_A

CONDUCTOR_KINDS = frozenset({"core", "plug", "link", "moved", "short"})
GENDER = {"male": "male", "female": "female"}


def build_circuit_view(
    cell: Cell,
    signal: Signal,
    state: Mapping[str, str] | None = None,
    *,
    fault: Fault | None = None,
    circuit: Circuit | None = None,
) -> CircuitView:
    """Return the circuit of a signal in one state.

    Args:
        cell: the cell.
        signal: one of its signals.
        state: actor to position; all else at rest. None: the state in which it is on.
        fault: a fault to put in.
        circuit: the compiled cell, if at hand.
    """
    circuit = circuit or compile_circuit(cell)
    drawn = on_state(circuit, signal) if state is None else dict(state)
    solved = solve_state(circuit, drawn, fault)
    part = find_part(solved.circuit, signal, list(solved.element_a), LIVE_A)
    if solved.opened and fault is None:
        other = elsewhere(circuit, part.elements, drawn)
        if other:
            again = solve_state(circuit, {**drawn, **other})
            solved = with_caution(again, solved.opened, other)
            part = find_part(solved.circuit, signal, list(solved.element_a), LIVE_A)
    return _Builder(cell, signal, drawn, solved, part).run()


class _Builder:
    def __init__(
        self, cell: Cell, signal: Signal, state: Mapping[str, str], solved: Solved, part: Part
    ) -> None:
        self.cell, self.signal, self.state = cell, signal, state
        self.solved, self.part = solved, part
        self.circuit = solved.circuit
        self.owner: dict[int, tuple[str, str]] = {}
        for (item, net), node in self.circuit.node_of_net.items():
            if node:
                self.owner[node] = (item, net)
        self.reference, self.zero_v = self._reference()
        self.nets: dict[tuple[str, str], int] = {}

    def run(self) -> CircuitView:
        conductors, elements = [], []
        moved = {
            id(self.circuit.elements[e].join)
            for e in self.part.elements
            if self.circuit.elements[e].kind == "moved"
        }
        for e in self.part.elements:
            element = self.circuit.elements[e]
            if e in self.solved.broken and id(element.join) in moved:
                continue  # landed elsewhere: drawn where it is now
            if element.kind in CONDUCTOR_KINDS:
                made = self._conductor(e)
                if made is not None:
                    conductors.append(made)
            elif element.item and not self._idle_leak(e):
                elements.append(self._element(e))
        signal = self.signal
        meaning = f"on while {signal.on}" if signal.on is not None else f"works {signal.drives}"
        cautions = list(self.solved.cautions)
        cautions += self._follows()
        if self.part.left_out:
            cautions.append(f"{self.part.left_out} parts without current are left out here.")
        return CircuitView(
            cell=self.cell.name,
            revision=self.cell.revision,
            signal=signal.name,
            channel=signal.channel_name,
            meaning=meaning,
            state=" and ".join(f"{a} {p}" for a, p in self.state.items()),
            reference=self.reference,
            items=tuple(self._items(conductors)),
            elements=tuple(elements),
            conductors=tuple(conductors),
            cables=tuple(
                self._cable(n) for n in used_cables(self.cell, self.circuit, self.part.elements)
            ),
            result=self._result(),
            cautions=tuple(cautions),
            fault=self.solved.fault,
        )

    def _follows(self) -> list[str]:
        """Return a word on every relay that is not where the state asks for it."""
        out = []
        for name, wanted in self.state.items():
            column = self.circuit.actor_index[name]
            actor = self.circuit.actors[column]
            stands = actor.positions[int(self.solved.positions[column])]
            if stands != wanted:
                out.append(f"{name} is {stands}: it follows its coil, which decides.")
        return out

    def _reference(self) -> tuple[str, float]:
        """Return the 0 V terminal volts are told against: that of the first supply drawn."""
        for e in self.part.elements:
            element = self.circuit.elements[e]
            if element.kind == "source":
                return self.circuit.network.node_names[element.head], self.solved.node_v[
                    element.head
                ]
        return "PE", 0.0

    # -- pieces ----------------------------------------------------------------------------

    def _net(self, item: str, net: str) -> str:
        self.nets.setdefault((item, net), self.circuit.node_of_net[(item, net)])
        return net

    def _pin(self, terminal: Terminal) -> PathPin:
        pin = path_pin(self.cell, terminal)
        self._net(terminal.item, pin.net)
        return pin

    def _at(self, node: int, join: Join | None) -> PathPin | None:
        """Return a terminal on a node, best one the conductor was meant for."""
        meant = [join.a, join.b] if join is not None else []
        for terminal in meant:
            if self.circuit.node(terminal) == node:
                return self._pin(terminal)
        owner = self.owner.get(node)
        if owner is None:
            return None
        item = self.cell.items[owner[0]]
        return next((self._pin(t) for t in item.terminals() if item.net(t) == owner[1]), None)

    def _conductor(self, e: int) -> PathConductor | None:
        element = self.circuit.elements[e]
        join = element.join
        if element.kind in ("moved", "short"):
            a, b = self._at(element.tail, join), self._at(element.head, join)
        else:
            assert join is not None
            a, b = self._pin(join.a), self._pin(join.b)
        if a is None or b is None:
            return None
        amps = self.solved.element_a[e]
        name = join.conductor if join is not None and join.cable else element.kind
        if e in self.solved.broken:
            name = f"{name} open"
        fault = e in self.solved.broken or element.kind in ("moved", "short")
        return PathConductor(
            name=f"fault: {name}" if fault else name,
            kind="fault" if fault else element.kind,
            cable=join.cable if join is not None else "",
            colour=join.core if join is not None else "",
            a=a,
            b=b,
            amps=amps,
            live=abs(amps) >= LIVE_A,
        )

    def _idle_leak(self, e: int) -> bool:
        """Return whether a leakage says nothing: not there, or beside an output that is on."""
        element = self.circuit.elements[e]
        if element.kind != "leak":
            return False
        ends = {element.tail, element.head}
        beside = (
            k
            for k in self.part.elements
            if k != e and {self.circuit.elements[k].tail, self.circuit.elements[k].head} == ends
        )
        return not self.solved.conducts[e] or any(
            abs(self.solved.element_a[k]) >= LIVE_A for k in beside
        )

    def _element(self, e: int) -> PathElement:
        element = self.circuit.elements[e]
        spec = element.spec
        assert spec is not None
        item = self.cell.items[element.item]
        own = f"{self.signal.item}.{self.signal.channel.element}" == element.name
        channel = self._channel(element.name, item)
        amps = self.solved.element_a[e]
        tail, head = spec.tail, spec.head
        words = words_of(
            self.circuit,
            e,
            self.solved.positions,
            channel=channel.name if channel is not None else "",
            conducts=self.solved.conducts[e],
        )
        return PathElement(
            name=element.name,
            item=item.name,
            symbol=symbol_of(element, item, channel=channel is not None),
            tail=self._net(item.name, tail),
            head=self._net(item.name, head),
            amps=amps,
            words=(*words, amps_text(amps)),
            live=abs(amps) >= LIVE_A,
            main=own or e == self.part.channel,
            action=action_of(element, item),
        )

    @staticmethod
    def _channel(name: str, item: Item) -> Channel | None:
        element = name.partition(".")[2]
        return next((c for c in item.part.channels.values() if c.element == element), None)

    def _items(self, conductors: Sequence[PathConductor]) -> list[PathItem]:
        pins = [p for c in conductors for p in (c.a, c.b)]
        names = {name for name, _ in self.nets}
        return [self._item(self.cell.items[n], pins) for n in self.cell.items if n in names]

    def _item(self, item: Item, pins: Sequence[PathPin]) -> PathItem:
        nets = []
        for (name, net), node in self.nets.items():
            if name != item.name:
                continue
            volts = self.solved.node_v[node] - self.zero_v
            earth = node == 0
            rank = EARTH_RANK if earth else self.part.rank.get(node, RETURN / 2)
            if node in self.part.returns and not earth:
                rank = RETURN
            nets.append(PathNet(name, net, volts, rank, earth, self._free(item, net)))
        used = dict.fromkeys(
            (p.terminal.socket, p.connector, p.gender)
            for p in pins
            if p.terminal.item == item.name and p.terminal.socket and p.gender
        )
        groups: dict[tuple[str, str], list[str]] = {}
        for socket, connector, gender in used:
            groups.setdefault((connector, gender), []).append(socket)
        sockets = "; ".join(
            f"{', '.join(names)} {_connector(c)} {g}" for (c, g), names in groups.items()
        )
        settings = ", ".join(
            (v.strip("[]") if k == "set" else f"{k} {v}") for k, v in item.settings.items()
        )
        return PathItem(
            item.name,
            item.note,
            item.part.title,
            item.part.name,
            item.part.family,
            settings,
            sockets,
            self._stands(item),
            tuple(sorted(nets, key=lambda n: n.rank)),
        )

    def _free(self, item: Item, net: str) -> str:
        """Return the terminals of a net with nothing landed on them; empty if something is."""
        mine = [t for t in item.terminals() if item.net(t) == net]
        earth = item.part.facts.get("earth", "") == net
        if any(t in self.cell.join_at for t in mine) or not mine or earth:
            return ""
        pins = [f"{t.socket}:{t.pin}" if t.socket else t.pin for t in mine]
        return pins[0] if len(pins) == 1 else f"{pins[0]} .. {pins[-1]}"

    def _stands(self, item: Item) -> str:
        if item.part.family in ("controller", "supply", "protection"):
            return ""
        return ", ".join(
            a.positions[int(self.solved.positions[i])]
            for i, a in enumerate(self.circuit.actors)
            if a.item == item.name and a.moved_by in ("person", "coil")
        )

    def _cable(self, name: str) -> PathCable:
        cable = self.cell.cables[name]
        areas = sorted({c.area_mm2 for c in cable.part.cores})
        size = "/".join(f"{a:g}" for a in areas)
        length = format_interval(cable.length_m, "metres")
        return PathCable(name, f"{cable.part.name}, {length}, {size} mm²")

    def _result(self) -> str:
        number = level_element(self.circuit, self.signal)
        if number < 0:
            return ""
        element = self.circuit.elements[number]
        volts = self.solved.node_v[element.tail] - self.solved.node_v[element.head]
        amps = self.solved.element_a[number]
        limits = limits_of(self.circuit, self.signal, number)
        what = element.name if self.signal.on is None else self.signal.channel_name
        text = f"{what} gets {volts_text(volts)}, {amps_text(amps)}"
        if limits.on_v is None or limits.off_v is None or math.isnan(volts):
            return text
        level = "on" if volts >= limits.on_v else "off" if volts <= limits.off_v else "undefined"
        bounds = (
            f"on from {format_quantity(limits.on_v, 'volts')}, "
            f"off up to {format_quantity(limits.off_v, 'volts')}"
        )
        return f"{text}: {level} ({bounds})"


def path_pin(cell: Cell, terminal: Terminal) -> PathPin:
    """Return a terminal as the drawing shows it."""
    item = cell.items[terminal.item]
    net = item.net(terminal)
    assert net is not None
    socket = item.part.sockets.get(terminal.socket)
    made_up = socket is not None and not socket.clamps
    return PathPin(
        terminal,
        net,
        socket.connector if socket is not None else "",
        GENDER.get(socket.gender, "") if socket is not None and made_up else "",
    )


def _connector(connector: str) -> str:
    from ringout.report.faces_model import connector_name

    return connector_name(connector)
