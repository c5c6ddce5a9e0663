"""The command that draws: circuits of signals, the supply tree, the overview."""

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
    type=click.Choice(["signal", "supply", "cell"]),
    default="signal",
    show_default=True,
    help="Circuit of the signal (of all signals without SIGNAL), supply tree, or overview.",
)
@json_option
def draw(  # one argument an option
    cell: str,
    signal: str | None,
    *,
    state: str | None,
    fault: str,
    out: str | None,
    what: str,
    as_json: bool,
) -> None:
    """Draw the circuit of a signal with what flows in one state, the supply tree or the cell.

    CELL is the cell file; SIGNAL is one of its signals. Drawings are SVG in millimetres, for A4
    and Letter. Exit code 2: there is no such signal, state or fault.
    """
    from ringout import run
    from ringout.cell.ask import resolve_state

    loaded = run.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    if signal is not None and signal not in loaded.cell.signals:
        _stop_unknown("signal", signal, list(loaded.cell.signals))
    positions, problems = (None, []) if state is None else resolve_state(loaded.cell, state)
    if problems:
        say_problems(problems)
        sys.exit(2)
    sheets = _sheets(loaded.cell, signal, positions, fault, what)
    files = _write(sheets, out) if out is not None else []
    if as_json:
        say_json(_answer(loaded.cell.name, sheets, files))
    elif out is not None:
        for file in files:
            click.echo(f"wrote {file}", err=True)
    elif len(sheets) == 1:
        click.echo(sheets[0].svg, nl=False)
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
    from ringout.report.drawing import draw_overview, draw_signal, draw_supply

    if what == "cell":
        return list(draw_overview(cell))
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
    from ringout.base.suggest import did_you_mean

    near = did_you_mean(name, known)
    hint = f"did you mean `{near}`?" if near else f"there are {', '.join(known[:8])}"
    click.echo(f"there is no {what} {name}: {hint}", err=True)
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
