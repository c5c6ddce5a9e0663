"""The command line: thin doors over `ringout.run` and the view models."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import click

from ringout import __version__
from ringout.cli.checkout import checkout
from ringout.cli.draw import draw
from ringout.cli.faults import faults
from ringout.cli.find import find
from ringout.cli.live import watch
from ringout.cli.look import meter, netlist, prove
from ringout.cli.make import new, parts, schema, sheet
from ringout.cli.pack import pack
from ringout.cli.records import records
from ringout.cli.serve import serve
from ringout.cli.twin import certificate, twin

EXIT_CLEAN, EXIT_ERRORS, EXIT_UNREADABLE, EXIT_NOT_RUN = 0, 1, 2, 3


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96})
@click.version_option(__version__, prog_name="ringout")
def cli() -> None:
    """Prove the wiring of 24 V field devices to a robot controller before power goes on.

    A calculation and proving aid. Isolate and lock off before you touch wiring; local codes
    and licensed people decide.
    """


for command in (
    prove,
    meter,
    faults,
    checkout,
    find,
    watch,
    twin,
    records,
    certificate,
    draw,
    sheet,
    pack,
    serve,
    netlist,
    parts,
    schema,
    new,
):
    cli.add_command(command)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; exit codes: 0 clean, 1 errors, 2 usage or unreadable, 3 not run."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    cli(list(arguments) if arguments is not None else None)
