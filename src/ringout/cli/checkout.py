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


@click.command()
@cell_argument
@click.option(
    "--phase",
    type=click.Choice(["dead", "power", "function"]),
    multiple=True,
    help="Only the steps of this phase; their numbers stay.",
)
@json_option
def checkout(cell: str, *, phase: tuple[str, ...], as_json: bool) -> None:
    """Give the shortest procedure that exposes every wiring fault.

    CELL is the cell file. Three phases: dead, power in stages, function. What can do harm is
    exposed before power, or named. Exit code 1: something that can do harm is neither exposed
    before power nor seen by eye; 3: some of it could not be solved.
    """
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
