"""Everything that happens at the controllers of a cell, as one stream of events."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Callable, Sequence
from types import TracebackType
from typing import Self

from ringout.cell.model import Cell
from ringout.live.poll import Event, Poller
from ringout.live.port import PortError
from ringout.live.watcher import LiveEvent, Watcher

TICK_S = 0.1  # how soon something that stands is told


class Feed:
    """Runs pollers and yields what they tell, with what it means; an async context manager.

    Args:
        cell: the cell.
        pollers: one a controller.
        clock: monotonic seconds, the pollers' own.
    """

    def __init__(
        self, cell: Cell, pollers: Sequence[Poller], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.cell, self.pollers, self.clock = cell, tuple(pollers), clock
        watched = [(p.port.link.item, c) for p in pollers for c in p.port.inputs]
        self.watcher = Watcher(cell, watched)
        self.begin_s = clock()
        self._raw: asyncio.Queue[Event | PortError] = asyncio.Queue()
        self._ready: list[LiveEvent] = []
        self._tasks: list[asyncio.Task[None]] = []

    async def __aenter__(self) -> Self:
        self.begin_s = self.clock()
        self._tasks = [asyncio.create_task(self._run(p)) for p in self.pollers]
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for poller in self.pollers:
            poller.stop()
        if self._tasks:
            await asyncio.wait(self._tasks, timeout=2)
        for task in self._tasks:
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task

    async def _run(self, poller: Poller) -> None:
        try:
            async for event in poller.events():
                self._raw.put_nowait(event)
        except PortError as error:  # handed on to whoever listens
            self._raw.put_nowait(error)

    async def get(self, timeout_s: float) -> LiveEvent:
        """Return the next event.

        Raises:
            TimeoutError: nothing happened for so long.
            PortError: a controller cannot be read, and waiting cannot cure it.
        """
        end = self.clock() + timeout_s
        while not self._ready:
            left = end - self.clock()
            if left <= 0 and self._raw.empty():
                raise TimeoutError
            try:
                async with asyncio.timeout(max(min(left, TICK_S), 0.001)):
                    event = await self._raw.get()
            except TimeoutError:
                for task in self._tasks:
                    if task.done():
                        task.result()
                self._ready += self.watcher.tick(self.clock())
                continue
            if isinstance(event, PortError):
                raise event
            self._ready += self.watcher.take(event)
        return self._ready.pop(0)

    async def events(self, seconds: float = 0.0) -> AsyncIterator[LiveEvent]:
        """Yield events for some seconds, or for ever; see `get` for what it raises."""
        end = self.clock() + seconds if seconds else float("inf")
        while (left := end - self.clock()) > 0:
            with contextlib.suppress(TimeoutError):
                yield await self.get(min(left, 1.0))
