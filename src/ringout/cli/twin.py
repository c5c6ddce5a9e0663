"""A stand-in for the controller to practise on, and certificates for both sides."""

from __future__ import annotations

import asyncio
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ringout.cli.common import (
    cell_argument,
    json_option,
    say_json,
    say_problems,
    stop_if_unusable,
)
from ringout.cli.reach import (
    Wanted,
    links_of,
    reach_options,
    secret,
    stop,
    told,
)

if TYPE_CHECKING:
    from ringout.cell.model import Cell, Link
    from ringout.live.serve import Entry, TwinServer


@click.command()
@cell_argument
@click.option("--modbus", default="", metavar="HOST:PORT", help="Address to serve Modbus TCP at.")
@click.option("--opcua", default="", metavar="URL", help="URL to serve OPC UA at.")
@click.option("--user", default="", help="Let in over OPC UA with its password only.")
@click.option("--certificate", default="", metavar="FILE", help="The twin's own certificate.")
@click.option(
    "--trust", multiple=True, metavar="FILE", help="Certificate of a client, or of its issuer."
)
@reach_options
@click.option("--fault", multiple=True, metavar="ID", help="Fault to put in, openly.")
@click.option("--hide", default=0, metavar="N", help="Faults to put in and not to tell.")
@click.option(
    "--hide-kind", type=click.Choice(["swap", "open"]), help="Hide only exchanged, or open, cores."
)
@click.option("--seed", default=0, help="Which faults are hidden, and how contacts bounce.")
@json_option
def twin(  # one argument an option
    cell: str,
    modbus: str,
    opcua: str,
    user: str,
    certificate: str,
    trust: tuple[str, ...],
    item: str,
    key: str,
    security: str | None,
    fault: tuple[str, ...],
    hide: int,
    hide_kind: str | None,
    seed: int,
    as_json: bool,
) -> None:
    """Stand in for the controller: serve the solved cell, to practise on.

    CELL is the cell file. Type `S1 pressed` to operate it, `show` for the inputs, `reveal` for
    what was hidden, `quit` to end.
    """
    from ringout import run
    from ringout.live import PortError
    from ringout.live.enter import KINDS

    loaded = run.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    if not (modbus or opcua or loaded.cell.links):
        modbus = "127.0.0.1:1502"
    wanted = Wanted(item, modbus, opcua, security or "", user, certificate, key)
    links = links_of(loaded.cell, wanted)
    chosen = _faults(loaded.cell, links, fault, hide, KINDS[hide_kind or ""], seed)
    try:
        entries = [_entry(link, user, certificate, key, trust) for link in links]
        asyncio.run(_serve(loaded.cell, links, entries, chosen, seed, as_json=as_json))
    except PortError as error:
        told(error)
    except OSError as error:
        stop(f"the address cannot be served: {error.strerror or error}", "choose another port")
    except KeyboardInterrupt:
        pass


def _entry(
    link: Link, user: str, certificate: str, key: str, trust: tuple[str, ...]
) -> Entry | None:
    """Return who is let in at a link; None over Modbus TCP, which lets anybody in."""
    from ringout.live.enter import PASSPHRASE, PASSWORD
    from ringout.live.keys import key_is_locked, read_certificate, read_pair
    from ringout.live.serve import Entry

    if link.protocol == "modbus":
        if user or certificate or trust:
            stop("Modbus TCP protects nothing", "use --opcua URL")
        return None
    pair = None
    if link.access.security != "none":
        if not certificate:
            stop(
                f"{link.item} is to be served with `security: {link.access.security}`",
                "give the twin's own --certificate and --key; `ringout certificate` makes them",
            )
        locked = key_is_locked(key)
        word = secret(PASSPHRASE, link.item, f"passphrase of {key}") if locked else ""
        pair = read_pair(certificate, key, word)
    name = user or link.access.user
    users = (
        {name: secret(PASSWORD, link.item, f"password of {name} at {link.item}")} if name else {}
    )
    return Entry(pair, tuple(read_certificate(t) for t in trust), users)


def _faults(
    cell: Cell,
    links: list[Link],
    names: tuple[str, ...],
    hide: int,
    kinds: tuple[str, ...],
    seed: int,
) -> list[Any]:
    """Return the faults to put in: those named, and some drawn by lot that inputs can show."""
    from ringout.circuit.compile import compile_circuit
    from ringout.circuit.faults import find_fault, single_faults
    from ringout.live.enter import drawn_by_lot

    every = single_faults(compile_circuit(cell))
    chosen = []
    for name in names:
        found = find_fault(every, name)
        if found is None:
            stop(f"there is no fault `{name}`", "`ringout faults` lists them")
        chosen.append(found)
    served = {link.item for link in links}
    return [*chosen, *drawn_by_lot(cell, every, served, hide, kinds, seed)]


