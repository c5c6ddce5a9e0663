"""The commands at the machine: watch the real inputs, and a stand-in to practise on."""

from __future__ import annotations

import asyncio
import json
import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from ringout.cli.common import cell_argument, json_option, say_problems, stop_if_unusable
from ringout.cli.records_enter import db_option
from ringout.cli.records_live import Keep, recorded

if TYPE_CHECKING:
    from ringout.cell.model import Cell, Link
    from ringout.live import Event, Poller, PortError
    from ringout.live.serve import TwinServer

_CAUTION = (
    "Outputs will be commanded: valves, grippers and conveyors may move. Keep everybody clear, "
    "and be ready to stop."
)


def _links(cell: Cell, item: str, modbus: str, opcua: str) -> list[Link]:
    """Return the links to use: those of the file, or one controller at another address."""
    from ringout.cell.links import modbus_target

    links = dict(cell.links)
    if item and item not in cell.items:
        _stop(f"there is no item {item}", f"controllers: {', '.join(_controllers(cell))}")
    if modbus or opcua:
        name = item or next(iter(links), "") or next(iter(_controllers(cell)), "")
        if not name:
            _stop("the cell has no controller", "add one to `items`")
        target = modbus_target(modbus) if modbus else opcua
        if target is None:
            _stop(f"`{modbus}` is no address", "write `--modbus HOST:PORT`")
        base = links.get(name) or _plain_link(cell, name, "modbus" if modbus else "opcua")
        return [replace(base, protocol="modbus" if modbus else "opcua", target=str(target))]
    if item:
        links = {k: v for k, v in links.items() if k == item}
    if not links:
        _stop(
            "the file does not say where a controller is read",
            "add `live:` with `K1: {modbus: robot-k1, inputs: 0}`, or use --modbus HOST:PORT",
        )
    return list(links.values())


def _controllers(cell: Cell) -> list[str]:
    return [n for n, i in cell.items.items() if i.part.channels]


def _plain_link(cell: Cell, name: str, protocol: str) -> Link:
    """Return the usual places: inputs and outputs each numbered on from 0."""
    from ringout.cell.model import Link

    item = cell.items[name]
    places: dict[str, int | str] = {}
    for kind in ("input", "output"):
        names = [n for n, c in item.part.channels.items() if c.kind == kind]
        places.update(
            {n: f"ns=2;s={name}.{n}" if protocol == "opcua" else k for k, n in enumerate(names)}
        )
    return Link(name, protocol, "", 1, "discrete", places, item.span)


def _stop(message: str, fix: str) -> Any:
    click.echo(f"{message}\n  fix: {fix}", err=True)
    sys.exit(2)


def _told(error: PortError) -> Any:
    _stop(error.message, error.cure or "try again")


@click.command()
@cell_argument
@click.option("--item", default="", help="Only this controller.")
@click.option("--modbus", default="", metavar="HOST:PORT", help="Modbus TCP server to read.")
@click.option("--opcua", default="", metavar="URL", help="OPC UA server to read.")
@click.option("--cycle", default=20.0, show_default=True, help="Milliseconds between two polls.")
@click.option("--seconds", default=0.0, help="End after this time; 0: until stopped.")
@click.option("--checkout", "guided", is_flag=True, help="Ask for one action after the other.")
@click.option("--record", "who", default="", metavar="NAME", help="With --checkout: store it.")
@db_option
@click.option("--user", default="", help="User for OPC UA; the password is asked for.")
@click.option("--certificate", default="", metavar="FILE", help="Certificate for OPC UA.")
@click.option("--key", default="", metavar="FILE", help="Its private key.")
@click.option("--allow-outputs", is_flag=True, help="Also command outputs, after a confirmation.")
@json_option
def watch(  # one argument an option
    cell: str,
    item: str,
    modbus: str,
    opcua: str,
    cycle: float,
    seconds: float,
    guided: bool,
    who: str,
    db: str,
    user: str,
    certificate: str,
    key: str,
    allow_outputs: bool,
    as_json: bool,
) -> None:
    """Watch the controller's inputs live, or be led through a checkout of them.

    CELL is the cell file. It only reads, unless --allow-outputs is given and confirmed. A standard
    input is never a safety function. Exit code 2: it cannot be reached or read.
    """
    from ringout import run
    from ringout.live import Poller, PortError, port_of

    loaded = run.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    if who and not guided:
        raise click.UsageError("--record goes with --checkout")
    links = _links(loaded.cell, item, modbus, opcua)
    secret = {"user": user, "certificate": certificate, "key": key}
    if user:
        secret["password"] = click.prompt("password", hide_input=True, default="")
    ports = []
    for link in links:
        kinds = loaded.cell.items[link.item].part.channels
        inputs = tuple(c for c in link.places if kinds[c].kind == "input")
        ports.append(port_of(link, inputs, secret))
    if allow_outputs:
        _confirm()
    pollers = [Poller(p, cycle / 1000.0) for p in ports]
    try:
        asyncio.run(_probe(ports))
        if guided:
            with recorded(loaded.cell, cell, who, db, links) as keep:
                asyncio.run(_guided(loaded.cell, pollers, keep))
        else:
            asyncio.run(_watch(loaded.cell, pollers, seconds, as_json=as_json))
        if allow_outputs:
            asyncio.run(_outputs(loaded.cell, links, secret))
    except PortError as error:
        _told(error)
    except KeyboardInterrupt:
        pass
    if loaded.broken:
        say_problems(loaded.problems)
        sys.exit(2)


