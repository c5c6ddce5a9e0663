"""The twin as a server: the solved cell over Modbus TCP and OPC UA, in real time."""

from __future__ import annotations

import asyncio
import hmac
import time
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from ringout.cell.links import TABLES
from ringout.cell.model import Link
from ringout.live.keys import Pair, application_uri, time_problem, vouched_for
from ringout.live.modbus import BIT_TABLES, BITS_IN_REGISTER, READ_CODES
from ringout.live.opcua import POLICIES
from ringout.live.port import hush
from ringout.live.twin import Twin

if TYPE_CHECKING:
    from cryptography.x509 import Certificate

STEP_S = 0.005  # inputs follow within this time


@dataclass(frozen=True, slots=True)
class Entry:
    """Who the twin lets in over OPC UA.

    Args:
        pair: its certificate and private key; needed where the link asks for security.
        trusted: certificates of clients, or of their issuers; empty: any client's.
        users: user to password; empty: nobody is asked.
    """

    pair: Pair | None = None
    trusted: tuple[Certificate, ...] = ()
    users: Mapping[str, str] = field(default_factory=dict, repr=False)


class TwinServer(ABC):
    """Serves one controller of a twin.

    Args:
        twin: the cell.
        link: which controller, and where its channels stand.
    """

    def __init__(self, twin: Twin, link: Link) -> None:
        self.twin, self.link = twin, link
        kinds = twin.cell.items[link.item].part.channels
        self.inputs = {c: p for c, p in link.places.items() if kinds[c].kind == "input"}
        self.outputs = {c: p for c, p in link.places.items() if kinds[c].kind == "output"}
        self._commanded: dict[str, bool] = {}

    @abstractmethod
    async def start(self) -> None:
        """Open the server.

        Raises:
            OSError: the port is taken.
        """

    @abstractmethod
    async def show(self) -> None:
        """Put the twin's inputs where a client reads them; nothing while the server is closed."""

    @abstractmethod
    async def stop(self) -> None:
        """Close the server."""

    @abstractmethod
    async def _outputs_now(self) -> Mapping[str, bool]:
        """Return what clients have commanded; nothing while the server is closed."""

    async def obey(self) -> None:
        """Take over the outputs a client has commanded."""
        for channel, on in (await self._outputs_now()).items():
            if self._commanded.get(channel, False) != on:
                self._commanded[channel] = on
                self.twin.command(self.link.item, channel, on=on)

    def _level(self, channel: str) -> bool:
        return self.twin.levels.get((self.link.item, channel), False)


