"""A live checkout of inputs: ask for one action after the other and judge what the inputs did."""

from __future__ import annotations

import time
from collections.abc import (
    AsyncIterator,
    Awaitable,
    Callable,
    Collection,
    Iterator,
    Mapping,
    Sequence,
)
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Protocol

from ringout.cell.model import Actor, Cell
from ringout.live.judge import NONE, SKIPPED, Answer, Key, expected_changes, judge
from ringout.live.poll import Change, Connection
from ringout.live.watcher import QUIET_S, LiveEvent

WAIT_S = 30.0  # for a person to do it
HELD_S = 0.08  # a button pressed and let go in one go is held longer than it bounces


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


def actions_of(cell: Cell, watched: Collection[Key] | None = None) -> Iterator[Action]:
    """Yield every move of a person that must change an input, and the way back to rest.

    Args:
        cell: the cell.
        watched: (item, channel) of the inputs that are read; all of them without.
    """
    rest = {a.name: a.positions[0] for a in cell.actors.values()}
    for actor in cell.actors.values():
        if actor.moved_by != "person":
            continue
        before = dict(rest)
        for position in (*actor.positions[1:], actor.positions[0]):
            after = {**before, actor.name: position}
            wanted = {
                k: on
                for k, on in expected_changes(cell, before, after).items()
                if watched is None or k in watched
            }
            state = f"{actor.name} {position}" if position != actor.positions[0] else ""
            if wanted or any(_names(cell, actor, watched)):
                yield Action(actor.name, position, _ask(cell, actor, position), wanted, state)
            before = after


def _names(cell: Cell, actor: Actor, watched: Collection[Key] | None) -> Iterator[str]:
    for key, signal in cell.signal_of_channel().items():
        if watched is not None and key not in watched:
            continue
        if signal.on is not None and any(p.actor == actor.name for p in signal.on.leaves()):
            yield signal.name


def _ask(cell: Cell, actor: Actor, position: str) -> str:
    note = cell.items[actor.item].note
    what = f"{actor.name} ({note})" if note else actor.name
    return f"Put {what} to: {position}"


@dataclass(frozen=True, slots=True)
class Asked:
    """An action is asked for.

    Args:
        step: its number, from 1.
        of: how many there are.
        action: what is to be done.
        at_s: when.
    """

    step: int
    of: int
    action: Action
    at_s: float


@dataclass(frozen=True, slots=True)
class Answered:
    """An action was done and judged, or left out.

    Args:
        step: its number, from 1.
        of: how many there are.
        action: what was asked for.
        answer: what the inputs did.
        at_s: when.
    """

    step: int
    of: int
    action: Action
    answer: Answer
    at_s: float


@dataclass(frozen=True, slots=True)
class Unasked:
    """Inputs moved before anybody was asked for anything.

    Args:
        changes: what moved.
        at_s: when.
    """

    changes: tuple[Change, ...]
    at_s: float


StepEvent = Asked | Answered | Unasked


class Source(Protocol):
    """Where events come from; a `Feed` is one."""

    async def get(self, timeout_s: float) -> LiveEvent:
        """Return the next event.

        Raises:
            TimeoutError: nothing happened for so long.
        """


class Doubt(StrEnum):
    """What the person says when nothing moved."""

    DONE = "done"
    AGAIN = "again"
    SKIP = "skip"


Asker = Callable[[Action, Answer], Awaitable[Doubt]]


