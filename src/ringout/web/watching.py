"""Controllers watched by the bench, in a thread of its own: what happened."""

from __future__ import annotations

import asyncio
import socket
import threading
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ringout.cell.model import Cell, Link
from ringout.live.enter import (
    KINDS,
    beside,
    drawn_by_lot,
    from_environment,
    inputs_of,
    needed,
    own_variable,
    plain_link,
)
from ringout.web.led import LedRun
from ringout.web.view import Happening, View, take

KEPT_EVENTS = 2000
CYCLE_S = 0.02
FILE, TWIN = "file", "twin"
ANSWERS = ("done", "again", "skip")


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be watched.

    Args:
        source: `file`: the controllers of `live`; `twin`: a stand-in within the bench.
        guided: ask for one action after the other.
        hide: faults the stand-in hides.
        seed: which ones.
    """

    source: str = FILE
    guided: bool = False
    hide: int = 0
    seed: int = 0


class Watching:
    """Watches the controllers of one cell until stopped; safe to ask from any thread.

    Args:
        cell: the cell.
        order: what is to be watched.
        key: the state of the file it was begun with.
        led: stores what a led checkout finds; None to store nothing.
    """

    def __init__(self, cell: Cell, order: Order, key: str = "", led: LedRun | None = None) -> None:
        self.cell, self.order, self.key, self.led = cell, order, key, led
        self.view = View()
        self.problem: tuple[str, str] | None = None  # what ended it, and the cure
        self.hidden: tuple[str, ...] = ()  # sentences; told when asked for
        self.lock = threading.Lock()
        self._events: deque[tuple[int, Happening]] = deque(maxlen=KEPT_EVENTS)
        self._count = 0
        self._twin: Any = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._over: asyncio.Event | None = None
        self._said: asyncio.Queue[str] | None = None
        self._stopped = False
        self._thread = threading.Thread(target=self._run, daemon=True)

    # -- from outside -------------------------------------------------------------------------

    def begin(self) -> None:
        """Begin to watch."""
        self._thread.start()

    @property
    def running(self) -> bool:
        """Return whether it goes on."""
        return self._thread.is_alive()

    def stop(self, longest_s: float = 5.0) -> None:
        """End it, and wait so long for it."""
        self._stopped = True
        if self._loop is not None and self._over is not None:
            self._call(self._over.set)
        if self._thread.is_alive():
            self._thread.join(longest_s)

    def after(self, number: int) -> list[tuple[int, Happening]]:
        """Return the events after a number, each with its own."""
        with self.lock:
            return [(n, e) for n, e in self._events if n > number]

    def move(self, actor: str, position: str) -> bool:
        """Put an actor of the stand-in into a position; False for what it has not."""
        found = self.cell.actors.get(actor)
        if self._twin is None or found is None or position not in found.positions:
            return False
        self._call(self._twin.move, actor, position)
        return True

    def state(self) -> dict[str, str]:
        """Return where the actors of the stand-in are put; nothing for real controllers."""
        return dict(self._twin.state()) if self._twin is not None else {}

    def say(self, answer: str) -> None:
        """Answer whether an action that moved nothing was done."""
        if self._said is not None and answer in ANSWERS and self.view.doubted is not None:
            self._call(self._said.put_nowait, answer)

    def _call(self, what: Any, *arguments: Any) -> None:
        try:
            assert self._loop is not None
            self._loop.call_soon_threadsafe(what, *arguments)
        except RuntimeError:
            return  # the loop has ended meanwhile

    # -- the thread ---------------------------------------------------------------------------

    def _run(self) -> None:
        from ringout.live import PortError
        from ringout.records import StoreError

        try:
            asyncio.run(self._main())
        except (PortError, StoreError) as error:
            self.problem = error.message, error.cure
        except OSError as error:
            self.problem = f"the stand-in cannot be served: {error}", "begin again"
        self._note({"kind": "ended"})

    async def _main(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._over, self._said = asyncio.Event(), asyncio.Queue()
        if self._stopped:
            return
        if self.order.source == TWIN:
            await self._with_twin()
        else:
            await self._watch([beside(k, self.cell.folder) for k in self.cell.links.values()])

    async def _with_twin(self) -> None:
        from ringout.circuit.compile import compile_circuit
        from ringout.circuit.faults import single_faults
        from ringout.live import Twin
        from ringout.live.serve import run_twin, server_of

        cell, order = self.cell, self.order
        names = [n for n, i in cell.items.items() if _has_inputs(cell, n) and i.part.channels]
        every = single_faults(compile_circuit(cell)) if order.hide else []
        faults = drawn_by_lot(cell, every, names, order.hide, KINDS[""], order.seed)
        self.hidden = tuple(f.text for f in faults)
        self._twin = Twin(cell, faults, seed=order.seed)
        links = [plain_link(cell, n, "modbus", f"127.0.0.1:{free_port()}") for n in names]
        servers = [server_of(self._twin, link) for link in links]
        over = asyncio.Event()
        life = None
        try:
            for server in servers:
                await server.start()
            life = asyncio.create_task(run_twin(self._twin, servers, over))
            await self._watch(links)
        finally:
            over.set()
            if life is not None:
                await life
            for server in servers:
                await server.stop()

    async def _watch(self, links: Sequence[Link]) -> None:
        from ringout.live import Feed, Poller, PortError, port_of

        pollers = []
        for link in links:
            secret = {}
            for name, (variable, what) in needed(link).items():
                found = from_environment(variable, link.item)
                if found is None:
                    own = own_variable(variable, link.item)
                    fix = f"set {own} in the environment before the bench is opened"
                    raise PortError(f"the {what} is needed", fix, lasting=True)
                secret[name] = found
            pollers.append(Poller(port_of(link, inputs_of(self.cell, link), secret), CYCLE_S))
        feed = Feed(self.cell, pollers)
        assert self._over is not None
        async with feed:
            work = asyncio.create_task(self._follow(feed, links))
            ending = asyncio.create_task(self._over.wait())
            await asyncio.wait({work, ending}, return_when=asyncio.FIRST_COMPLETED)
            ending.cancel()
            if work.done():
                work.result()
            else:
                work.cancel()
                await asyncio.gather(work, return_exceptions=True)

    async def _follow(self, feed: Any, links: Sequence[Link]) -> None:
        """Note what happens; after a led checkout go on watching."""
        from ringout.live.actions import Answered, LiveCheckout, actions_of
        from ringout.live.tell import Teller, finished

        teller = Teller(self.cell, feed.begin_s)
        if self.order.guided:
            actions = list(actions_of(self.cell, feed.watcher.watched))
            answers = []
            async for event in LiveCheckout(self.cell, feed, self._doubt).run(actions):
                if isinstance(event, Answered):
                    answers.append(event.answer)
                    if self.led is not None:  # stored before it is shown
                        await self._keep(self.led, links, actions, event)
                self._note(teller.json(event))
            self._note(finished(answers))
        async for event in feed.events():
            self._note(teller.json(event))

    async def _keep(
        self, led: LedRun, links: Sequence[Link], actions: Sequence[Any], event: Any
    ) -> None:
        """Store an answer beside the loop, so that no poll waits for the disk."""
        await asyncio.to_thread(led.keep, links, actions, event.step, event.answer)
        if led.number and not self.view.run:
            self._note({"kind": "stored", "run": led.number})

    async def _doubt(self, action: Any, answer: Any) -> Any:
        from ringout.live.actions import Doubt

        said = self._said
        assert said is not None
        while not said.empty():
            said.get_nowait()
        where = {"actor": action.actor, "position": action.position}
        self._note({"kind": "doubted", **where, "text": answer.text})
        return Doubt(await said.get())

    def _note(self, event: Happening) -> None:
        """Keep an event, and what it changes of how things stand."""
        with self.lock:
            self._count += 1
            self._events.append((self._count, event))
            take(self.view, event)


def _has_inputs(cell: Cell, item: str) -> bool:
    return any(c.kind == "input" for c in cell.items[item].part.channels.values())


def free_port() -> int:
    """Return a port of this machine that nobody uses now."""
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])
