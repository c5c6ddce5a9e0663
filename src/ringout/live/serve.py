"""The twin as a server: the solved cell over Modbus TCP and OPC UA, in real time."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Mapping
from typing import Any

from ringout.cell.model import Link
from ringout.live.twin import Twin

STEP_S = 0.005  # inputs follow within this time
FIRST_COIL = 0


class ModbusTwin:
    """Serves one controller of a twin over Modbus TCP: inputs as discrete inputs, outputs as coils.

    Args:
        twin: the cell.
        link: which controller, and where its channels stand.
    """

    def __init__(self, twin: Twin, link: Link) -> None:
        self.twin, self.link = twin, link
        item = twin.cell.items[link.item]
        self.inputs = {c: int(p) for c, p in link.places.items()
                       if item.part.channels[c].kind == "input"}  # fmt: skip
        self.outputs = {c: int(p) for c, p in link.places.items()
                        if item.part.channels[c].kind == "output"}  # fmt: skip
        self._server: Any = None
        self._coils: dict[str, bool] = {}

    async def start(self) -> None:
        """Open the server.

        Raises:
            OSError: the port is taken.
        """
        from pymodbus.server import ModbusTcpServer
        from pymodbus.simulator import DataType, SimData, SimDevice

        def bits(places: Mapping[str, int]) -> list[Any]:
            most = max(places.values(), default=0) + 1
            return [SimData(0, count=most, values=False, datatype=DataType.BITS)]

        none = [SimData(0, count=1, values=0, datatype=DataType.REGISTERS)]
        device = SimDevice(
            id=self.link.unit, simdata=(bits(self.outputs), bits(self.inputs), none, none)
        )
        host, _, port = self.link.target.rpartition(":")
        self._server = ModbusTcpServer(device, address=(host.strip("[]"), int(port)))
        await self._server.serve_forever(background=True)
        await self.show()

    async def show(self) -> None:
        """Put the twin's inputs where a client reads them; nothing while the server is closed."""
        if self._server is None:
            return
        for channel, place in self.inputs.items():
            level = self.twin.levels.get((self.link.item, channel), False)
            await self._server.async_setValues(self.link.unit, 2, place, [level])

    async def obey(self) -> None:
        """Take over the outputs a client has commanded; nothing while the server is closed."""
        if self._server is None:
            return
        for channel, place in self.outputs.items():
            values = await self._server.async_getValues(self.link.unit, 1, place, 1)
            on = bool(values[0])
            if self._coils.get(channel, False) != on:
                self._coils[channel] = on
                self.twin.command(self.link.item, channel, on=on)

    async def stop(self) -> None:
        """Close the server."""
        if self._server is not None:
            server, self._server = self._server, None
            await server.shutdown()


class OpcuaTwin:
    """Serves one controller of a twin over OPC UA: one Boolean variable a channel.

    Args:
        twin: the cell.
        link: which controller, and the node of each channel.
        users: user to password; nobody is asked when empty.
    """

    def __init__(self, twin: Twin, link: Link, users: Mapping[str, str] | None = None) -> None:
        self.twin, self.link, self.users = twin, link, dict(users or {})
        item = twin.cell.items[link.item]
        self.kind = {c: item.part.channels[c].kind for c in link.places}
        self._server: Any = None
        self._nodes: dict[str, Any] = {}
        self._coils: dict[str, bool] = {}

    async def start(self) -> None:
        """Open the server.

        Raises:
            OSError: the port is taken.
        """
        from asyncua import ua
        from asyncua.crypto.permission_rules import User, UserRole
        from asyncua.server.server import Server
        from asyncua.server.user_managers import UserManager

        users = self.users

        class Door(UserManager):
            """Lets known users in."""

            def get_user(
                self,
                iserver: Any,
                username: str | None = None,
                password: str | None = None,
                certificate: Any = None,
            ) -> Any:
                del iserver, certificate
                if not users or (username is not None and users.get(username) == password):
                    return User(role=UserRole.User)
                return None

        server = Server(user_manager=Door())
        await server.init()
        server.set_endpoint(self.link.target)
        server.set_server_name("ringout twin")
        server.set_security_policy([ua.SecurityPolicyType.NoSecurity])
        spaces = {int(str(p).split(";")[0].removeprefix("ns=")) for p in self.link.places.values()}
        for number in range(2, max(spaces, default=2) + 1):
            await server.register_namespace(f"urn:ringout:twin:{number}")
        for channel, place in self.link.places.items():
            node_id = ua.NodeId.from_string(str(place))
            name = ua.QualifiedName(f"{self.link.item}.{channel}", node_id.NamespaceIndex)
            node = await server.nodes.objects.add_variable(
                node_id, name, False, ua.VariantType.Boolean
            )
            if self.kind[channel] == "output":
                await node.set_writable()
            self._nodes[channel] = node
        await server.start()
        self._server = server
        await self.show()

    async def show(self) -> None:
        """Put the twin's inputs where a client reads them; nothing while the server is closed."""
        if self._server is None:
            return
        for channel, node in self._nodes.items():
            if self.kind[channel] == "input":
                await node.write_value(self.twin.levels.get((self.link.item, channel), False))

    async def obey(self) -> None:
        """Take over the outputs a client has commanded; nothing while the server is closed."""
        if self._server is None:
            return
        for channel, node in self._nodes.items():
            if self.kind[channel] == "output":
                on = bool(await node.read_value())
                if self._coils.get(channel, False) != on:
                    self._coils[channel] = on
                    self.twin.command(self.link.item, channel, on=on)

    async def stop(self) -> None:
        """Close the server."""
        if self._server is not None:
            server, self._server = self._server, None
            await server.stop()


TwinServer = ModbusTwin | OpcuaTwin


def server_of(twin: Twin, link: Link) -> TwinServer:
    """Return the server of a link; nothing is open yet."""
    return OpcuaTwin(twin, link) if link.protocol == "opcua" else ModbusTwin(twin, link)


async def run_twin(twin: Twin, servers: list[TwinServer], stop: asyncio.Event) -> None:
    """Let a twin live in real time until told to stop; servers must have been started."""
    before = time.monotonic()
    while not stop.is_set():
        await asyncio.sleep(STEP_S)
        now = time.monotonic()
        for server in servers:
            await server.obey()
        if twin.advance(now - before):
            for server in servers:
                await server.show()
        before = now