class LiveCheckout:
    """Works through actions on a stream of events.

    Args:
        cell: the cell.
        source: where events come from.
        doubt: asked when nothing moved: was it done? Without it, it was.
        wait_s: seconds to wait for a person.
        clock: monotonic seconds, the source's own.
    """

    def __init__(
        self,
        cell: Cell,
        source: Source,
        doubt: Asker | None = None,
        wait_s: float = WAIT_S,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.cell, self.source, self.doubt = cell, source, doubt
        self.wait_s, self.clock = wait_s, clock
        self._heard: list[Change] = []
        self._ahead: list[Change] = []
        self._moved: dict[str, set[Key]] = {}
        self._levels: dict[Key, bool] = {}
        self._gone: set[str] = set()

    async def run(self, actions: Sequence[Action]) -> AsyncIterator[StepEvent | LiveEvent]:
        """Yield what is asked, what happens meanwhile, and how each action is judged.

        A way back that came with its action, as of a button pressed and let go, is not asked for.
        """
        of = len(actions)
        async for event in self._await_first({i for a in actions for i, _ in a.wanted}):
            yield event
        for step, action in enumerate(actions, 1):
            back = step < of and actions[step].actor == action.actor
            if not self._ahead:
                async for event in self._listen(0.0):
                    yield event
                if self._heard:
                    yield Unasked(tuple(self._heard), self.clock())
            async for told in self._step(step, of, action, back=back):
                yield told

    async def _step(
        self, step: int, of: int, action: Action, *, back: bool
    ) -> AsyncIterator[StepEvent | LiveEvent]:
        """Yield one action: asked for, unless it came with the one before, and judged."""
        changes, self._ahead = self._ahead, []
        while True:
            if not changes:
                yield Asked(step, of, action, self.clock())
                async for event in self._listen(self.wait_s if action.wanted else QUIET_S * 4):
                    yield event
                changes = self._heard
            now, self._ahead = _split(changes) if back else (changes, [])
            levels = dict(self._levels)
            for change in self._ahead:
                levels[change.item, change.channel] = not change.on
            answer = judge(self.cell, action.wanted, now, action.state, levels)
            said = await self._doubted(action, answer)
            if said is not Doubt.AGAIN:
                break
            changes = []
        if said is Doubt.SKIP:
            answer = replace(answer, verdict=SKIPPED, text="Left out.", seen=())
        elif not back:
            answer = self._stuck(action, answer)
        self._moved.setdefault(action.actor, set()).update(k for k, _ in answer.changed)
        yield Answered(step, of, action, answer, self.clock())

    async def _await_first(self, items: set[str]) -> AsyncIterator[LiveEvent]:
        """Yield what comes until every controller is read: what moves earlier shows no change."""
        while items:
            try:
                event = await self.source.get(self.wait_s)
            except TimeoutError:
                continue
            self._note(event)
            if isinstance(event, Connection) and event.up:
                items.discard(event.item)
            yield event

    async def _doubted(self, action: Action, answer: Answer) -> Doubt:
        if self.doubt is None or answer.verdict != NONE or answer.changed:
            return Doubt.DONE
        return await self.doubt(action, answer)

    def _stuck(self, action: Action, answer: Answer) -> Answer:
        """Add to the answer on the last way back that an input followed neither there nor back."""
        moved = self._moved.get(action.actor, set()) | {key for key, _ in answer.changed}
        words = [
            f"{self.cell.signal_of_channel()[k].name} stays {'on' if self._levels[k] else 'off'}"
            for k in action.wanted
            if k not in moved and k in self._levels
        ]
        if not words:
            return answer
        text = f"{answer.text} {', '.join(words)} wherever {action.actor} is put: stuck."
        return replace(answer, text=text)

    async def _listen(self, wait_s: float) -> AsyncIterator[LiveEvent]:
        """Yield what comes until all is quiet, and keep the changes; nobody acts while it is down.

        Args:
            wait_s: seconds to wait for the first change; 0: only what has come already.
        """
        self._heard = []
        end = self.clock() + wait_s
        while True:
            left = max(end - self.clock(), 0.0)
            try:
                event = await self.source.get(self.wait_s if self._gone and wait_s else left)
            except TimeoutError:
                if self._gone and wait_s:
                    continue
                return
            self._note(event)
            if isinstance(event, Change):
                self._heard.append(event)
                end = self.clock() + (QUIET_S if wait_s else 0.0)
            elif isinstance(event, Connection):
                end = max(end, self.clock() + wait_s)
            yield event

    def _note(self, event: LiveEvent) -> None:
        """Keep where inputs stand, and which controllers are away."""
        if isinstance(event, Change):
            self._levels[event.item, event.channel] = event.on
        elif isinstance(event, Connection):
            self._levels.update({(event.item, c): on for c, on in event.levels})
            (self._gone.discard if event.up else self._gone.add)(event.item)


def _split(changes: list[Change]) -> tuple[list[Change], list[Change]]:
    """Return the changes of an action, and those of a way back that followed it."""
    for n in range(1, len(changes)):
        if changes[n].at_s - changes[n - 1].at_s >= HELD_S:
            return changes[:n], changes[n:]
    return changes, []
