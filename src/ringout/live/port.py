"""One small interface to a controller; each protocol is one module behind it."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from typing import Protocol

from ringout.cell.model import Link


class PortError(Exception):
    """A controller cannot be read or written; the text is for the user.

    Args:
        message: what happened, in plain words.
        cure: what to try.
        lasting: trying again cannot help: the file or the address is wrong.
    """

    def __init__(self, message: str, cure: str = "", *, lasting: bool = False) -> None:
        super().__init__(message)
        self.message, self.cure, self.lasting = message, cure, lasting


class Port(Protocol):
    """Reads the inputs of one controller and, where allowed, commands its outputs."""

    link: Link
    inputs: tuple[str, ...]

    async def open(self) -> None:
        """Connect.

        Raises:
            PortError: it cannot be reached.
        """

    async def read(self) -> Mapping[str, bool]:
        """Return every mapped input by channel.

        Raises:
            PortError: it did not answer, or not with what was asked.
        """

    async def write(self, channel: str, *, on: bool) -> None:
        """Command an output.

        Raises:
            PortError: it did not take it.
        """

    async def close(self) -> None:
        """Leave; never raises."""


def port_of(link: Link, inputs: tuple[str, ...], secret: Mapping[str, str] | None = None) -> Port:
    """Return the port of a link; nothing is connected yet.

    Args:
        link: protocol, address and places of channels.
        inputs: channels to read.
        secret: `password` and `passphrase`, by name; OPC UA only.
    """
    if link.protocol == "opcua":
        from ringout.live.opcua import OpcuaPort

        return OpcuaPort(link, inputs, secret or {})
    from ringout.live.modbus import ModbusPort

    return ModbusPort(link, inputs)


def hush() -> None:
    """Keep the protocol libraries from writing messages down, since passwords are in them.

    What they warn of is told in plain words by the ports, so it stays off the screen too.
    """
    for name in ("asyncua", "pymodbus"):
        logger = logging.getLogger(name)
        if not logger.handlers:
            logger.addHandler(logging.NullHandler())
        logger.setLevel(max(logger.level, logging.WARNING))