class ModbusTwin(TwinServer):
    """Serves one controller over Modbus TCP: inputs in the table of its link, outputs as coils."""

    _server: Any = None

    async def start(self) -> None:
        """Open the server; see `TwinServer`."""
        from pymodbus.server import ModbusTcpServer
        from pymodbus.simulator import DataType, SimData, SimDevice

        hush()
        table = self.link.table
        last = dict.fromkeys(TABLES, 0)
        last["coils"] = max((int(p) for p in self.outputs.values()), default=0)
        size = 1 if table in BIT_TABLES else BITS_IN_REGISTER
        last[table] = max([last[table], *(int(p) // size for p in self.inputs.values())])

        def bits(name: str) -> list[Any]:
            return [SimData(0, count=last[name] + 1, values=False, datatype=DataType.BITS)]

        def words(name: str) -> list[Any]:
            return [SimData(0, count=last[name] + 1, values=0, datatype=DataType.REGISTERS)]

        tables = (bits("coils"), bits("discrete"), words("holding-registers"),
                  words("input-registers"))  # fmt: skip
        device = SimDevice(id=self.link.unit, simdata=tables)
        host, _, port = self.link.target.rpartition(":")
        server = ModbusTcpServer(device, address=(host.strip("[]"), int(port)))
        await server.serve_forever(background=True)
        self._server = server
        await self.show()

    async def show(self) -> None:
        """Put the twin's inputs where a client reads them; see `TwinServer`."""
        if self._server is None:
            return
        unit, code = self.link.unit, READ_CODES[self.link.table]
        words: dict[int, int] = {}
        for channel, where in self.inputs.items():
            place = int(where)
            if self.link.table in BIT_TABLES:
                await self._server.async_setValues(unit, code, place, [self._level(channel)])
            else:
                address, bit = divmod(place, BITS_IN_REGISTER)
                words[address] = words.get(address, 0) | self._level(channel) << bit
        for address, word in words.items():
            await self._server.async_setValues(unit, code, address, [word])

    async def _outputs_now(self) -> Mapping[str, bool]:
        if self._server is None:
            return {}
        out = {}
        for channel, place in self.outputs.items():
            values = await self._server.async_getValues(self.link.unit, 1, int(place), 1)
            out[channel] = bool(values[0])
        return out

    async def stop(self) -> None:
        """Close the server; see `TwinServer`."""
        if self._server is not None:
            server, self._server = self._server, None
            await server.shutdown()


class OpcuaTwin(TwinServer):
    """Serves one controller over OPC UA: one Boolean variable a channel.

    Args:
        twin: the cell.
        link: which controller, the node of each channel, and how messages are protected.
        entry: who is let in.
    """

    def __init__(self, twin: Twin, link: Link, entry: Entry | None = None) -> None:
        super().__init__(twin, link)
        self.entry = entry or Entry()
        self._server: Any = None
        self._nodes: dict[str, Any] = {}

    async def start(self) -> None:
        """Open the server; see `TwinServer`."""
        from asyncua import ua
        from asyncua.server.server import Server

        hush()
        server = Server(user_manager=_door(self.entry.users))
        await server.init()
        server.set_endpoint(self.link.target)
        server.set_server_name("ringout twin")
        await self._protect(server)
        spaces = {int(str(p).split(";")[0].removeprefix("ns=")) for p in self.link.places.values()}
        for number in range(2, max(spaces, default=2) + 1):
            await server.register_namespace(f"urn:ringout:twin:{number}")
        for channel, place in self.link.places.items():
            node_id = ua.NodeId.from_string(str(place))
            name = ua.QualifiedName(f"{self.link.item}.{channel}", node_id.NamespaceIndex)
            node = await server.nodes.objects.add_variable(
                node_id, name, False, ua.VariantType.Boolean
            )
            if channel in self.outputs:
                await node.set_writable()
            self._nodes[channel] = node
        await server.start()
        self._server = server
        await self.show()

    async def _protect(self, server: Any) -> None:
        """Serve the one kind of protection the link asks for, to those who may enter."""
        from asyncua import ua

        wanted, pair = self.link.access.security, self.entry.pair
        if wanted != "none" and pair is not None:
            ending = "_SignAndEncrypt" if wanted == "encrypt" else "_Sign"
            policies = [ua.SecurityPolicyType[p + ending] for p in POLICIES]
            await server.set_application_uri(
                application_uri(pair.certificate) or server.get_application_uri()
            )
            server.iserver.certificate = pair.certificate
            await server.load_private_key(pair.key_pem(), format="pem")
            server.set_certificate_validator(_validator(self.entry.trusted))
        else:
            policies = [ua.SecurityPolicyType.NoSecurity]
        server.set_security_policy(policies)
        named = [ua.UserNameIdentityToken] if self.entry.users else [ua.AnonymousIdentityToken]
        server.set_identity_tokens(named)

    async def show(self) -> None:
        """Put the twin's inputs where a client reads them; see `TwinServer`."""
        if self._server is None:
            return
        for channel in self.inputs:
            await self._nodes[channel].write_value(self._level(channel))

    async def _outputs_now(self) -> Mapping[str, bool]:
        if self._server is None:
            return {}
        return {c: bool(await self._nodes[c].read_value()) for c in self.outputs}

    async def stop(self) -> None:
        """Close the server; see `TwinServer`."""
        if self._server is not None:
            server, self._server = self._server, None
            await server.stop()


def _door(users: Mapping[str, str]) -> Any:
    """Return what lets known users in, or anybody when there are none."""
    from asyncua.crypto.permission_rules import User, UserRole
    from asyncua.server.user_managers import UserManager

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
            right = users.get(username or "")
            known = right is not None and hmac.compare_digest(
                right.encode(), (password or "").encode()
            )
            return User(role=UserRole.User) if known or not users else None

    return Door()


def _validator(trusted: tuple[Certificate, ...]) -> Any:
    """Return what judges the certificate of a client, as a careful controller would."""
    from asyncua.common.utils import ServiceError
    from asyncua.ua.status_codes import StatusCodes

    async def judge(certificate: Certificate, application: Any) -> None:
        if trusted and not vouched_for(certificate, trusted):
            raise ServiceError(StatusCodes.BadCertificateUntrusted)
        if time_problem(certificate, ""):
            raise ServiceError(StatusCodes.BadCertificateTimeInvalid)
        if application_uri(certificate) != application.ApplicationUri:
            raise ServiceError(StatusCodes.BadCertificateUriInvalid)

    return judge


def server_of(twin: Twin, link: Link, entry: Entry | None = None) -> TwinServer:
    """Return the server of a link; nothing is open yet."""
    return OpcuaTwin(twin, link, entry) if link.protocol == "opcua" else ModbusTwin(twin, link)


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
