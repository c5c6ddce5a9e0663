"""The command that gives the procedure to prove a cell's wiring."""

from __future__ import annotations

import sys

import click

from ringout.cli.common import (
    cell_argument,
    json_option,
    paint,
    progress_bar,
    say,
    say_json,
    say_problems,
    stop_if_unusable,
)
from ringout.cli.records_enter import Wanted, db_option, record


@click.command()
@cell_argument
@click.option(
    "--phase",
    type=click.Choice(["dead", "power", "function"]),
    multiple=True,
    help="Only the steps of this phase; their numbers stay.",
)
@click.option("--record", "who", default="", metavar="NAME", help="Work through it and store it.")
@click.option("--meter", default="", metavar="WORDS", help="With --record: which meter.")
@db_option
@json_option
def checkout(
    cell: str, *, phase: tuple[str, ...], who: str, meter: str, db: str, as_json: bool
) -> None:
    """Give the shortest procedure that exposes every wiring fault.

    CELL is the cell file. Three phases: dead, power in stages, function. What can do harm is
    exposed before power, or named. With --record NAME it asks step by step, judges and stores,
    as `ringout records enter` does. Exit code 1: something that can do harm is neither exposed
    before power nor seen by eye; 3: some of it could not be solved.
    """
    if who:
        if phase:
            raise click.UsageError("a record holds the whole procedure; leave out --phase")
        record(cell, db, Wanted(who, meter), as_json=as_json)
        return
    from ringout import run
    from ringout.report.checkout_view import checkout_answer, checkout_lines, numbered

    loaded = run.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    made = run.checkout(loaded.cell, progress=progress_bar("solving faults"))
    steps = numbered(made, phase or ("dead", "power", "function"))
    if as_json:
        say_json(checkout_answer(loaded.cell, made, steps))
    else:
        painter = paint if sys.stdout.isatty() else None
        lines = checkout_lines(loaded.cell, made, steps, *([painter] if painter else []))
        say(lines)
    if loaded.broken:
        say_problems(loaded.problems)
        sys.exit(2)
    if made.not_run:
        sys.exit(3)
    if made.unguarded:
        sys.exit(1)
