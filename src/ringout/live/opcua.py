"""Inputs and outputs over OPC UA, with security where the server asks for it."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Mapping
from typing import Any

from ringout.cell.model import Link
from ringout.live.port import PortError

ANSWER_S = 2.0  # a session takes a few round trips, common practice
POLICY = "Basic256Sha256,SignAndEncrypt"  # opc 10000-7: the policy in common use


class OpcuaPort:
    """One controller over OPC UA.

    Args:
        link: its URL and the node of each channel.
        inputs: channels to read.
        secret: `user`, `password`, `certificate`, `key` (files), as far as needed.
    """

    def __init__(self, link: Link, inputs: tuple[str, ...], secret: Mapping[str, str]) -> None:
        self.link, self.inputs, self.secret = link, inputs, secret
        self._client: Any = None
        self._nodes: list[Any] = []

    async def open(self) -> None:
        """Connect; see `Port`."""
        from asyncua.client.client import Client
        from asyncua.ua.uaerrors import UaError

        client = Client(self.link.target, timeout=ANSWER_S)
        try:
            if self.secret.get("certificate"):
                files = f"{self.secret['certificate']},{self.secret.get('key', '')}"
                await client.set_security_string(f"{POLICY},{files}")
            if self.secret.get("user"):
                client.set_user(self.secret["user"])
                client.set_password(self.secret.get("password", ""))
        except (OSError, ValueError, UaError) as error:
            raise PortError(
                f"the certificate or key for {self.link.item} cannot be used: {error}",
                "give files in PEM or DER form that belong together",
                lasting=True,
            ) from error
        try:
            await asyncio.wait_for(client.connect(), 3 * ANSWER_S)
        except (UaError, OSError, TimeoutError, ConnectionError) as error:
            raise self._refused(error) from error
        self._client = client
        self._nodes = [self._node(str(self.link.places[c])) for c in self.inputs]

    def _refused(self, error: BaseException) -> PortError:
        name = type(error).__name__
        item, target = self.link.item, self.link.target
        if "Identity" in name or "UserAccess" in name or "Certificate" in name:
            return PortError(
                f"{item} at {target} refuses user or certificate ({name})",
                "check --user and the password, or --certificate and --key",
                lasting=True,
            )
        return PortError(
            f"{item} cannot be reached at {target}",
            "check cable, address and port; is OPC UA switched on in the controller?",
        )

    def _node(self, name: str) -> Any:
        from asyncua.ua.uaerrors import UaStringParsingError

        try:
            return self._client.get_node(name)
        except (UaStringParsingError, ValueError) as error:
            raise PortError(
                f"`{name}` is no node of {self.link.item}",
                "write it as the controller shows it, as in `ns=2;s=K1.I4`",
                lasting=True,
            ) from error

    async def read(self) -> Mapping[str, bool]:
        """Return every mapped input; see `Port`."""
        values = await self._call(self._need().read_values(self._nodes), self._nodes)
        out = {}
        for channel, value in zip(self.inputs, values, strict=True):
            if not isinstance(value, bool | int):
                raise PortError(
                    f"{self.link.places[channel]} of {self.link.item} is no true-or-false value",
                    "name the node of the input itself",
                    lasting=True,
                )
            out[channel] = bool(value)
        return out

    async def write(self, channel: str, *, on: bool) -> None:
        """Command an output; see `Port`."""
        from asyncua import ua

        self._need()
        node = self._node(str(self.link.places[channel]))
        value = ua.DataValue(ua.Variant(on, ua.VariantType.Boolean))
        await self._call(node.write_value(value), [node])

    async def close(self) -> None:
        """Leave; see `Port`."""
        client, self._client = self._client, None
        if client is None:
            return
        with contextlib.suppress(Exception):  # the other end may be gone in any way
            await asyncio.wait_for(client.disconnect(), ANSWER_S)

    def _need(self) -> Any:
        if self._client is None:
            raise PortError(f"{self.link.item} is not connected", "it is tried again")
        return self._client

    async def _call(self, question: Any, nodes: list[Any]) -> Any:
        from asyncua.ua.uaerrors import UaStatusCodeError

        item = self.link.item
        try:
            return await asyncio.wait_for(question, 2 * ANSWER_S)
        except UaStatusCodeError as error:
            name = type(error).__name__
            lasting = "NodeId" in name or "Access" in name or "NotWritable" in name
            raise PortError(
                f"{item} refuses {len(nodes)} nodes, the first {nodes[0]}: {name}",
                f"compare `inputs`, `outputs` and `map` of {item} with the controller",
                lasting=lasting,
            ) from error
        except (TimeoutError, OSError, ConnectionError) as error:
            raise PortError(f"{item} does not answer", "it is tried again") from error
