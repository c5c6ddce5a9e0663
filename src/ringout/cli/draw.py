"""The command that draws: circuits, cables, maps of terminals, the supply tree, the overview."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ringout.cli.common import (
    cell_argument,
    json_option,
    say_json,
    say_problems,
    stop_if_unclear,
    stop_if_unusable,
)

if TYPE_CHECKING:
    from ringout.cell.model import Cell
    from ringout.circuit.faults import Fault
    from ringout.circuit.model import Circuit
    from ringout.report.drawing import Sheet


@click.command()
@cell_argument
@click.argument("signal", required=False)
@click.option(
    "--while",
    "state",
    default=None,
    help='State to draw, as in "S1 pressed and K1.O1 on"; "" is at rest. Without it: the state '
    "in which the signal is on.",
)
@click.option("--fault", default="", help='A fault to put in, as in "open W1:BK@S1".')
@click.option(
    "-o",
    "--out",
    type=click.Path(),
    default=None,
    help="File (ending in .svg) or folder to write; one drawing alone goes to the screen.",
)
@click.option(
    "--what",
    type=click.Choice(["signal", "supply", "cell", "cables", "maps"]),
    default="signal",
    show_default=True,
    help="Circuit of the signal (of all signals without SIGNAL), supply tree, overview, all cables "
    "with both ends, or the maps of all terminals and splitters.",
)
@click.option("--cable", default="", help="Draw this cable with both its ends, as in W6.")
@click.option("--map", "mapped", default="", help="Draw who is on which pin of this item.")
@json_option
def draw(  # one argument an option
    cell: str,
    signal: str | None,
    *,
    state: str | None,
    fault: str,
    out: str | None,
    what: str,
    cable: str,
    mapped: str,
    as_json: bool,
) -> None:
    """Draw a circuit with what flows in one state, a cable, a map, the supply tree or the cell.

    CELL is the cell file; SIGNAL is one of its signals. Drawings are SVG in millimetres, for A4
    and Letter. Exit code 2: there is no such signal, state, fault, cable or item.
    """
    from ringout import run
    from ringout.cell.ask import resolve_state

    loaded = run.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    if signal is not None and signal not in loaded.cell.signals:
        _stop_unknown("signal", signal, list(loaded.cell.signals))
    positions, problems = (None, []) if state is None else resolve_state(loaded.cell, state)
    stop_if_unclear([(state or "", problems)])
    if cable or mapped:
        sheets = _one(loaded.cell, cable, mapped)
    else:
        sheets = _sheets(loaded.cell, signal, positions, fault, what)
    files = _write(sheets, out) if out is not None else []
    if as_json:
        say_json(_answer(loaded.cell.name, sheets, files))
    elif out is not None:
        for file in files:
            click.echo(f"wrote {file}", err=True)
    elif len(sheets) == 1:
        click.echo(sheets[0].svg, nl=False)
    elif not sheets:
        click.echo("there is nothing of that kind in the cell: nothing to draw", err=True)
        sys.exit(2)
    else:
        click.echo(f"{len(sheets)} drawings: name a folder with -o", err=True)
        sys.exit(2)
    if loaded.broken:
        say_problems(loaded.problems)
        sys.exit(2)


def _sheets(
    cell: Cell, signal: str | None, state: dict[str, str] | None, fault: str, what: str
) -> list[Sheet]:
    from ringout.circuit.compile import compile_circuit
    from ringout.report.drawing import draw_overview, draw_signal, draw_supply, mapped_items

    if what == "cell":
        return list(draw_overview(cell))
    if what == "cables":
        return _cables(cell)
    if what == "maps":
        return _maps(cell, list(mapped_items(cell)))
    circuit = compile_circuit(cell)
    if what == "supply":
        return list(draw_supply(cell, circuit=circuit))
    found = _fault(circuit, fault) if fault else None
    chosen = [cell.signals[signal]] if signal is not None else list(cell.signals.values())
    return [
        sheet
        for one in chosen
        for sheet in draw_signal(cell, one, state, fault=found, circuit=circuit)
    ]


def _one(cell: Cell, cable: str, item: str) -> list[Sheet]:
    """Return the drawing of a cable and the map of an item, as far as they are named."""
    if item and item not in cell.items:
        _stop_unknown("item", item, list(cell.items))
    return [*(_cables(cell, cable) if cable else []), *(_maps(cell, [item]) if item else [])]


def _cables(cell: Cell, only: str = "") -> list[Sheet]:
    """Return all cables with both ends, or one of them."""
    from ringout.report.drawing import cable_names, draw_cable
    from ringout.report.sheet import build_sheet

    sheet = build_sheet(cell)
    names = cable_names(sheet)
    if only and only not in names:
        if only in cell.cables:
            click.echo(f"cable {only} is joined nowhere: there is nothing to draw", err=True)
            sys.exit(2)
        _stop_unknown("cable", only, list(names))
    return [draw_cable(sheet, n) for n in ([only] if only else names)]


def _maps(cell: Cell, names: list[str]) -> list[Sheet]:
    from ringout.report.drawing import draw_map
    from ringout.report.sheet_nets import Nets

    nets = Nets(cell)
    return [sheet for n in names for sheet in draw_map(cell, n, nets=nets)]


def _fault(circuit: Circuit, name: str) -> Fault:
    """Return a fault by its name; leave with exit code 2 when there is none."""
    from ringout.circuit.faults import find_fault, single_faults

    faults = single_faults(circuit)
    found = find_fault(faults, name)
    if found is None:
        _stop_unknown("fault", name, [f.id for f in faults])
    assert found is not None
    return found


def _stop_unknown(what: str, name: str, known: list[str]) -> None:
    from ringout.base.suggest import hint

    click.echo(f"there is no {what} {name}: {hint(name, known)}", err=True)
    sys.exit(2)


def _write(sheets: list[Sheet], out: str) -> list[str]:
    """Write sheets to a file or a folder; leave with exit code 2 when that cannot be done."""
    from ringout.report.drawing.files import write_sheets

    try:
        return [str(p) for p in write_sheets(sheets, Path(out))]
    except OSError as problem:
        click.echo(f"cannot write {out}: {problem.strerror or problem}", err=True)
        sys.exit(2)


def _answer(cell: str, sheets: list[Sheet], files: list[str]) -> dict[str, Any]:
    told = []
    for k, sheet in enumerate(sheets):
        row: dict[str, Any] = {
            "name": sheet.name,
            "title": sheet.title,
            "width_mm": round(sheet.width_mm, 2),
            "height_mm": round(sheet.height_mm, 2),
        }
        told.append(row | ({"file": files[k]} if files else {"svg": sheet.svg}))
    return {"cell": cell, "drawings": told}
