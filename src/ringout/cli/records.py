"""The commands for what was done at the cell: list, show, verify, export, add to it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ringout.cli.common import (
    cell_argument,
    json_option,
    paint,
    progress_bar,
    say,
    say_json,
    stop_if_unusable,
)
from ringout.cli.records_enter import db_option, enter, plainly

if TYPE_CHECKING:
    from collections.abc import Iterator

    from ringout.records import Store


def _painter() -> Callable[[str, str], str]:
    from ringout.report.prove_text import plain

    return paint if sys.stdout.isatty() else plain


@contextmanager
def _records(cell: str, db: str) -> Iterator[tuple[str, Store | None]]:
    """Yield a cell's name and its records, None where there are none; trouble ends plainly."""
    from ringout.records import find_store, name_of

    with plainly():
        name = name_of(cell)
        store = find_store(cell, db or None, cell=name)
        if store is None:
            yield name, None
            return
        with store:
            yield name, store


@click.group()
def records() -> None:
    """Keep what was done at the cell: runs, readings, remarks, photos, each chained by hash.

    Records lie in `.ringout/records.db` beside the cell file, or in a PostgreSQL database
    (--db URL, or the variable RINGOUT_DB).
    """


@records.command("list")
@cell_argument
@db_option
@json_option
def list_(cell: str, db: str, *, as_json: bool) -> None:
    """List the runs of a cell and how far each is.

    CELL is the cell file.
    """
    from ringout.records.model import Head
    from ringout.records.view import head_json, list_lines, run_json

    with _records(cell, db) as (name, store):
        states = store.runs() if store is not None else ()
        head = store.head() if store is not None else Head(0, "")
    if as_json:
        say_json({"cell": name, "runs": [run_json(s) for s in states], **head_json(head)})
    else:
        say(list_lines(name, states, head, _painter()))


@records.command()
@cell_argument
@click.option("--run", default=0, metavar="N", help="Which run; the newest unless given.")
@db_option
@json_option
def show(cell: str, run: int, db: str, *, as_json: bool) -> None:
    """Show one run: its steps with all readings, its remarks and photos.

    CELL is the cell file.
    """
    from ringout.records.view import (
        head_json,
        photo_json,
        remark_json,
        run_json,
        show_lines,
        state_json,
    )

    with _records(cell, db) as (name, store):
        newest = store.last_run() if store is not None else None
        if store is None or newest is None:
            _nothing(name, as_json=as_json)
            return
        state = store.state_of(run) if run else newest
        steps = store.steps_of(state.run.number)
        places = (0, state.run.number)
        remarks = [r for r in store.remarks() if r.run in places]
        photos = [p for p in store.photos() if p.run in places]
        head = store.head()
    if as_json:
        say_json(
            {
                "cell": store.cell,
                **run_json(state),
                "steps": [state_json(s) for s in steps],
                "remarks": [remark_json(r) for r in remarks],
                "photos": [photo_json(p) for p in photos],
                **head_json(head),
            }
        )
    else:
        say(show_lines(store.cell, state, steps, remarks, photos, _painter()))


def _nothing(name: str, *, as_json: bool) -> None:
    from ringout.records.view import NONE_YET

    if as_json:
        say_json({"cell": name, "run": None})
    else:
        click.echo(NONE_YET.format(name))


@records.command()
@cell_argument
@click.option("--head", default="", metavar="HASH", help="A hash printed earlier: is it there?")
@db_option
@json_option
def verify(cell: str, head: str, db: str, *, as_json: bool) -> None:
    """Read all records again and say whether each is as it was written.

    CELL is the cell file. Give --head with the hash of an older print or export: records cut off
    at the end show only against it. Exit code 1: something was changed, deleted or added.
    """
    from ringout.records import Broken, Verified
    from ringout.records.view import verified_json, verified_lines

    with _records(cell, db) as (name, store):
        if store is not None:
            found = store.verify(head)
        else:
            gone = Broken(0, "cut", "there is no database with records, so this hash is nowhere")
            found = Verified(name, 0, "", (gone,) if head else (), ())
    if as_json:
        say_json(verified_json(found))
    else:
        say(verified_lines(found, _painter()))
    if not found.holds:
        sys.exit(1)


