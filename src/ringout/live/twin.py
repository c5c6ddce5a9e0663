"""A stand-in controller: the solved cell, operated by actors, with bounce, filter and faults."""

from __future__ import annotations

import heapq
import random
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ringout.cell.model import Cell, Condition, Signal
from ringout.cell.part import Channel
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import HEALTHY, Fault, both, with_faults
from ringout.circuit.model import Circuit
from ringout.findings.effects import settle_faults
from ringout.findings.limits import limits_of
from ringout.tables.timing import longest_bounce_s

BOUNCES = 4  # closings within one bounce; micro-switches do some to ten, common practice
DEFAULT_FILTER_S = 0.003
DEFAULT_ON_V, DEFAULT_OFF_V = 15.0, 5.0  # iec-61131-2


@dataclass(frozen=True, slots=True)
class Input:
    """One input channel of the twin.

    Args:
        item: controller.
        channel: channel name.
        element: element whose voltage is its level.
        on_v: it turns on from here.
        off_v: it turns off below.
        filter_s: how long a level must last.
    """

    item: str
    channel: str
    element: int
    on_v: float
    off_v: float
    filter_s: float


class Twin:
    """A cell that behaves as solved.

    Args:
        cell: the cell as drawn.
        faults: what is wrong with it; the one who measures need not know.
        seed: for the bounce of contacts.
        bounce: whether contacts bounce.
    """

    def __init__(
        self, cell: Cell, faults: Iterable[Fault] = (), *, seed: int = 0, bounce: bool = True
    ) -> None:
        self.cell = cell
        self.circuit = compile_circuit(cell)
        self._fault = _all_of(list(faults))
        self.faulted = with_faults(self.circuit, [self._fault] if self._fault else [])
        self.positions = self.circuit.rest()
        self.inputs = tuple(_inputs(cell, self.circuit))
        self.levels = {(i.item, i.channel): False for i in self.inputs}
        self.now_s = 0.0
        self._bounce = bounce
        self._chance = random.Random(seed)  # noqa: S311  # bounce, nothing secret
        self._due: list[tuple[float, int, str, str]] = []  # time, order, actor, position
        self._order = 0
        self._since: dict[tuple[str, str], tuple[bool, float]] = {}
        self._raw: dict[bytes, dict[tuple[str, str], bool]] = {}
        self._levels_now = self._solve()
        self.levels.update(self._levels_now)

    # -- operating -------------------------------------------------------------------------

    def move(self, actor: str, position: str) -> None:
        """Put an actor into a position; its contact may bounce on the way.

        Raises:
            KeyError: no such actor.
            ValueError: no such position.
        """
        wanted = self.cell.actors[actor]
        wanted.positions.index(position)
        before = wanted.positions[int(self.positions[0, self.circuit.actor_index[actor]])]
        span = self._bounce_s(actor) if position != before else 0.0
        times = sorted(self._chance.uniform(0.0, span) for _ in range(2 * BOUNCES)) if span else []
        self._put(0.0, actor, position)
        for k, at in enumerate(times):
            self._put(at, actor, before if k % 2 == 0 else position)

    def command(self, item: str, channel: str, *, on: bool) -> None:
        """Command an output channel of a controller; unknown ones do nothing."""
        spec = self.cell.items[item].part
        found = spec.channels.get(channel)
        if found is None or found.kind != "output":
            return
        key = spec.element_by_name[found.element].actor
        name = f"{item}.{key}" if f"{item}.{key}" in self.cell.actors else item
        actor = self.cell.actors[name]
        self._put(0.0, name, actor.positions[-1 if on else 0])

    def state(self) -> dict[str, str]:
        """Return where everything that persons and commands move stands."""
        return {
            a.name: a.positions[int(self.positions[0, k])]
            for k, a in enumerate(self.circuit.actors)
            if a.moved_by in ("person", "command", "supply")
        }

    # -- time ------------------------------------------------------------------------------

    def advance(self, seconds: float) -> list[tuple[str, str, bool]]:
        """Let time pass; return (item, channel, level) of every filtered input that changed."""
        end = self.now_s + seconds
        changed: list[tuple[str, str, bool]] = []
        while self._due and self._due[0][0] <= end:
            at, _, actor, position = heapq.heappop(self._due)
            changed += self._filter(at)
            self.now_s = at
            column = self.circuit.actor_index[actor]
            self.positions[0, column] = self.cell.actors[actor].positions.index(position)
            self._levels_now = self._solve()
            self._note(at)
        changed += self._filter(end)
        self.now_s = end
        return changed

    def _put(self, after_s: float, actor: str, position: str) -> None:
        self._order += 1
        heapq.heappush(self._due, (self.now_s + after_s, self._order, actor, position))

    def _note(self, at: float) -> None:
        for key, level in self._levels_now.items():
            waiting = self._since.get(key)
            if level == self.levels[key]:
                self._since.pop(key, None)
            elif waiting is None or waiting[0] != level:
                self._since[key] = (level, at)

    def _filter(self, now: float) -> list[tuple[str, str, bool]]:
        """Take over levels that have lasted as long as the input's filter."""
        out = []
        for found in self.inputs:
            key = found.item, found.channel
            waiting = self._since.get(key)
            if waiting is not None and now - waiting[1] >= found.filter_s:
                self.levels[key] = waiting[0]
                del self._since[key]
                out.append((found.item, found.channel, waiting[0]))
        return out

    def _bounce_s(self, actor: str) -> float:
        """Return how long the contacts of an actor bounce; 0 for electronics."""
        if not self._bounce:
            return 0.0
        item = self.cell.items[self.cell.actors[actor].item]
        kinds = {e.words.get("bounce") for e in item.part.elements} - {None, ""}
        return max((longest_bounce_s(str(k)) for k in kinds), default=0.0)

    # -- solving ---------------------------------------------------------------------------

    def _solve(self) -> dict[tuple[str, str], bool]:
        key = self.positions.tobytes()
        if key not in self._raw:
            fault_of = np.array([0 if self._fault is not None else HEALTHY])
            cut = np.zeros(len(self.circuit.elements), dtype=np.bool_)
            done = settle_faults(self.faulted, self.positions, fault_of, cut)
            self._raw[key] = self._read(done.last.node_v[0])
        out = dict(self._raw[key])
        for found in self.inputs:  # between the limits an input keeps what it has
            place = found.item, found.channel
            if place not in out:
                out[place] = self.levels.get(place, False)
        return out

    def _read(self, node_v: np.ndarray) -> dict[tuple[str, str], bool]:
        levels = {}
        for found in self.inputs:
            e = self.circuit.elements[found.element]
            volts = float(node_v[e.tail] - node_v[e.head])
            if volts >= found.on_v:
                levels[found.item, found.channel] = True
            elif volts <= found.off_v or np.isnan(volts):
                levels[found.item, found.channel] = False
        return levels


