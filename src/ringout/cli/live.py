"""Watch the controller's real inputs, or be led through a checkout of them."""

from __future__ import annotations

import asyncio
import json
import sys
from typing import TYPE_CHECKING, Any

import click

from ringout.cli.common import cell_argument, json_option, say_problems, stop_if_unusable
from ringout.cli.reach import (
    Wanted,
    links_of,
    ports_of,
    reach_options,
    stop,
    told,
)
from ringout.cli.records_enter import db_option
from ringout.cli.records_live import Keep, recorded

if TYPE_CHECKING:
    from ringout.cell.model import Cell
    from ringout.live import Feed, Port
    from ringout.live.actions import Action, Doubt
    from ringout.live.judge import Answer

_CAUTION = (
    "Outputs will be commanded: valves, grippers and conveyors may move. Keep everybody clear, "
    "and be ready to stop."
)


@click.command()
@cell_argument
@click.option("--modbus", default="", metavar="HOST:PORT", help="Modbus TCP server to read.")
@click.option("--opcua", default="", metavar="URL", help="OPC UA server to read.")
@click.option("--cycle", default=20.0, show_default=True, help="Milliseconds between two polls.")
@click.option("--seconds", default=0.0, help="End after this time; 0: until stopped.")
@click.option("--checkout", "guided", is_flag=True, help="Ask for one action after the other.")
@click.option("--record", "who", default="", metavar="NAME", help="With --checkout: store it.")
@db_option
@click.option("--wait", default=30.0, show_default=True, help="Seconds to wait for an action.")
@click.option("--user", default="", help="User for OPC UA; RINGOUT_PASSWORD, or it is asked for.")
@click.option("--certificate", default="", metavar="FILE", help="Our certificate for OPC UA.")
@click.option("--trust", default="", metavar="FILE", help="Certificate the server must show.")
@reach_options
@click.option("--allow-outputs", is_flag=True, help="Also command outputs, after a confirmation.")
@json_option
def watch(  # one argument an option
    cell: str,
    modbus: str,
    opcua: str,
    cycle: float,
    seconds: float,
    guided: bool,
    who: str,
    db: str,
    wait: float,
    user: str,
    certificate: str,
    trust: str,
    item: str,
    key: str,
    security: str | None,
    allow_outputs: bool,
    as_json: bool,
) -> None:
    """Watch the controller's inputs live, or be led through a checkout of them.

    CELL is the cell file. It only reads, unless --allow-outputs is given and confirmed. A standard
    input is never a safety function. Exit code 2: it cannot be reached or read.
    """
    from ringout import run
    from ringout.live import Feed, Poller, PortError
    from ringout.live.actions import actions_of

    loaded = run.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    if who and not guided:
        raise click.UsageError("--record goes with --checkout")
    wanted = Wanted(item, modbus, opcua, security or "", user, certificate, key, trust)
    links = links_of(loaded.cell, wanted)
    if not cycle > 0:
        stop(f"a cycle of {cycle:g} ms cannot be", "write `--cycle 20`")
    ports = ports_of(loaded.cell, links)
    if allow_outputs:
        _confirm()
    feed = Feed(loaded.cell, [Poller(p, cycle / 1000.0) for p in ports])
    clean = True
    try:
        asyncio.run(_probe(ports))
        if guided:
            actions = list(actions_of(loaded.cell, feed.watcher.watched))
            with recorded(loaded.cell, cell, who, db, links, actions) as keep:
                clean = asyncio.run(_guided(feed, actions, wait_s=wait, as_json=as_json, keep=keep))
        else:
            asyncio.run(_watch(feed, seconds, as_json=as_json))
    except PortError as error:
        told(error)
    except KeyboardInterrupt:
        pass
    if not as_json:
        _sum_up(feed, guided=guided)
    if allow_outputs:
        _command(loaded.cell, ports)
    if loaded.broken:
        say_problems(loaded.problems)
        sys.exit(2)
    if not clean:
        sys.exit(1)


def _command(cell: Cell, ports: list[Port]) -> None:
    from ringout.live import PortError

    try:
        asyncio.run(_outputs(cell, ports))
    except PortError as error:
        told(error)


