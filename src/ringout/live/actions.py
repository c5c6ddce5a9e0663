"""A live checkout of inputs: ask for one action after the other and judge what the inputs did."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from dataclasses import dataclass

from ringout.cell.model import Actor, Cell
from ringout.live.judge import Answer, expected_changes, judge
from ringout.live.poll import Change, Connection, Event

QUIET_S = 0.3  # nothing more comes: longer than any bounce and filter, common practice
WAIT_S = 30.0  # for a person to do it


@dataclass(frozen=True, slots=True)
class Action:
    """Something a person does at the cell.

    Args:
        actor: what is moved.
        position: where to.
        ask: the request, as one sentence.
        wanted: inputs that must change, with their new level.
        state: everything that stands otherwise than at rest afterwards, in words.
    """

    actor: str
    position: str
    ask: str
    wanted: Mapping[tuple[str, str], bool]
    state: str


def actions_of(cell: Cell) -> Iterator[Action]:
    """Yield every move of a person that must change an input, and the way back to rest."""
    rest = {a.name: a.positions[0] for a in cell.actors.values()}
    for actor in cell.actors.values():
        if actor.moved_by != "person":
            continue
        before = dict(rest)
        for position in (*actor.positions[1:], actor.positions[0]):
            after = {**before, actor.name: position}
            wanted = expected_changes(cell, before, after)
            state = f"{actor.name} {position}" if position != actor.positions[0] else ""
            if wanted or any(_names(cell, actor)):
                yield Action(actor.name, position, _ask(cell, actor, position), wanted, state)
            before = after


def _names(cell: Cell, actor: Actor) -> Iterator[str]:
    for signal in cell.signals.values():
        if signal.on is not None and any(p.actor == actor.name for p in signal.on.leaves()):
            yield signal.name


def _ask(cell: Cell, actor: Actor, position: str) -> str:
    note = cell.items[actor.item].note
    what = f"{actor.name} ({note})" if note else actor.name
    return f"Put {what} to: {position}"


class LiveCheckout:
    """Works through actions on a stream of events.

    Args:
        cell: the cell.
        events: what the pollers tell.
        tell: called with what to show the person.
        wait_s: seconds to wait for a person.
    """

    def __init__(
        self,
        cell: Cell,
        events: asyncio.Queue[Event],
        tell: Callable[[str], None],
        wait_s: float = WAIT_S,
    ) -> None:
        self.cell, self.events, self.tell, self.wait_s = cell, events, tell, wait_s

    async def run(self, actions: Iterator[Action]) -> AsyncIterator[tuple[Action, Answer]]:
        """Yield each action with its answer."""
        for action in actions:
            stray = self._drain()
            if stray:
                self.tell("Moved without being asked: " + ", ".join(stray))
            self.tell(action.ask)
            changes = await self._changes(expect=bool(action.wanted))
            yield action, judge(self.cell, action.wanted, changes, action.state)

    def _drain(self) -> list[str]:
        out = []
        while not self.events.empty():
            event = self.events.get_nowait()
            if isinstance(event, Change):
                out.append(f"{event.item}.{event.channel} {'on' if event.on else 'off'}")
            elif not event.up:
                self.tell(event.text)
        return out

    async def _changes(self, *, expect: bool) -> list[Change]:
        """Return what changes from now until all is quiet."""
        out: list[Change] = []
        wait = self.wait_s if expect else QUIET_S * 4
        while True:
            try:
                event = await asyncio.wait_for(self.events.get(), wait)
            except TimeoutError:
                return out
            if isinstance(event, Connection):
                self.tell(event.text if event.up else f"{event.text}. {event.cure}")
                continue
            out.append(event)
            wait = QUIET_S