def _confirm() -> None:
    click.echo(_CAUTION, err=True)
    if click.prompt("Type `all clear` to go on", default="", show_default=False) != "all clear":
        _stop("outputs were not confirmed", "watch without --allow-outputs")


async def _probe(ports: list[Any]) -> None:
    """Read each controller once, so that a wrong address ends the command at once."""
    for port in ports:
        await port.open()
        try:
            await port.read()
        finally:
            await port.close()


def _name(cell: Cell, item: str, channel: str) -> str:
    for signal in cell.signals.values():
        if (signal.item, signal.channel.name) == (item, channel):
            return f"{item}.{channel} {signal.name}"
    return f"{item}.{channel}"


async def _gather(poller: Poller, queue: asyncio.Queue[Event]) -> None:
    async for event in poller.events():
        queue.put_nowait(event)


async def _watch(cell: Cell, pollers: list[Poller], seconds: float, *, as_json: bool) -> None:
    from ringout.live import Change

    queue: asyncio.Queue[Event] = asyncio.Queue()
    tasks = [asyncio.create_task(_gather(p, queue)) for p in pollers]
    loop = asyncio.get_running_loop()
    end = loop.time() + seconds if seconds else float("inf")
    start = loop.time()
    try:
        while loop.time() < end:
            for task in tasks:
                if task.done():
                    task.result()
            try:
                event = await asyncio.wait_for(queue.get(), min(0.2, max(end - loop.time(), 0.01)))
            except TimeoutError:
                continue
            at = event.at_s - start
            if isinstance(event, Change):
                name = _name(cell, event.item, event.channel)
                line = f"{at:9.3f} s  {name} {'on' if event.on else 'off'}"
                data: dict[str, Any] = {
                    "at_s": round(at, 4), "item": event.item, "channel": event.channel,
                    "on": event.on,
                }  # fmt: skip
            else:
                on = [c for c, level in event.levels if level]
                line = f"{at:9.3f} s  {event.text}" + (f"; on: {', '.join(on)}" if on else "")
                data = {"at_s": round(at, 4), "item": event.item, "up": event.up, "on": on}
            click.echo(json.dumps(data) if as_json else line)
    finally:
        for poller in pollers:
            poller.stop()
        await asyncio.wait(tasks, timeout=2)
        for task in tasks:
            task.cancel()
    if not as_json:
        for poller in pollers:
            f = poller.figures
            late = f"{f.late} late" if f.late else "none late"
            click.echo(f"{poller.port.link.item}: {f.polls} polls, {late}, {f.lost} times lost")


async def _guided(cell: Cell, pollers: list[Poller], keep: Keep) -> None:
    """Ask for every action and judge it; what was wrong goes to `find`."""
    from ringout import run
    from ringout.find.words import understand_all
    from ringout.live.actions import LiveCheckout, actions_of
    from ringout.live.judge import RIGHT
    from ringout.report.find_view import find_lines

    queue: asyncio.Queue[Event] = asyncio.Queue()
    tasks = [asyncio.create_task(_gather(p, queue)) for p in pollers]
    wrong: list[str] = []
    done = 0
    try:
        async for action, answer in LiveCheckout(cell, queue, click.echo).run(actions_of(cell)):
            done += 1
            keep(done, answer)
            mark = "right" if answer.verdict == RIGHT else answer.verdict.upper()
            click.echo(f"  {mark}: {answer.text}")
            if answer.verdict != RIGHT:
                wrong += answer.seen
                click.echo(f"  (after {action.actor} {action.position})")
    finally:
        for poller in pollers:
            poller.stop()
        for task in tasks:
            task.cancel()
    click.echo(f"{done} actions")
    if not wrong:
        return
    observations = [o for text in wrong for o in understand_all(cell, text)[0]]
    click.echo("\n".join(find_lines(run.finder(cell).find(observations))))
    sys.exit(1)


