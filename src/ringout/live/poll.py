"""Polls a controller in a steady cycle and tells every change, also across lost connections."""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field

from ringout.live.port import Port, PortError

CYCLE_S = 0.02
WAITS_S = (0.2, 0.5, 1.0, 2.0, 5.0)  # between tries to connect again, common practice
LATE = 1.5  # a cycle that takes this many times its length is late
SLOW_AFTER, STEADY_AFTER = 3, 50  # late polls on end; polls in time on end: one hiccup is no news


@dataclass(frozen=True, slots=True)
class Change:
    """An input that is otherwise than at the poll before.

    Args:
        item: controller.
        channel: its channel.
        on: what it is now.
        at_s: time of the poll, monotonic seconds.
    """

    item: str
    channel: str
    on: bool
    at_s: float


@dataclass(frozen=True, slots=True)
class Connection:
    """The connection came, went, or cannot come.

    Args:
        item: controller.
        up: it is there.
        text: what to tell the user.
        cure: what to try.
        at_s: when.
        levels: all inputs at the moment it came.
    """

    item: str
    up: bool
    text: str
    cure: str
    at_s: float
    levels: tuple[tuple[str, bool], ...] = ()


@dataclass(frozen=True, slots=True)
class Pace:
    """The controller answers too slowly for the cycle, or in time again.

    Args:
        item: controller.
        slow: whether it is too slow.
        gap_s: longest time between two answers since it became so; a shorter pulse may be missed.
        at_s: when.
    """

    item: str
    slow: bool
    gap_s: float
    at_s: float


Event = Change | Connection | Pace


@dataclass
class Figures:
    """What a poller did.

    Args:
        polls: answers received.
        late: cycles later than `LATE` cycles.
        lost: connections lost.
        gap_s: longest time between two answers while connected; shorter pulses may be missed.
        answer_s: last answer times, at most 10,000.
    """

    polls: int = 0
    late: int = 0
    lost: int = 0
    gap_s: float = 0.0
    answer_s: deque[float] = field(default_factory=lambda: deque(maxlen=10_000))


class Poller:
    """Polls one controller.

    Args:
        port: how it is reached.
        cycle_s: seconds from one poll to the next.
        clock: monotonic seconds; another one for tests.
    """

    def __init__(
        self, port: Port, cycle_s: float = CYCLE_S, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.port, self.cycle_s, self.clock = port, cycle_s, clock
        self.figures = Figures()
        self.levels: dict[str, bool] = {}
        self._stopped = False

    def stop(self) -> None:
        """End after the poll that is under way."""
        self._stopped = True

    async def events(self) -> AsyncIterator[Event]:
        """Yield what happens until stopped, or until trying again cannot help.

        Raises:
            PortError: the file or the address is wrong; waiting cannot cure it.
        """
        tries, told = 0, False  # an outage is told once, however often it is tried again
        item = self.port.link.item
        while not self._stopped:
            try:
                await self.port.open()
                levels = dict(await self.port.read())
            except PortError as error:
                await self.port.close()
                if error.lasting:
                    raise
                if not told:
                    yield Connection(item, False, error.message, error.cure, self.clock())
                told = True
                await asyncio.sleep(WAITS_S[min(tries, len(WAITS_S) - 1)])
                tries += 1
                continue
            tries, told = 0, False
            changed = [Change(item, c, on, self.clock()) for c, on in levels.items()
                       if c in self.levels and self.levels[c] != on]  # fmt: skip
            self.levels = levels
            yield Connection(item, True, f"{item} is read", "", self.clock(), tuple(levels.items()))
            for change in changed:  # what moved while nobody could look
                yield change
            try:
                async for news in self._poll():
                    yield news
            except PortError as error:
                self.figures.lost += 1
                await self.port.close()
                if error.lasting:
                    raise
                yield Connection(item, False, error.message, error.cure, self.clock())
                told = True
        await self.port.close()

    async def _poll(self) -> AsyncIterator[Change | Pace]:
        figures, item, read, clock = self.figures, self.port.link.item, self.port.read, self.clock
        last = clock()
        due = last + self.cycle_s
        pace = _Pacer(item, self.cycle_s)
        while not self._stopped:
            await asyncio.sleep(max(due - clock(), 0.0))
            begin = clock()
            late = begin - due > (LATE - 1.0) * self.cycle_s
            if late:
                figures.late += 1
                due = begin  # what is late stays late; no burst of polls to catch up
            levels = await read()
            now = clock()
            figures.polls += 1
            figures.answer_s.append(now - begin)
            figures.gap_s = max(figures.gap_s, now - last)
            told = pace.take(now - last, now, late=late)
            last = now
            if told is not None:
                yield told
            if levels != self.levels:
                for channel, on in levels.items():
                    if self.levels.get(channel) != on:
                        self.levels[channel] = on
                        yield Change(item, channel, on, now)
            due += self.cycle_s


class _Pacer:
    """Tells when polls have come late for a while, and when they are in time again."""

    def __init__(self, item: str, cycle_s: float) -> None:
        self.item, self.cycle_s = item, cycle_s
        self.slow, self._run, self._gap_s = False, 0, 0.0

    def take(self, gap_s: float, now: float, *, late: bool) -> Pace | None:
        """Return news of the pace after one more answer, if there is any."""
        if late != self.slow:
            self._run += 1
        else:
            self._run = 0
        self._gap_s = max(self._gap_s, gap_s) if late else self._gap_s
        if self._run < (STEADY_AFTER if self.slow else SLOW_AFTER):
            return None
        self.slow, self._run = not self.slow, 0
        gap, self._gap_s = self._gap_s, 0.0
        return Pace(self.item, self.slow, gap, now)
