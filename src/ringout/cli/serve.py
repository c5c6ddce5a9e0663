"""The command that opens the bench in a browser."""

from __future__ import annotations

import sys

import click

from ringout.cli.common import json_option, say_json
from ringout.cli.records_enter import db_option


@click.command()
@click.argument("cell", metavar="CELL", type=click.Path())
@click.option("--port", type=click.IntRange(0, 65535), default=None, help="Port; 0: any free one.")
@click.option("--no-open", is_flag=True, help="Do not open a browser.")
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="Address to listen on. Any but this machine's own loopback asks for a one-time code.",
)
@db_option
@json_option
def serve(cell: str, *, port: int | None, no_open: bool, host: str, db: str, as_json: bool) -> None:
    """Open the bench: the cell in a local web page, to switch, measure, break and mend.

    CELL is the cell file; one that does not exist yet can be made from the page. A folder of cell
    files gives a page with all of them, and a bench for each. The page is reached from this
    machine alone unless --host says otherwise; then a code is printed here that lets one browser
    in. Stop with Ctrl-C.
    """
    import threading
    import webbrowser

    from ringout.web.serve import run_server, take_place

    try:
        place = take_place(host, port)
    except OSError as problem:
        where = f"{host}:{port}" if port else host
        click.echo(f"cannot listen on {where}: {problem.strerror or problem}", err=True)
        sys.exit(2)
    if as_json:
        say_json({"url": place.url, "file": cell, "closed": place.closed})
    else:
        click.echo(f"the bench is at {place.url}", err=True)
    if not place.closed:
        click.echo("others can reach it: whoever has the code can change the file", err=True)
    if not no_open:
        threading.Timer(0.4, webbrowser.open, [place.url]).start()

    def tell(code: str) -> None:
        if as_json:
            say_json({"code": code})
        else:
            click.echo(f"code for the next browser: {code}", err=True)

    run_server(cell, place, host=host, tell=tell, records=db or None)
