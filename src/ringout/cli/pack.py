"""The command that makes what goes to the cell in a hand: one PDF, and drawings as files."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ringout.cell.model import Cell
from ringout.cli.common import (
    cell_argument,
    json_option,
    progress_bar,
    say,
    say_json,
    say_problems,
    stop_if_unusable,
)
from ringout.cli.records_enter import db_option

if TYPE_CHECKING:  # loaded only when a pack is made
    from ringout.checkout import Checkout
    from ringout.report.pack import Pack, Printed, RecordPage
    from ringout.tables.labels import LabelSize


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What the command line asks for."""

    output: str | None
    only: str | None
    paper: str
    stock: str
    date: str
    checkout: bool | None
    within_s: float | None
    fonts: str | None
    svg: str | None
    dxf: str | None

    @property
    def judged(self) -> bool:
        """Return whether the cell must be judged for it."""
        return self.only != "labels" or bool(self.svg or self.dxf)

    @property
    def walked(self) -> bool:
        """Return whether there is a page for the checkout."""
        return self.output is not None and self.only in (None, "checkout")


def _list_stock(context: click.Context, _parameter: click.Parameter, value: str | None) -> str:
    """Print all label stock and leave, when asked for a list."""
    if value == "list":
        from ringout.tables.labels import label_sizes

        say(f"{s.name:16} {s.width_mm:g} x {s.height_mm:g} mm, {s.note}" for s in label_sizes())
        context.exit()
    return value or ""


@click.command()
@cell_argument
@click.option("-o", "--output", type=click.Path(), help="The PDF to write.")
@click.option(
    "--only",
    type=click.Choice(["sheets", "labels", "checkout"]),
    default=None,
    help="Only the connection sheets, the labels or the checkout.",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Paper size.",
)
@click.option(
    "--stock",
    callback=_list_stock,
    is_eager=True,
    help="With --only labels: the label stock; `--stock list` names all.",
)
@click.option("--date", type=click.DateTime(["%Y-%m-%d"]), default=None, help="Print this date.")
@click.option(
    "--checkout/--no-checkout",
    "walked",
    default=None,
    help="Work out the checkout, or leave it out; large cells leave it out unless told.",
)
@click.option(
    "--checkout-within",
    "minutes",
    type=click.FloatRange(min=0, min_open=True),
    default=None,
    help="Work out the checkout of a cell of any size, but stop after so many minutes.",
)
@click.option("--fonts", type=click.Path(exists=True), default=None, help="Folder of more fonts.")
@click.option("--svg", "svg_folder", type=click.Path(), help="Also write drawings as SVG here.")
@click.option("--dxf", "dxf_folder", type=click.Path(), help="Also write drawings as DXF here.")
@db_option
@json_option
def pack(
    cell: str,
    *,
    output: str | None,
    only: str | None,
    paper: str,
    stock: str,
    date: datetime | None,
    walked: bool | None,
    minutes: float | None,
    fonts: str | None,
    svg_folder: str | None,
    dxf_folder: str | None,
    db: str,
    as_json: bool,
) -> None:
    """Make the wiring pack: one PDF with drawings, sheets, labels, the checkout and its record.

    CELL is the cell file. The same file gives the same bytes. Exit code 1: the cell has errors,
    and the cover says so; 3: something did not run, and the pack names it.
    """
    day = date.date().isoformat() if date is not None else ""
    limit_s = 60.0 * minutes if minutes is not None else None
    wanted = _Wanted(
        output, only, paper, stock, day, walked, limit_s, fonts, svg_folder, dxf_folder
    )
    size = _size(wanted)
    if output is not None and Path(output).suffix.lower() != ".pdf":
        raise click.UsageError(f"a pack is a PDF: name it `-o {Path(output).stem}.pdf`")
    if output is None and not (svg_folder or dxf_folder):
        raise click.UsageError("name the PDF with `-o FILE.pdf`, or a folder with --svg or --dxf")
    from ringout import run
    from ringout.report.pack import build_pack

    loaded = run.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    judgement = run.prove(cell)[1] if wanted.judged else None
    made, why = _checkout(cell, loaded.cell, wanted)
    kept = _record(loaded.cell, cell, db) if wanted.walked else None
    whole = build_pack(
        loaded.cell,
        judgement,
        made,
        why_no_checkout=why,
        problems=loaded.problems,
        date=wanted.date,
        record=kept,
    )
    printed, written = _print(whole, wanted, size)
    if as_json:
        say_json(_answer(whole, printed, written))
    if loaded.broken:
        say_problems(loaded.problems)
        sys.exit(2)
    skipped = wanted.walked and walked is not False and made is None
    if skipped:
        click.echo(f"no checkout in it: {why}", err=True)
    not_run = bool(
        skipped
        or isinstance(kept, str)
        or (judgement and judgement.not_run)
        or (made and made.not_run)
    )
    if wanted.judged and whole.errors:
        sys.exit(1)
    if not_run:
        sys.exit(3)


