"""Inputs and outputs over Modbus TCP."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any

from ringout.cell.model import Link
from ringout.live.port import PortError, hush

ANSWER_S = 1.0  # a controller on the same network answers within a few ms, common practice
MOST_BITS = 2000  # modbus application protocol v1.1b3, read discrete inputs
BITS_IN_REGISTER = 16
BIT_TABLES = ("discrete", "coils")
# function codes that read them, modbus application protocol v1.1b3
READ_CODES = {"coils": 1, "discrete": 2, "holding-registers": 3, "input-registers": 4}
MOST_REGISTERS = 125  # the same, read holding registers
GAP = 64  # places nobody asked for, read along rather than asking twice
_CODES = {
    1: "it does not know this kind of question",
    2: "it has no such address",
    3: "it does not take this value",
    4: "it failed while answering",
    6: "it is busy",
    10: "the gateway has no path to this unit",
    11: "the unit behind the gateway does not answer",
}
_LASTING = frozenset({1, 2, 3})


class ModbusPort:
    """One controller over Modbus TCP.

    Args:
        link: its address, unit, table and places.
        inputs: channels to read.
    """

    def __init__(self, link: Link, inputs: tuple[str, ...]) -> None:
        self.link, self.inputs = link, inputs
        self.spans = _blocks({c: int(link.places[c]) for c in inputs}, link.table)
        self._client: Any = None

    async def open(self) -> None:
        """Connect; see `Port`."""
        from pymodbus.client import AsyncModbusTcpClient

        hush()
        host, _, port = self.link.target.rpartition(":")
        client = AsyncModbusTcpClient(
            host.strip("[]"), port=int(port), timeout=ANSWER_S, retries=0, reconnect_delay=0
        )
        try:
            connected = await asyncio.wait_for(client.connect(), 2 * ANSWER_S)
        except (OSError, TimeoutError):
            connected = False
        if not connected:
            client.close()
            raise PortError(
                f"{self.link.item} cannot be reached at {self.link.target}",
                "check cable, address and port; is Modbus TCP switched on in the controller?",
            )
        self._client = client

    async def read(self) -> Mapping[str, bool]:
        """Return every mapped input; see `Port`."""
        client = self._need()
        ask = {
            "discrete": client.read_discrete_inputs,
            "coils": client.read_coils,
            "input-registers": client.read_input_registers,
            "holding-registers": client.read_holding_registers,
        }[self.link.table]
        out: dict[str, bool] = {}
        for first, count, channels in self.spans:
            answer = await self._call(ask(first, count=count, device_id=self.link.unit), first)
            in_bits = self.link.table in BIT_TABLES
            values: list[int] = list(answer.bits if in_bits else answer.registers)
            if len(values) < count:
                raise PortError(f"{self.link.item} answered with less than was asked", "try again")
            for channel, place in channels.items():
                if in_bits:
                    out[channel] = bool(values[place - first])
                else:
                    word = values[place // BITS_IN_REGISTER - first]
                    out[channel] = bool(word >> place % BITS_IN_REGISTER & 1)
        return out

    async def write(self, channel: str, *, on: bool) -> None:
        """Command an output; see `Port`."""
        client = self._need()
        place = int(self.link.places[channel])
        await self._call(client.write_coil(place, on, device_id=self.link.unit), place)

    async def close(self) -> None:
        """Leave; see `Port`."""
        if self._client is not None:
            self._client.close()
            self._client = None

    def _need(self) -> Any:
        if self._client is None or not self._client.connected:
            raise PortError(f"{self.link.item} is not connected", "it is tried again")
        return self._client

    async def _call(self, question: Any, place: int) -> Any:
        from pymodbus.exceptions import ModbusException

        item, target = self.link.item, self.link.target
        try:
            answer = await asyncio.wait_for(question, 2 * ANSWER_S)
        except (TimeoutError, OSError, ModbusException) as error:
            raise PortError(
                f"{item} at {target} does not answer (unit {self.link.unit})",
                "is the unit number right, and the controller running?",
            ) from error
        if answer.isError():
            code = int(getattr(answer, "exception_code", 0))
            why = _CODES.get(code, f"it answered with code {code}")
            raise PortError(
                f"{item} refuses address {place} of unit {self.link.unit}: {why}",
                f"compare `inputs`, `table` and `map` of {item} with its manual",
                lasting=code in _LASTING,
            )
        return answer


def _blocks(places: Mapping[str, int], table: str) -> list[tuple[int, int, dict[str, int]]]:
    """Return (first address, count, channels) of as few questions as possible."""
    in_bits = table in BIT_TABLES
    size = 1 if in_bits else BITS_IN_REGISTER
    most = MOST_BITS if in_bits else MOST_REGISTERS
    blocks: list[tuple[int, int, dict[str, int]]] = []
    for channel, place in sorted(places.items(), key=lambda p: p[1]):
        address = place // size
        if blocks and address - blocks[-1][0] < most and address - sum(blocks[-1][:2]) < GAP:
            first, count, channels = blocks[-1]
            channels[channel] = place
            blocks[-1] = (first, max(count, address - first + 1), channels)
        else:
            blocks.append((address, 1, {channel: place}))
    return blocks