async def _outputs(cell: Cell, links: list[Link], secret: dict[str, str]) -> None:
    """Command one output after the other and ask what moved."""
    from ringout.live import port_of

    for link in links:
        port = port_of(link, (), secret)
        await port.open()
        try:
            for signal in cell.signals.values():
                if signal.on is not None or signal.item != link.item:
                    continue
                if signal.channel.name not in link.places:
                    continue
                await port.write(signal.channel.name, on=True)
                try:
                    said = click.prompt(
                        f"{signal.name} is on: does {signal.drives} work, and nothing else? [y/n]",
                        default="n",
                    )
                finally:
                    await port.write(signal.channel.name, on=False)
                click.echo("  right" if said.casefold().startswith("y") else "  WRONG")
        finally:
            await port.close()


@click.command()
@cell_argument
@click.option("--item", default="", help="Controller to stand in for.")
@click.option("--modbus", default="", metavar="HOST:PORT", help="Address to serve Modbus TCP at.")
@click.option("--opcua", default="", metavar="URL", help="URL to serve OPC UA at.")
@click.option("--fault", multiple=True, metavar="ID", help="Fault to put in, openly.")
@click.option("--hide", default=0, metavar="N", help="Faults to put in and not to tell.")
@click.option("--seed", default=0, help="Which faults are hidden, and how contacts bounce.")
@json_option
def twin(  # one argument an option
    cell: str,
    item: str,
    modbus: str,
    opcua: str,
    fault: tuple[str, ...],
    hide: int,
    seed: int,
    as_json: bool,
) -> None:
    """Stand in for the controller: serve the solved cell, to practise on.

    CELL is the cell file. Type `S1 pressed` to operate it, `show` for the inputs, `reveal` for
    what was hidden, `quit` to end.
    """
    from ringout import run

    loaded = run.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    if not (modbus or opcua or loaded.cell.links):
        modbus = "127.0.0.1:1502"
    links = _links(loaded.cell, item, modbus, opcua)
    chosen = _faults(loaded.cell, fault, hide, seed)
    try:
        asyncio.run(_serve(loaded.cell, links, chosen, seed, as_json=as_json))
    except OSError as error:
        _stop(f"the address cannot be served: {error.strerror or error}", "choose another port")
    except KeyboardInterrupt:
        pass


def _faults(cell: Cell, names: tuple[str, ...], hide: int, seed: int) -> list[Any]:
    import random

    from ringout.circuit.compile import compile_circuit
    from ringout.circuit.faults import find_fault, single_faults

    every = single_faults(compile_circuit(cell))
    chosen = []
    for name in names:
        found = find_fault(every, name)
        if found is None:
            _stop(f"there is no fault `{name}`", "`ringout faults` lists them")
        chosen.append(found)
    shown = [f for f in every if f.signals and f.kind in ("swap", "open-landed", "open-cord")]
    chance = random.Random(seed)  # noqa: S311  # an exercise, nothing secret
    return [*chosen, *chance.sample(shown, min(hide, len(shown)))]


async def _serve(
    cell: Cell, links: list[Link], faults: list[Any], seed: int, *, as_json: bool
) -> None:
    from ringout.live import Twin
    from ringout.live.serve import run_twin, server_of

    machine = Twin(cell, faults, seed=seed)
    servers: list[TwinServer] = [server_of(machine, link) for link in links]
    for server in servers:
        await server.start()
        served = {"item": server.link.item, "target": server.link.target}
        said = f"{served['item']} is served at {served['target']}"
        click.echo(json.dumps(served) if as_json else said)
    stop = asyncio.Event()
    task = asyncio.create_task(run_twin(machine, servers, stop))
    loop = asyncio.get_running_loop()
    try:
        while True:
            line = await loop.run_in_executor(None, sys.stdin.readline)
            if not line or line.strip() == "quit":
                break
            _operate(cell, machine, faults, line.strip(), as_json=as_json)
    finally:
        stop.set()
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
        if problems:
            say_problems(problems)
        for actor, position in state.items():
            machine.move(actor, position)
