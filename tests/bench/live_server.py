"""A controller for measuring, in a process of its own: inputs change to a plan, moments are told.

`live_server.py PROTOCOL PORT CHANNELS` serves, says so, reads one plan a line from its input and
answers with the moments of every change, of the clock that all processes of a machine share.
A plan is `toggle COUNT LOW_S HIGH_S` or `pulse COUNT LENGTH_S LOW_S HIGH_S` on the first channel.
"""

from __future__ import annotations

import asyncio
import json
import logging
import random
import sys
import time


class Modbus:
    """Serves channels as discrete inputs from address 0."""

    async def start(self, port: int, channels: int) -> None:
        from pymodbus.server import ModbusTcpServer
        from pymodbus.simulator import DataType, SimData, SimDevice

        bits = [SimData(0, count=channels, values=False, datatype=DataType.BITS)]
        none = [SimData(0, count=1, values=0, datatype=DataType.REGISTERS)]
        device = SimDevice(id=1, simdata=(bits, bits, none, none))
        self.server = ModbusTcpServer(device, address=("127.0.0.1", port))
        await self.server.serve_forever(background=True)

    async def put(self, *, on: bool) -> None:
        await self.server.async_setValues(1, 2, 0, [on])


class Opcua:
    """Serves channels as Boolean nodes `ns=2;s=K1.I1` and so on."""

    async def start(self, port: int, channels: int) -> None:
        from asyncua import ua
        from asyncua.server.server import Server

        self.server = Server()
        await self.server.init()
        self.server.set_endpoint(f"opc.tcp://127.0.0.1:{port}")
        self.server.set_security_policy([ua.SecurityPolicyType.NoSecurity])
        await self.server.register_namespace("urn:bench:2")
        self.nodes = [
            await self.server.nodes.objects.add_variable(
                ua.NodeId.from_string(f"ns=2;s=K1.I{n}"), f"2:I{n}", False, ua.VariantType.Boolean
            )
            for n in range(1, channels + 1)
        ]
        await self.server.start()

    async def put(self, *, on: bool) -> None:
        await self.nodes[0].write_value(on)


async def follow(server: Modbus | Opcua, words: list[str]) -> list[tuple[float, bool]]:
    """Change the first channel to a plan and return the moments."""
    what, count, *times = words
    length_s = float(times.pop(0)) if what == "pulse" else 0.0
    low_s, high_s = map(float, times)
    chance = random.Random(1)  # phases of a bench
    out: list[tuple[float, bool]] = []

    async def put(*, on: bool) -> None:
        await server.put(on=on)
        out.append((time.monotonic(), on))

    for n in range(int(count)):
        await asyncio.sleep(chance.uniform(low_s, high_s))
        await put(on=what == "pulse" or n % 2 == 0)
        if what == "pulse":
            await asyncio.sleep(length_s)
            await put(on=False)
    return out


async def main() -> None:
    """Serve until the input ends."""
    logging.disable(logging.WARNING)
    server = {"modbus": Modbus, "opcua": Opcua}[sys.argv[1]]()
    await server.start(int(sys.argv[2]), int(sys.argv[3]))
    print("served", flush=True)
    loop = asyncio.get_running_loop()
    while line := await loop.run_in_executor(None, sys.stdin.readline):
        print(json.dumps(await follow(server, line.split())), flush=True)


if __name__ == "__main__":
    asyncio.run(main())