async def _serve(
    cell: Cell,
    links: list[Link],
    entries: list[Entry | None],
    faults: list[Any],
    seed: int,
    *,
    as_json: bool,
) -> None:
    from ringout.live import Twin
    from ringout.live.serve import run_twin, server_of

    machine = Twin(cell, faults, seed=seed)
    servers: list[TwinServer] = [
        server_of(machine, link, entry) for link, entry in zip(links, entries, strict=True)
    ]
    for server in servers:
        await server.start()
        served = {"item": server.link.item, "target": server.link.target}
        said = f"{served['item']} is served at {served['target']}"
        click.echo(json.dumps(served) if as_json else said)
    stopping = asyncio.Event()
    task = asyncio.create_task(run_twin(machine, servers, stopping))
    loop = asyncio.get_running_loop()
    try:
        while True:
            line = await loop.run_in_executor(None, sys.stdin.readline)
            if not line or line.strip() == "quit":
                break
            _operate(cell, machine, faults, line.strip(), as_json=as_json)
    finally:
        stopping.set()
        await task
        for server in servers:
            await server.stop()


def _operate(cell: Cell, machine: Any, faults: list[Any], line: str, *, as_json: bool) -> None:
    from ringout.cell.ask import resolve_state

    if not line:
        return
    if line == "show":
        on = [f"{i}.{c}" for (i, c), level in machine.levels.items() if level]
        click.echo(json.dumps({"on": on}) if as_json else f"on: {', '.join(on) or 'nothing'}")
    elif line == "reveal":
        said = "; ".join(f.text for f in faults) or "nothing is hidden"
        click.echo(json.dumps({"faults": [f.id for f in faults]}) if as_json else said)
    else:
        state, problems = resolve_state(cell, line)
        say_problems(problems, asked=line)
        for actor, position in state.items():
            machine.move(actor, position)


@click.command()
@click.argument("file", metavar="FILE", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--of", "url", default="", metavar="URL", help="Fetch the one this server shows.")
@click.option("--name", default="", help="Whom it is made out to; the file's name if not given.")
@click.option("--days", default=365, show_default=True, help="How long it holds.")
@click.option("--lock", is_flag=True, help="Lock the private key with a passphrase.")
@json_option
def certificate(file: Path, url: str, name: str, days: int, lock: bool, as_json: bool) -> None:
    """Make a certificate and its private key for OPC UA, or fetch a controller's.

    FILE is where the certificate goes; its key goes beside it, as NAME-key.pem. A fetched one is
    vouched for by nobody: compare its fingerprint with what the controller itself shows.
    """
    from cryptography.hazmat.primitives.serialization import Encoding

    from ringout.live import PortError
    from ringout.live.enter import PASSPHRASE
    from ringout.live.keys import fingerprint, make_pair, write_pair
    from ringout.live.opcua import certificate_of

    key = file.with_name(f"{file.stem}-key.pem")
    try:
        if url:
            shown = asyncio.run(certificate_of(url))
            file.write_bytes(shown.public_bytes(Encoding.PEM))
        else:
            word = secret(PASSPHRASE, "", f"new passphrase of {key}") if lock else ""
            pair = make_pair(name or file.stem, days)
            write_pair(pair, file, key, word)
            shown = pair.certificate
    except PortError as error:
        told(error)
    except FileExistsError:
        stop(f"{key} is there already", "a key is never written over: choose another name")
    except OSError as error:
        stop(f"{file} cannot be written: {error.strerror or error}", "choose another place")
    answer = {
        "certificate": str(file),
        "key": "" if url else str(key),
        "sha256": fingerprint(shown),
        "until": f"{shown.not_valid_after_utc:%Y-%m-%d}",
    }
    if as_json:
        say_json(answer)
        return
    click.echo(f"{file}, good until {answer['until']}")
    if not url:
        click.echo(f"{key}: the private key; it stays here, readable by you alone")
    click.echo(f"SHA-256 {answer['sha256']}")
    if url:
        click.echo("Compare this with what the controller itself shows before you trust it.")