@records.command()
@cell_argument
@click.option("-o", "--output", required=True, type=click.Path(), help="The CSV file to write.")
@click.option("--run", default=0, metavar="N", help="Only this run; all unless given.")
@click.option("--photos", "folder", type=click.Path(), help="Also write the photos here.")
@db_option
@json_option
def export(cell: str, output: str, run: int, folder: str | None, db: str, *, as_json: bool) -> None:
    """Write the records as CSV, one line a reading; its last line is the end of the chain.

    CELL is the cell file.
    """
    from ringout.records import export_csv
    from ringout.records.view import head_json, head_line
    from ringout.report.sheet_files import write_whole

    with _records(cell, db) as (_, store):
        if store is None:
            click.echo("there are no records to export", err=True)
            sys.exit(2)
        head = store.head()
        files = [(Path(output), export_csv(store, run or None))]
        if folder:
            # named by hash: two photos never meet, and no name of a person's file is trusted
            files += [
                (Path(folder) / f"{p.digest}.{p.kind}", store.picture(p.digest))
                for p in store.photos(run or None)
            ]
        try:
            for path, content in files:
                write_whole(path, content)
        except OSError as problem:
            click.echo(f"cannot write {output}: {problem.strerror or problem}", err=True)
            sys.exit(2)
    if as_json:
        say_json({"cell": store.cell, "files": [str(p) for p, _ in files], **head_json(head)})
    else:
        say([*(f"wrote {p}" for p, _ in files), head_line(head)])


who_option = click.option("--who", required=True, metavar="NAME", help="Who says so.")
run_option = click.option("--run", default=0, metavar="N", help="The run it belongs to.")
step_option = click.option("--step", default=0, metavar="N", help="The step it belongs to.")


@records.command()
@cell_argument
@click.argument("text")
@who_option
@run_option
@step_option
@db_option
@json_option
def remark(cell: str, text: str, who: str, run: int, step: int, db: str, *, as_json: bool) -> None:
    """Add words about the cell, a run or a step.

    CELL is the cell file, TEXT what to say.
    """
    from ringout.records import open_store
    from ringout.records.view import remark_json

    with plainly(), open_store(cell, db or None) as store:
        made = store.add_remark(text, who=who, run=run, step=step)
    if as_json:
        say_json(remark_json(made))
    else:
        click.echo(f"stored as record {made.record}")


@records.command()
@cell_argument
@click.argument("picture", type=click.Path())
@who_option
@run_option
@step_option
@click.option("--text", default="", help="What it shows.")
@db_option
@json_option
def photo(
    cell: str, picture: str, who: str, run: int, step: int, text: str, db: str, *, as_json: bool
) -> None:
    """Add a photo; its bytes are kept with the records.

    CELL is the cell file, PICTURE a JPEG, PNG, WebP or HEIC file.
    """
    from ringout.records import open_store
    from ringout.records.picture import MOST_BYTES
    from ringout.records.view import photo_json

    try:
        with Path(picture).open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as problem:
        click.echo(f"cannot read {picture}: {problem.strerror or problem}", err=True)
        sys.exit(2)
    with plainly(), open_store(cell, db or None) as store:
        made = store.add_photo(content, who=who, name=picture, text=text, run=run, step=step)
    if as_json:
        say_json(photo_json(made))
    else:
        click.echo(f"stored as record {made.record}, {made.digest[:12]}")


@records.command()
@cell_argument
@db_option
@json_option
def changes(cell: str, db: str, *, as_json: bool) -> None:
    """Say what changed in the file since the last passed checkout, and what to do again.

    CELL is the cell file. `ringout records enter CELL --changed` then leads through those steps.
    Exit code 1: steps are to be done; 3: some of it could not be solved.
    """
    from ringout import run as stages
    from ringout.records import changes_of
    from ringout.records.view import changes_json, changes_lines

    loaded = stages.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    with _records(cell, db) as (name, store):
        found = changes_of(store, loaded.cell, progress_bar("solving faults"))
    if as_json:
        say_json(changes_json(name, found))
    else:
        say(changes_lines(name, found, _painter()))
    if found.checkout is not None and found.checkout.not_run:
        sys.exit(3)
    if found.again:
        sys.exit(1)


@records.command()
@click.argument("folder", type=click.Path())
@click.option("--judged/--not-judged", default=True, help="Prove each cell, or leave that out.")
@db_option
@json_option
def cells(folder: str, db: str, *, judged: bool, as_json: bool) -> None:
    """List the cell files of a folder: verdict, last run, open steps.

    FOLDER is the folder. Exit code 1: a cell has errors, or a step of its newest run is wrong.
    """
    from ringout.records import cells_in
    from ringout.records.view import cells_lines, entry_json

    with plainly():
        found = cells_in(folder, db or None, judged=judged)
    if as_json:
        say_json({"folder": folder, "cells": [entry_json(e) for e in found]})
    else:
        say(cells_lines(found, _painter()))
    if any(e.problems or e.wrong for e in found):
        sys.exit(1)


records.add_command(enter)
