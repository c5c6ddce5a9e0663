"""The twin over real Modbus TCP and OPC UA on loopback, watched by the poller."""

from __future__ import annotations

import asyncio
import socket

import pytest

from ringout import run
from ringout.cell.model import Link
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import find_fault, single_faults
from ringout.live import Change, Connection, Poller, PortError, Twin, port_of
from ringout.live.serve import run_twin, server_of

CELL = "examples/caddy-lidder/corrected.yaml"
INPUTS = tuple(f"I{n}" for n in range(1, 17))


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def link_of(cell, protocol: str) -> Link:
    item = cell.items["K1"]
    port = free_port()
    if protocol == "modbus":
        places = {f"I{n}": 10 + n for n in range(1, 17)} | {f"O{n}": n - 1 for n in range(1, 17)}
        return Link("K1", "modbus", f"127.0.0.1:{port}", 1, "discrete", places, item.span)
    places = {c: f"ns=2;s=K1.{c}" for c in item.part.channels}
    return Link("K1", "opcua", f"opc.tcp://127.0.0.1:{port}", 1, "discrete", places, item.span)


async def until(check, seconds: float = 8.0) -> None:
    for _ in range(int(seconds / 0.01)):
        if check():
            return
        await asyncio.sleep(0.01)
    raise AssertionError("it did not happen in time")


class Bench:
    """A twin, its server and a poller that collects what happens."""

    def __init__(self, protocol: str, faults=()) -> None:
        self.cell = run.load(CELL).cell
        self.link = link_of(self.cell, protocol)
        self.twin = Twin(self.cell, faults)
        self.server = server_of(self.twin, self.link)
        self.port = port_of(self.link, INPUTS)
        self.poller = Poller(self.port, 0.01)
        self.events: list = []
        self.stop = asyncio.Event()

    async def __aenter__(self):
        await self.server.start()
        self.servers = [self.server]
        self.tasks = [
            asyncio.create_task(run_twin(self.twin, self.servers, self.stop)),
            asyncio.create_task(self._collect()),
        ]
        await until(lambda: any(isinstance(e, Connection) and e.up for e in self.events))
        return self

    async def _collect(self) -> None:
        async for event in self.poller.events():
            self.events.append(event)

    def changes(self) -> list[tuple[str, bool]]:
        return [(e.channel, e.on) for e in self.events if isinstance(e, Change)]

    async def __aexit__(self, *_):
        self.stop.set()
        self.poller.stop()
        await asyncio.wait(self.tasks, timeout=3)
        for task in self.tasks:
            task.cancel()
        await self.server.stop()


@pytest.mark.parametrize("protocol", ["modbus", "opcua"])
def test_the_right_input_comes_on_and_goes_off(protocol):
    async def scene():
        async with Bench(protocol) as bench:
            bench.twin.move("S1", "pressed")
            await until(lambda: ("I1", True) in bench.changes())
            bench.twin.move("S1", "released")
            await until(lambda: ("I1", False) in bench.changes())
            assert {c for c, _ in bench.changes()} == {"I1"}

    asyncio.run(scene())


@pytest.mark.parametrize("protocol", ["modbus", "opcua"])
def test_a_commanded_output_moves_the_cell(protocol):
    async def scene():
        async with Bench(protocol) as bench:
            other = port_of(bench.link, INPUTS)
            await other.open()
            await other.write("O1", on=True)
            await until(lambda: bench.twin.state()["K1.O1"] == "on")
            await other.close()

    asyncio.run(scene())


def test_a_hidden_swap_shows_as_the_wrong_input():
    cell = run.load(CELL).cell
    faults = single_faults(compile_circuit(cell))
    swapped = find_fault(faults, "swap W3:BK W3:WH@K1")
    assert swapped is not None

    async def scene():
        async with Bench("modbus", [swapped]) as bench:
            # S3 rests left: with its two signals exchanged the other input is on
            assert bench.poller.levels["I8"] != bench.poller.levels["I16"]
            assert bench.poller.levels["I8"]

    asyncio.run(scene())


def test_a_server_that_goes_and_comes_back_loses_nothing():
    async def scene():
        async with Bench("modbus") as bench:
            await bench.server.stop()
            await until(lambda: any(isinstance(e, Connection) and not e.up for e in bench.events))
            bench.twin.move("S1", "pressed")
            await asyncio.sleep(0.1)
            bench.server = server_of(bench.twin, bench.link)
            await bench.server.start()
            bench.servers[:] = [bench.server]
            await until(lambda: ("I1", True) in bench.changes())

    asyncio.run(scene())


def test_an_address_nobody_has_is_told_and_not_tried_again():
    async def scene():
        async with Bench("modbus") as bench:
            places = {**bench.link.places, "I1": 9000}
            wrong = Link("K1", "modbus", bench.link.target, 1, "discrete", places, bench.link.span)
            port = port_of(wrong, INPUTS)
            await port.open()
            with pytest.raises(PortError, match="no such address") as told:
                await port.read()
            assert told.value.lasting
            await port.close()

    asyncio.run(scene())


def test_a_unit_nobody_is_gets_a_plain_error():
    async def scene():
        async with Bench("modbus") as bench:
            wrong = Link(
                "K1", "modbus", bench.link.target, 7, "discrete", bench.link.places,
                bench.link.span,
            )  # fmt: skip
            port = port_of(wrong, INPUTS)
            await port.open()
            with pytest.raises(PortError):
                await port.read()
            await port.close()

    asyncio.run(scene())


@pytest.mark.parametrize("protocol", ["modbus", "opcua"])
def test_nobody_there_is_told_with_a_cure(protocol):
    cell = run.load(CELL).cell

    async def scene():
        port = port_of(link_of(cell, protocol), INPUTS)
        with pytest.raises(PortError, match="cannot be reached") as told:
            await port.open()
        assert told.value.cure
        assert not told.value.lasting

    asyncio.run(scene())