def _all_of(faults: list[Fault]) -> Fault | None:
    if not faults:
        return None
    whole = faults[0]
    for fault in faults[1:]:
        pair = both(whole, fault)
        if pair is None:
            raise ValueError(f"{whole.id} and {fault.id} cannot be there together")
        whole = pair
    return whole


def _inputs(cell: Cell, circuit: Circuit) -> Iterable[Input]:
    named = cell.signal_of_channel()
    for item in cell.items.values():
        for name, channel in item.part.channels.items():
            element = circuit.index_of.get(f"{item.name}.{channel.element}", -1)
            if channel.kind != "input" or element < 0:
                continue
            signal = named.get((item.name, name)) or _unnamed(item.name, channel)
            limits = limits_of(circuit, signal, element)
            filter_s = signal.filter_s or channel.values.get("filter_s")
            yield Input(
                item.name,
                name,
                element,
                limits.on_v if limits.on_v is not None else DEFAULT_ON_V,
                limits.off_v if limits.off_v is not None else DEFAULT_OFF_V,
                filter_s.typ if filter_s is not None else DEFAULT_FILTER_S,
            )


def _unnamed(item: str, channel: Channel) -> Signal:
    """Return a signal for a channel that has none, to judge its level by."""
    always = Condition("and")
    return Signal(
        channel.name,
        item,
        channel,
        always,
        "",
        None,
        None,
        channel.span,
        channel.span,
        channel.span,
    )
