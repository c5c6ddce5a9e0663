"""How the live commands reach controllers: addresses, files and secrets, from file and options."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NoReturn

import click

if TYPE_CHECKING:
    from ringout.cell.model import Cell, Link
    from ringout.live import Port, PortError


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the options say; empty where they say nothing.

    Args:
        item: only this controller.
        modbus: `HOST:PORT`.
        opcua: URL.
        security: `none`, `sign`, `encrypt`.
        user: user name for OPC UA.
        certificate: file of our certificate.
        key: file of its private key.
        trust: file of the certificate the other side must show.
    """

    item: str = ""
    modbus: str = ""
    opcua: str = ""
    security: str = ""
    user: str = ""
    certificate: str = ""
    key: str = ""
    trust: str = ""


def reach_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options that say which controller, and how messages are protected."""
    for option in (
        click.option(
            "--security",
            type=click.Choice(["none", "sign", "encrypt"]),
            help="Protection of OPC UA messages; encrypt once a certificate is named.",
        ),
        click.option("--key", default="", metavar="FILE", help="Private key of --certificate."),
        click.option("--item", default="", help="Only this controller."),
    ):
        command = option(command)
    return command


def stop(message: str, fix: str) -> NoReturn:
    """Leave with exit code 2, a plain sentence and its cure."""
    click.echo(f"{message}\n  fix: {fix}", err=True)
    sys.exit(2)


def told(error: PortError) -> NoReturn:
    """Leave with what a port says."""
    stop(error.message, error.cure or "try again")


def links_of(cell: Cell, wanted: Wanted) -> list[Link]:
    """Return the links to use: those of the file, or one controller at another address."""
    links = dict(cell.links)
    if wanted.item and wanted.item not in cell.items:
        stop(f"there is no item {wanted.item}", f"controllers: {', '.join(_controllers(cell))}")
    if wanted.modbus and wanted.opcua:
        stop("--modbus and --opcua are two ways to one controller", "give one of them")
    if wanted.modbus or wanted.opcua:
        found = [_elsewhere(cell, wanted)]
    else:
        found = [k for n, k in links.items() if wanted.item in {"", n}]
    if not found:
        stop(
            "the file does not say where a controller is read",
            "add `live:` with `K1: {modbus: robot-k1, inputs: 0}`, or use --modbus HOST:PORT",
        )
    return [_entered(cell, link, wanted) for link in found]


def _elsewhere(cell: Cell, wanted: Wanted) -> Link:
    """Return one controller's link with the address of an option."""
    from ringout.cell.links import modbus_target
    from ringout.live.enter import plain_link

    name = wanted.item or next(iter(cell.links), "") or next(iter(_controllers(cell)), "")
    if not name:
        stop("the cell has no controller", "add one to `items`")
    protocol = "modbus" if wanted.modbus else "opcua"
    target = modbus_target(wanted.modbus) if wanted.modbus else wanted.opcua
    if target is None:
        stop(f"`{wanted.modbus}` is no address", "write `--modbus HOST:PORT`")
    if wanted.opcua and not wanted.opcua.startswith("opc.tcp://"):
        stop(f"`{wanted.opcua}` is no address", "write `--opcua opc.tcp://HOST:PORT`")
    base = cell.links.get(name)
    if base is not None and base.protocol == protocol:
        return replace(base, target=target)
    return plain_link(cell, name, protocol, target)


def _controllers(cell: Cell) -> list[str]:
    return [n for n, i in cell.items.items() if i.part.channels]


def _entered(cell: Cell, link: Link, wanted: Wanted) -> Link:
    """Return a link with what the options say of its protection."""
    from ringout.cell.links import access_of
    from ringout.live.enter import beside

    if link.protocol == "modbus":
        return link
    said = beside(link, cell.folder).access
    security = wanted.security
    if not security and not (wanted.user or wanted.certificate or wanted.trust):
        security = said.security
    access = access_of(
        security,
        wanted.user or said.user,
        wanted.certificate or said.certificate,
        wanted.key or said.key,
        wanted.trust or said.trust,
    )
    return replace(link, access=access)


def ports_of(cell: Cell, links: Iterable[Link]) -> list[Port]:
    """Return what reads the inputs of links; secrets come from the environment or the person."""
    from ringout.live import port_of
    from ringout.live.enter import inputs_of, needed

    ports = []
    for link in links:
        secrets = {name: secret(at, link.item, what) for name, (at, what) in needed(link).items()}
        ports.append(port_of(link, inputs_of(cell, link), secrets))
    return ports


def secret(variable: str, item: str, what: str) -> str:
    """Return a secret from the environment, else ask for it where somebody can answer."""
    from ringout.live.enter import from_environment, own_variable

    found = from_environment(variable, item)
    if found is not None:
        return found
    if not sys.stdin.isatty():
        stop(f"the {what} is needed", f"set {own_variable(variable, item)} in the environment")
    return str(click.prompt(what, hide_input=True, default="", show_default=False))