def _size(wanted: _Wanted) -> LabelSize:
    """Return the label stock: plain paper within a pack."""
    from ringout.tables.labels import PLAIN, label_size

    named = wanted.stock if wanted.only == "labels" else ""
    try:
        size = label_size(named or PLAIN[wanted.paper])
    except KeyError as problem:
        raise click.UsageError(str(problem.args[0])) from problem
    if size.paper not in ("", wanted.paper):
        raise click.UsageError(f"{size.name} is {size.paper} paper; say `--paper {size.paper}`")
    return size


def _checkout(path: str, cell: Cell, wanted: _Wanted) -> tuple[Checkout | None, str]:
    """Return the checkout, or why there is none; small cells get one unasked."""
    if not wanted.walked or wanted.checkout is False:
        return None, "it was not asked for"
    from ringout import run
    from ringout.circuit.compile import compile_circuit
    from ringout.circuit.faults import single_faults
    from ringout.report.pack import MOST_FAULTS, out_of_time, without_checkout

    show = progress_bar("solving faults")
    if wanted.within_s is not None:
        from ringout.cli.within import checkout_within

        try:
            made, cases = checkout_within(path, wanted.within_s, show)
        except RuntimeError as problem:
            return None, str(problem)
        return made, "" if made is not None else out_of_time(wanted.within_s, cases)
    if not wanted.checkout:
        faults = len(single_faults(compile_circuit(cell)))
        if faults > MOST_FAULTS:
            return None, without_checkout(cell.name, faults, MOST_FAULTS)
    return run.checkout(cell, progress=show), ""


def _record(cell: Cell, path: str, db: str) -> RecordPage | str | None:
    """Return the newest run on record, if any, or why the records could not be read."""
    from ringout.records import StoreError, find_store, paper_record

    try:
        store = find_store(path, db or None, cell=cell.name)
        if store is None:
            return None
        with store:
            return paper_record(store, cell)
    except StoreError as problem:
        click.echo(f"no record: {problem.message}", err=True)
        return problem.message


def _print(whole: Pack, wanted: _Wanted, size: LabelSize) -> tuple[Printed | None, list[str]]:
    """Write everything that is asked for; say what could not be done as wished."""
    from ringout.report.pack import pack_pdf
    from ringout.report.pack.data import too_long
    from ringout.report.pack.files import write_dxf, write_svg
    from ringout.report.sheet_files import check_folder, write_whole

    written: list[str] = []
    printed = None
    output, svg, dxf = wanted.output, wanted.svg, wanted.dxf
    if output is not None:
        try:
            printed = pack_pdf(
                whole, paper=wanted.paper, size=size, only=wanted.only, fonts=wanted.fonts
            )
        except ValueError as problem:
            click.echo(str(problem), err=True)
            sys.exit(3)
        if not printed.archive:
            click.echo(f"no PDF/A: {printed.why_not}; `--fonts FOLDER` may help", err=True)
        for text in too_long(whole, size) if wanted.only in (None, "labels") else ():
            click.echo(f"too long for {size.name}, cut short: {text}", err=True)
        content = printed.content

        def write() -> list[Path]:
            check_folder(Path(output))
            write_whole(Path(output), content)
            return [Path(output)]

        written += _write(output, write)
    if svg is not None:
        written += _write(svg, lambda: write_svg(whole, svg))
    if dxf is not None:
        written += _write(dxf, lambda: write_dxf(whole, dxf))
    return printed, written


def _write(target: str, write: Callable[[], list[Path]]) -> list[str]:
    """Write something; a place that cannot be written ends the command."""
    try:
        files = write()
    except OSError as problem:
        click.echo(f"cannot write {target}: {problem.strerror or problem}", err=True)
        sys.exit(2)
    click.echo(f"wrote {target}", err=True)
    return [str(f) for f in files]


def _answer(whole: Pack, printed: Printed | None, written: list[str]) -> dict[str, Any]:
    return {
        "cell": whole.sheet.cell,
        "revision": whole.sheet.revision,
        "file_hash": whole.sheet.file_hash,
        "ready": whole.ready,
        "files": written,
        "archive": printed.archive if printed is not None else None,
        "signals": [s.name for s in whole.signals],
        "not_run": [{"check": check, "why": told} for check, told in whole.not_run],
    }
