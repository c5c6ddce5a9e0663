"""A TCP proxy that plays a bad network: it can hold, delay or cut what it forwards."""

from __future__ import annotations

import asyncio
import contextlib


class Proxy:
    """Forwards a port to another until told otherwise.

    Args:
        port: where the real server listens.
    """

    def __init__(self, port: int) -> None:
        self.to = port
        self.port = 0
        self.holding = False  # half-open: nothing passes, nothing is closed
        self.delay_s = 0.0
        self._server: asyncio.Server | None = None
        self._tasks: set[asyncio.Task] = set()
        self._writers: set[asyncio.StreamWriter] = set()

    async def __aenter__(self):
        self._server = await asyncio.start_server(self._accept, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def _accept(self, reader, writer) -> None:
        self._writers.add(writer)
        if self.holding:
            return
        try:
            there, back = await asyncio.open_connection("127.0.0.1", self.to)
        except OSError:
            writer.close()
            return
        self._writers.add(back)
        for pair in ((reader, back), (there, writer)):
            task = asyncio.create_task(self._pump(*pair))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    async def _pump(self, reader, writer) -> None:
        with contextlib.suppress(OSError):
            while data := await reader.read(65536):
                if self.delay_s:
                    await asyncio.sleep(self.delay_s)
                if not self.holding:
                    writer.write(data)
                    await writer.drain()
            writer.close()

    def cut(self) -> None:
        """Close every connection that passes."""
        for writer in self._writers:
            writer.close()
        self._writers.clear()

    async def __aexit__(self, *_):
        self.cut()
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        self._server.close()
        await self._server.wait_closed()
