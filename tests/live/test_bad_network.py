"""Faults of network and server, each against a real server on loopback, and what is then said."""

from __future__ import annotations

import asyncio
import time
from dataclasses import replace

import pytest

from ringout import run
from ringout.cell.model import Link
from ringout.live import Change, Connection, Feed, Pace, Poller, PortError, Standing, Twin, port_of
from ringout.live.serve import run_twin, server_of
from ringout.live.tell import Teller
from tests.live.proxy import Proxy
from tests.live.test_modbus_twin import INPUTS, link_of, until

CELL = "examples/caddy-lidder/corrected.yaml"
BOTH = pytest.mark.parametrize("protocol", ["modbus", "opcua"])


@pytest.fixture(scope="module")
def cell():
    return run.load(CELL).cell


@pytest.fixture(autouse=True)
def impatient(monkeypatch):
    monkeypatch.setattr("ringout.live.poll.WAITS_S", (0.05,))


def through(link: Link, port: int) -> Link:
    """Return a link that goes through another port."""
    before, _, _ = link.target.rpartition(":")
    return replace(link, target=f"{before}:{port}")


class Scene:
    """A twin behind a proxy, watched through a feed."""

    def __init__(self, cell, protocol: str, cycle_s: float = 0.01) -> None:
        self.cell = cell
        self.twin = Twin(cell, bounce=False)
        self.link = link_of(cell, protocol)
        self.server = server_of(self.twin, self.link)
        self.servers = [self.server]
        self.proxy = Proxy(int(self.link.target.rpartition(":")[2]))
        self.cycle_s = cycle_s
        self.events: list = []
        self.lines: list[str] = []
        self.stop = asyncio.Event()

    async def __aenter__(self):
        await self.server.start()
        await self.proxy.__aenter__()
        port = port_of(through(self.link, self.proxy.port), INPUTS)
        self.feed = Feed(self.cell, [Poller(port, self.cycle_s)])
        self.tasks = [
            asyncio.create_task(run_twin(self.twin, self.servers, self.stop)),
            asyncio.create_task(self._listen()),
        ]
        await until(lambda: self.ups() == [True], 20)
        return self

    async def _listen(self) -> None:
        async with self.feed:
            teller = Teller(self.cell, self.feed.begin_s)
            async for event in self.feed.events():
                self.events.append(event)
                self.lines += teller.lines(event)

    def ups(self) -> list[bool]:
        return [e.up for e in self.events if isinstance(e, Connection)]

    def changes(self) -> list[tuple[str, bool]]:
        return [(e.channel, e.on) for e in self.events if isinstance(e, Change)]

    async def __aexit__(self, *_):
        self.stop.set()
        self.proxy.holding = False
        for task in self.tasks:
            task.cancel()
        await asyncio.gather(*self.tasks, return_exceptions=True)
        await self.proxy.__aexit__()
        await self.server.stop()


@BOTH
def test_server_gone_and_back(cell, protocol):
    async def scene():
        async with Scene(cell, protocol) as s:
            await s.server.stop()
            s.servers.clear()
            s.proxy.cut()
            await until(lambda: s.ups()[1:2] == [False], 20)
            s.twin.move("S1", "pressed")
            s.twin.advance(0.1)
            s.server = server_of(s.twin, s.link)
            await s.server.start()
            s.servers.append(s.server)
            await until(lambda: s.ups()[-1:] == [True] and len(s.ups()) == 3, 20)
            await until(lambda: s.changes() == [("I1", True)])  # moved while nobody could look
            assert any("does not answer" in x or "not connected" in x for x in s.lines)
            assert s.lines[-1].endswith("K1.I1 start_lidding on")

    asyncio.run(scene())


@BOTH
def test_half_open_connection(cell, protocol):
    """Nothing comes any more and nothing is closed, as when a cable is pulled behind a switch."""

    async def scene():
        async with Scene(cell, protocol) as s:
            s.proxy.holding = True
            held = time.monotonic()
            await until(lambda: s.ups()[1:2] == [False], 20)
            assert time.monotonic() - held < 8.0
            s.twin.move("S1", "pressed")
            await asyncio.sleep(0.3)
            assert s.changes() == []
            s.proxy.holding = False
            s.proxy.cut()
            await until(lambda: s.ups()[-1:] == [True], 30)
            await until(lambda: s.changes() == [("I1", True)])
            assert any("does not answer" in x for x in s.lines)
            # told once, not at every try
            assert s.ups() == [True, False, True]

    asyncio.run(scene())


@BOTH
def test_slow_answers(cell, protocol):
    async def scene():
        async with Scene(cell, protocol, 0.02) as s:
            s.proxy.delay_s = 0.06  # there and back: 120 ms in place of 20
            await until(lambda: any(isinstance(e, Pace) and e.slow for e in s.events), 20)
            s.twin.move("S1", "pressed")
            await until(lambda: ("I1", True) in s.changes())
            said = [e for e in s.events if isinstance(e, Standing) and e.kind == "slow"]
            assert said[0].holds
            assert any("shorter pulses are missed" in x for x in s.lines)
            s.proxy.delay_s = 0.0
            await until(lambda: any(isinstance(e, Pace) and not e.slow for e in s.events), 60)
            assert s.ups() == [True]  # slow is not gone
            assert s.feed.pollers[0].figures.gap_s >= 0.12

    asyncio.run(scene())


