"""Commands that look at a cell: prove, meter, netlist."""

from __future__ import annotations

import sys
from typing import Any

import click

from ringout.cli.common import (
    cell_argument,
    json_option,
    paint,
    progress_bar,
    say,
    say_json,
    say_problems,
    stop_if_unclear,
    stop_if_unusable,
)


@click.command()
@cell_argument
@json_option
@click.option("--quick", is_flag=True, help="Do not look for cures.")
def prove(cell: str, *, as_json: bool, quick: bool) -> None:
    """Prove every signal in every state at worst case; findings with cures.

    CELL is the cell file. Exit code 0: clean; 1: errors found; 2: the file has statements
    that could not be used; 3: a check did not run.
    """
    from ringout import run
    from ringout.base import Severity
    from ringout.base.collect import unused_lines
    from ringout.report.prove_json import prove_answer
    from ringout.report.prove_text import plain, prove_lines

    bar = None if as_json else progress_bar("proving" if quick else "proving, solving cures")
    loaded, judgement = run.prove(cell, remedies=not quick, progress=bar)
    stop_if_unusable(loaded, as_json, lambda: prove_answer(cell, None, loaded.problems))
    assert judgement is not None
    assert loaded.cell is not None
    if as_json:
        say_json(prove_answer(loaded.cell.name, judgement, loaded.problems))
    # with the answer, and first: whoever pipes it must not take it for the whole file's
    say_problems(loaded.problems, err=as_json)
    if not as_json:
        painter = paint if sys.stdout.isatty() else plain
        say(prove_lines(loaded.cell.name, judgement, painter, unused=unused_lines(loaded.problems)))
    if loaded.broken:
        sys.exit(2)
    if any(f.severity is Severity.ERROR for f in judgement.findings):
        sys.exit(1)
    if judgement.not_run:
        sys.exit(3)


@click.command()
@cell_argument
@click.option(
    "--probe",
    nargs=2,
    required=True,
    metavar="A B",
    help="Places of the red and the black probe, as in K1-X1:4 K1-X1:3; also K1.I1 0V.",
)
@click.option("--while", "state", default="", help='State, as in "S1 pressed and K1.O1 on".')
@click.option(
    "--lift", multiple=True, metavar="CORE@ITEM", help="Core end taken off, as in W1:BN@S1."
)
@click.option(
    "--mode",
    type=click.Choice(["volts", "lowz", "ohms"]),
    default="volts",
    show_default=True,
    help="volts: 10 MOhm meter; lowz: tester of a few kOhm; ohms: supplies off.",
)
@json_option
def meter(
    cell: str,
    *,
    probe: tuple[str, str],
    state: str,
    lift: tuple[str, ...],
    mode: str,
    as_json: bool,
) -> None:
    """Predict what a meter shows between two terminals, with its range and why.

    CELL is the cell file. Measuring live wiring is dangerous: use a meter rated for it, keep
    to local codes.
    """
    from ringout import run
    from ringout.cell.ask import resolve_lifts, resolve_probe, resolve_state
    from ringout.report.meter_view import meter_answer, meter_lines

    loaded = run.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    lifted, problems = resolve_lifts(loaded.cell, lift)
    wrong = [(" ".join(lift), problems)]
    places: list[Any] = []
    for word in probe:
        place, problems = resolve_probe(loaded.cell, word, lifted)
        places.append(place)
        wrong.append((word, problems))
    positions, problems = resolve_state(loaded.cell, state)
    stop_if_unclear([*wrong, (state, problems)])
    reading = run.meter(
        loaded.cell, places[0], places[1], state=positions, lifted=lifted, mode=mode
    )
    if as_json:
        say_json(meter_answer(reading))
    else:
        say(meter_lines(probe, state, reading))
    if loaded.broken:
        say_problems(loaded.problems)
        sys.exit(2)


@click.command()
@cell_argument
@click.option("--while", "state", default="", help='State, as in "S1 pressed and K1.O1 on".')
@click.option("--text", "as_text", is_flag=True, help="Print the element list instead of SPICE.")
@click.option(
    "--corner",
    type=click.Choice(["low", "typ", "high"]),
    default="typ",
    show_default=True,
    help="Every element at its lowest, typical or highest current.",
)
@json_option
def netlist(cell: str, *, state: str, as_text: bool, corner: str, as_json: bool) -> None:
    """Print the circuit of one state as a SPICE netlist that ngspice runs unchanged.

    CELL is the cell file.
    """
    from ringout import run
    from ringout.cell.ask import resolve_state

    loaded = run.load(cell)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    positions, problems = resolve_state(loaded.cell, state)
    stop_if_unclear([(state, problems)])
    text = run.netlist(loaded.cell, positions, corner=corner, as_text=as_text)
    if as_json:
        say_json({"cell": loaded.cell.name, "state": state, "netlist": text})
    else:
        click.echo(text, nl=not text.endswith("\n"))
    if loaded.broken:
        say_problems(loaded.problems)
        sys.exit(2)
