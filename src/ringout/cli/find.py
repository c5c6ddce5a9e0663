"""The command that names the culprit from what was seen."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ringout.cli.common import (
    cell_argument,
    json_option,
    paint,
    say,
    say_json,
    say_problems,
    stop_if_unclear,
    stop_if_unusable,
)

if TYPE_CHECKING:
    from ringout.base import Diagnostic
    from ringout.cell.model import Cell
    from ringout.find import Finder, Observation

_ASK = "seen"
_BEFORE = "Did it work before, wired as it is now?"
_HELP = (
    "One observation a line, as in `start_lidding off while S1 pressed`, "
    "`K1-X1:4 to K1-X1:3 = 0.4 V`, `lamp of B6 on`.\n"
    "`list` shows them, `drop 2` takes one back, an empty line ends."
)


@click.command()
@cell_argument
@click.option("--seen", multiple=True, metavar="SENTENCE", help="What was seen; once for each.")
@click.option(
    "--file", "source", metavar="FILE", help="Observations from a file, one a line; - for input."
)
@json_option
def find(cell: str, *, seen: tuple[str, ...], source: str | None, as_json: bool) -> None:
    """Name the culprit from what was seen, and the next measurement.

    CELL is the cell file. Without --seen and --file it asks, one observation after the other;
    an empty line ends it. Say `it worked before` where it did: mistakes of assembly then come last.
    Measuring live wiring is dangerous: use a meter rated for it, keep to local codes.
    """
    from ringout import run
    from ringout.find.words import understand_all, understand_file
    from ringout.report.find_view import find_answer, find_lines

    loaded = run.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    observations: list[Observation] = []
    problems: list[Diagnostic] = []
    wrong = []
    for text in seen:
        found, more = understand_all(loaded.cell, text)
        observations += found
        wrong.append((text, more))
    stop_if_unclear(wrong)
    if source is not None:
        text = _read(source)
        found, more = understand_file(loaded.cell, text)
        observations += found
        problems += more
    if problems:
        say_problems(problems)
        sys.exit(2)
    finder = run.finder(loaded.cell)
    if not observations:
        if seen or source is not None or as_json or not sys.stdin.isatty():
            click.echo("nothing was seen: add --seen, as in `start_lidding off`", err=True)
            sys.exit(2)
        converse(finder, loaded.cell)
        return
    answer = finder.find(observations)
    if as_json:
        say_json(find_answer(answer))
    else:
        say(find_lines(answer, paint) if sys.stdout.isatty() else find_lines(answer))
    if loaded.broken:
        say_problems(loaded.problems)
        sys.exit(2)


def _read(source: str) -> str:
    try:
        if source == "-":
            return sys.stdin.read()
        return Path(source).read_text("utf-8", errors="replace")
    except OSError as error:
        click.echo(f"{source} cannot be read: {error.strerror}", err=True)
        sys.exit(2)


def converse(finder: Finder, cell: Cell) -> None:
    """Ask for observations until an empty line; answer after each."""
    from ringout.find.words import understand_all
    from ringout.find.words.history import worked_before
    from ringout.report.find_view import find_lines

    click.echo(_HELP)
    observations: list[Observation] = []
    try:
        if click.confirm(_BEFORE, default=False):
            observations.append(worked_before())
    except (click.Abort, EOFError):
        click.echo()
        return
    while True:
        try:
            text = click.prompt(_ASK, default="", show_default=False).strip()
        except (click.Abort, EOFError):
            click.echo()
            return
        if not text:
            return
        word, _, rest = text.partition(" ")
        if word == "list" and not rest:
            say(f"  {n}  {o.understood}" for n, o in enumerate(observations, 1))
            continue
        if word == "drop" and rest.isdecimal() and 0 < int(rest) <= len(observations):
            click.echo(f"taken back: {observations.pop(int(rest) - 1).understood}")
        else:
            found, problems = understand_all(cell, text)
            say_problems(problems, asked=text)
            observations += found
            if not found:
                continue
        if observations:
            say(find_lines(finder.find(observations), paint))