def _confirm() -> None:
    click.echo(_CAUTION, err=True)
    if click.prompt("Type `all clear` to go on", default="", show_default=False) != "all clear":
        stop("outputs were not confirmed", "watch without --allow-outputs")


async def _probe(ports: list[Port]) -> None:
    """Read each controller once, so that a wrong address ends the command at once."""
    for port in ports:
        await port.open()
        try:
            await port.read()
        finally:
            await port.close()


async def _watch(feed: Feed, seconds: float, *, as_json: bool) -> None:
    from ringout.live.tell import Teller

    async with feed:
        teller = Teller(feed.cell, feed.begin_s)
        async for event in feed.events(seconds):
            for line in [json.dumps(teller.json(event))] if as_json else teller.lines(event):
                click.echo(line)


def _sum_up(feed: Feed, *, guided: bool) -> None:
    for poller in feed.pollers:
        f = poller.figures
        late = f"{f.late} late" if f.late else "none late"
        gap = f"longest gap {f.gap_s * 1000:.0f} ms"
        click.echo(f"{poller.port.link.item}: {f.polls} polls, {late}, {gap}, {f.lost} times lost")
    still = feed.watcher.unmoved()
    if still and not guided:
        click.echo(f"not seen to move: {', '.join(still)}")


async def _guided(
    feed: Feed, actions: list[Action], *, wait_s: float, as_json: bool, keep: Keep
) -> bool:
    """Ask for every action and judge it; what was wrong goes to `find`.

    Args:
        feed: where events come from.
        actions: what to ask for.
        wait_s: seconds to wait for each.
        as_json: one JSON object a line instead of words.
        keep: called with the number and the answer of each step.

    Returns:
        Whether all was right.
    """
    from ringout.live.actions import Answered, LiveCheckout
    from ringout.live.tell import Teller, finished

    answers: list[Answer] = []
    doubt = _doubt if sys.stdin.isatty() and not as_json else None
    async with feed:
        teller = Teller(feed.cell, feed.begin_s)
        async for event in LiveCheckout(feed.cell, feed, doubt, wait_s).run(actions):
            if as_json:
                click.echo(json.dumps(teller.json(event)))
            else:
                click.echo(
                    "".join(f"{line}\n" for line in teller.lines(event, guided=True)), nl=False
                )
            if isinstance(event, Answered):
                keep(event.step, event.answer)
                answers.append(event.answer)
    end = finished(answers)
    _conclude(feed.cell, end, as_json=as_json)
    return not end["wrong"]


def _conclude(cell: Cell, end: dict[str, Any], *, as_json: bool) -> None:
    """Print how many actions were wrong, and the culprits that explain it."""
    from ringout import run
    from ringout.find.words import understand_all
    from ringout.report.find_view import find_answer, find_lines

    left = f", {end['left_out']} left out" if end["left_out"] else ""
    if not as_json:
        click.echo(f"{end['actions']} actions, {end['wrong']} wrong{left}")
        if end["seen"]:
            click.echo("Looking for what explains it ...")
    observations = [o for text in end["seen"] for o in understand_all(cell, text)[0]]
    found = run.finder(cell).find(observations) if observations else None
    if as_json:
        click.echo(json.dumps({**end, "find": find_answer(found) if found else None}))
    elif found is not None:
        click.echo("\n".join(find_lines(found)))


async def _doubt(action: Action, answer: Answer) -> Doubt:
    """Ask the person whether an action that moved nothing was done."""
    from ringout.live.actions import Doubt

    del answer
    loop = asyncio.get_running_loop()
    said = await loop.run_in_executor(
        None,
        lambda: click.prompt(
            f"  {action.actor} {action.position}: nothing moved. Was it done? "
            "[y] yes, [a] ask again, [s] leave out",
            type=click.Choice(["y", "a", "s"]),
            show_choices=False,
        ),
    )
    return {"y": Doubt.DONE, "a": Doubt.AGAIN, "s": Doubt.SKIP}[said]


async def _outputs(cell: Cell, ports: list[Port]) -> None:
    """Command one output after the other and ask what moved."""
    for port in ports:
        link = port.link
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