@BOTH
def test_flood_of_changes(cell, protocol):
    """Every input changes at every step of the server, for a second; none is lost or doubled."""

    async def scene():
        async with Scene(cell, protocol) as s:
            s.stop.set()  # the twin stands still; its levels are set from here
            await asyncio.sleep(0.1)
            before = dict(s.twin.levels)
            for _ in range(25):
                for channel in INPUTS:
                    key = "K1", channel
                    s.twin.levels[key] = not s.twin.levels[key]
                await s.server.show()
                polls = s.feed.pollers[0].figures.polls
                await until(lambda p=polls: s.feed.pollers[0].figures.polls >= p + 2)
            per_channel = {c: [on for k, on in s.changes() if k == c] for c in INPUTS}
            await until(lambda: len(s.changes()) >= 25 * len(INPUTS))
            for channel in INPUTS:
                seen = [on for k, on in s.changes() if k == channel]
                first = not before["K1", channel]
                assert seen == [first ^ bool(n % 2) for n in range(25)], per_channel
            assert any("flickers" in x for x in s.lines)
            assert s.ups() == [True]

    asyncio.run(scene())


def test_the_wall_clock_may_jump(cell, monkeypatch):
    """Time is taken from the monotonic clock; setting the machine's clock changes nothing."""

    async def scene():
        async with Scene(cell, "modbus") as s:
            real, shift = time.time, {"s": 0.0}
            monkeypatch.setattr(time, "time", lambda: real() + shift["s"])
            for n, position in enumerate(("pressed", "released", "pressed")):
                shift["s"] = (86400.0, -86400.0, 3600.0)[n]
                s.twin.move("S1", position)
                await until(lambda n=n: len(s.changes()) == n + 1)
            assert [on for _, on in s.changes()] == [True, False, True]
            times = [e.at_s for e in s.events if isinstance(e, Change)]
            assert times == sorted(times)
            assert times[-1] - times[0] < 30.0
            assert s.ups() == [True]

    asyncio.run(scene())


def wrong(cell, link: Link, words: str, inputs=INPUTS) -> PortError:
    """Return what is said when a link that does not fit is read from a real server."""

    async def scene():
        twin = Twin(cell, bounce=False)
        server = server_of(twin, link_of(cell, link.protocol))
        await server.start()
        port = port_of(replace(link, target=server.link.target), inputs)
        try:
            await port.open()
            await port.read()
        finally:
            await port.close()
            await server.stop()

    with pytest.raises(PortError, match=words) as told:
        asyncio.run(scene())
    return told.value


def test_a_unit_nobody_is(cell):
    said = wrong(cell, replace(link_of(cell, "modbus"), unit=7), "unit 7")
    assert "unit number" in said.cure or "`inputs`" in said.cure


@BOTH
def test_an_address_nobody_has(cell, protocol):
    link = link_of(cell, protocol)
    place = 9000 if protocol == "modbus" else "ns=2;s=K1.I99"
    said = wrong(cell, replace(link, places={**link.places, "I1": place}), "no such (address|node)")
    assert said.lasting
    assert "`map`" in said.cure


def test_a_register_table_where_bits_were_thought(cell):
    """The server holds one register; the inputs' bits would stand in others."""
    said = wrong(
        cell, replace(link_of(cell, "modbus"), table="holding-registers"), "no such address"
    )
    assert said.lasting
    assert "`table`" in said.cure


def test_a_node_that_holds_no_truth_value(cell):
    link = link_of(cell, "opcua")
    # opc 10000-6, nodes of every server: i=2261 is a text, i=2267 a number from 0 to 255
    for node in ("i=2261", "i=2267"):
        said = wrong(cell, replace(link, places={**link.places, "I1": node}), "no true-or-false")
        assert said.lasting


def test_a_node_that_is_none(cell):
    link = link_of(cell, "opcua")
    said = wrong(cell, replace(link, places={**link.places, "I1": "first input"}), "is no node")
    assert said.lasting


@pytest.mark.parametrize("table", ["discrete", "coils", "input-registers", "holding-registers"])
def test_each_table_is_read_where_the_twin_serves_it(cell, table):
    item = cell.items["K1"]
    places = {f"I{n}": 30 + n for n in range(1, 17)}  # over a register's edge at 32 and 48
    link = replace(link_of(cell, "modbus"), table=table, places=places)
    assert item.name == "K1"

    async def scene():
        twin = Twin(cell, bounce=False)
        twin.move("S1", "pressed")
        twin.advance(0.1)
        server = server_of(twin, link)
        await server.start()
        port = port_of(link, INPUTS)
        try:
            await port.open()
            assert await port.read() == {c: twin.levels["K1", c] for c in INPUTS}
        finally:
            await port.close()
            await server.stop()

    asyncio.run(scene())
