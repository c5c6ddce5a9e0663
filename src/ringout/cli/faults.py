"""The command that lists every wiring fault and what it would do."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

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

if TYPE_CHECKING:  # the fault model is loaded only when it is asked for
    from ringout.circuit.faults import Fault


@click.command()
@cell_argument
@click.option("--double", is_flag=True, help="Pairs of faults in one neighbourhood instead.")
@click.option("--item", default="", help="Only faults that concern this item.")
@click.option("--cable", default="", help="Only faults that concern this cable.")
@click.option("--signal", default="", help="Only faults of this signal's circuit, or changing it.")
@click.option(
    "--effect",
    type=click.Choice(["harm", "trips", "level", "moves", "latent"]),
    default=None,
    help="Only faults with this effect.",
)
@json_option
def faults(  # one argument an option
    cell: str,
    *,
    double: bool,
    item: str,
    cable: str,
    signal: str,
    effect: str | None,
    as_json: bool,
) -> None:
    """List every plausible wiring fault and what it would do.

    CELL is the cell file. Each fault is put into the circuit and solved in every state of what
    it touches. Exit code 3: some of it could not be solved.
    """
    from ringout import run
    from ringout.base.suggest import hint
    from ringout.report.faults_view import chosen_rows, faults_answer, faults_lines

    loaded = run.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    for name, known, what in (
        (item, list(loaded.cell.items), "item"),
        (cable, list(loaded.cell.cables), "cable"),
        (signal, list(loaded.cell.signals), "signal"),
    ):
        if name and name not in known:
            click.echo(f"there is no {what} {name}: {hint(name, known)}", err=True)
            sys.exit(2)
    bar = None if as_json else progress_bar("solving faults")

    def concerns(fault: Fault) -> bool:
        # of a pair one fault is enough, so pairs are chosen when they are solved
        return double or (
            (not item or item in fault.items) and (not cable or cable in fault.cables)
        )

    table = run.faults(loaded.cell, chosen=concerns, double=double, progress=bar)
    rows = chosen_rows(table, item=item, cable=cable, signal=signal, effect=effect or "")
    if as_json:
        say_json(faults_answer(table, rows))
    else:
        say(faults_lines(table, rows, paint) if sys.stdout.isatty() else faults_lines(table, rows))
    if loaded.broken:
        say_problems(loaded.problems)
        sys.exit(2)
    if table.not_run:
        sys.exit(3)
