"""Commands that make something: sheet, parts, schema, new."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import click

from ringout.cli.common import (
    cell_argument,
    json_option,
    say,
    say_json,
    say_problems,
    stop_if_unusable,
)


@click.command()
@cell_argument
@click.option("--csv", "csv_file", type=click.Path(), help="Also write the sheet as CSV.")
@click.option("--xlsx", "xlsx_file", type=click.Path(), help="Also write the sheet as a workbook.")
@click.option(
    "--faces", "faces_folder", type=click.Path(), help="Also write pin faces as SVG here."
)
@click.option(
    "--only",
    type=click.Choice(["connections", "cut", "faces", "io"]),
    default=None,
    help="Print only this part of the sheet.",
)
@json_option
def sheet(
    cell: str,
    *,
    only: str | None,
    csv_file: str | None,
    xlsx_file: str | None,
    faces_folder: str | None,
    as_json: bool,
) -> None:
    """Print the connection sheet: per cable end, core by core, with faces, cut list, I/O list.

    CELL is the cell file.
    """
    from ringout import run
    from ringout.report.sheet import build_sheet, sheet_answer, write_csv, write_faces, write_xlsx
    from ringout.report.sheet_text import part_text, sheet_text

    loaded = run.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    made = build_sheet(loaded.cell)
    for target, write in (
        (csv_file, write_csv),
        (xlsx_file, write_xlsx),
        (faces_folder, write_faces),
    ):
        if target is None:
            continue
        try:
            write(made, target)
        except OSError as problem:
            click.echo(f"cannot write {target}: {problem.strerror or problem}", err=True)
            sys.exit(2)
        click.echo(f"wrote {target}", err=True)
    if as_json:
        say_json(sheet_answer(made))
    else:
        say(sheet_text(made) if only is None else part_text(made, only))
    if loaded.broken:
        say_problems(loaded.problems)
        sys.exit(2)


@click.command()
@click.argument("name", required=False)
@click.option(
    "--beside", type=click.Path(), default="", help="Cell file whose own parts count too."
)
@json_option
def parts(name: str | None, *, beside: str, as_json: bool) -> None:
    """List the part library, or explain one part.

    NAME is a part: its terminals, inside, values, sources, typical use and usual mistakes; or a
    word, such as pnp, that parts have in their name or title.
    """
    from ringout.base.suggest import did_you_mean
    from ringout.cell.catalogue import load_part, part_file, part_names
    from ringout.report.parts_view import (
        catalogue_answer,
        catalogue_lines,
        matching,
        part_answer,
        part_lines,
    )

    folder = str(Path(beside).parent) if beside else ""
    if name is None:
        if as_json:
            say_json(catalogue_answer(folder))
        else:
            say(catalogue_lines(folder))
        return
    path = part_file(name, folder)
    near = did_you_mean(name, part_names(folder)) if path is None else None
    found = matching(name, folder) if path is None else []
    # a whole name mistyped is no word to look for
    if found and not (near is not None and "-" in name):
        click.echo(f"no part is called `{name}`; these have it in name or title:", err=True)
        if as_json:
            say_json(catalogue_answer(folder, found))
        else:
            say(catalogue_lines(folder, found))
        return
    if path is None:
        hint = f"did you mean `{near}`?" if near else "`ringout parts` lists them all"
        click.echo(f"there is no part `{name}`: {hint}", err=True)
        sys.exit(2)
    part, problems = load_part(path)
    if part is None or problems:
        say_problems(problems)
    if part is None:
        sys.exit(2)
    if as_json:
        say_json(part_answer(part))
    else:
        say(part_lines(part))


@click.command()
@json_option
def schema(*, as_json: bool) -> None:
    """Print the JSON Schema of the cell file, for editors that check while you type."""
    from ringout.cellfile.schema import json_schema

    del as_json  # the answer is JSON either way
    click.echo(json.dumps(json_schema(), indent=1))


STARTER = """\
# A first cell: one button, one sensor, one lamp. `ringout prove` this file, then change it.
cell: My first cell
revision: A
ambient: 10..40 °C

items:
  T1: supply-24v-5a
  F1: {part: electronic-breaker-1ch, set: 2 A}
  K1: {part: io-panel-16x16, note: robot controller}
  S1: {part: pushbutton-1no-gold, note: start}
  B1: {part: inductive-pnp-no, note: part in place}

cables:
  W0: {part: cable-2x1.5, length: 0.5 m}
  W1: {part: cable-2x1.0, length: 2 m}
  W2: {part: cable-4x0.34, length: 5 m}
  W3: {part: cordset-m12-4, length: 5 m}

joins:
  - T1:+   W0:BN  F1:in+
  - T1:-   W0:BU  F1:in-
  - F1:out W1:BN  K1-XS:1
  - F1:m   W1:BU  K1-XS:2
  - S1:13  W2:BN  K1-X1:1
  - S1:14  W2:BK  K1-X1:4
  - B1     W3     K1-X2

signals:
  start:         {channel: K1.I1, on: S1 pressed}
  part_in_place: {channel: K1.I2, on: B1 target}

expect:
  - K1-X1:4 to K1-X1:3 is 20..25 V while S1 pressed
"""


@click.command()
@click.argument("file", type=click.Path())
@json_option
def new(file: str, *, as_json: bool) -> None:
    """Write a small starter cell to begin from.

    FILE is the file to make; one that exists is never overwritten.
    """
    path = Path(file)
    try:
        with path.open("x", encoding="utf-8", newline="\n") as out:
            out.write(STARTER)
    except FileExistsError:
        click.echo(f"{file} exists already; name another file", err=True)
        sys.exit(2)
    except OSError as problem:
        click.echo(f"cannot write {file}: {problem.strerror or problem}", err=True)
        sys.exit(2)
    if as_json:
        say_json({"file": file})
    else:
        click.echo(f"wrote {file}; now: ringout prove {file}")
