"""What all commands share: problems printed with their lines, JSON, colour, exit codes."""

from __future__ import annotations

import itertools
import json
import logging
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import click

from ringout.base import Diagnostic
from ringout.base.show import render_diagnostic
from ringout.base.span import ASKED
from ringout.run import Loaded

_STYLES: dict[str, dict[str, Any]] = {
    "error": {"fg": "red", "bold": True},
    "warning": {"fg": "yellow", "bold": True},
    "note": {"fg": "cyan"},
    "good": {"fg": "green"},
    "head": {"bold": True},
    "dim": {"dim": True},
}

json_option = click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")
cell_argument = click.argument("cell", metavar="CELL", type=str)


def paint(text: str, style: str) -> str:
    """Return text in a style; click drops it where the output is no terminal."""
    return click.style(text, **_STYLES.get(style, {}))


def say(lines: Iterable[str]) -> None:
    """Print lines."""
    click.echo("\n".join(lines))


def say_json(answer: Any) -> None:
    """Print an answer as JSON."""
    click.echo(json.dumps(answer, indent=1, ensure_ascii=False))


def say_problems(problems: Iterable[Diagnostic], *, err: bool = True, asked: str = "") -> None:
    """Print what is wrong, each with its line, to the error stream or with the answer.

    Args:
        problems: problems of the file, or of what was typed.
        err: to the error stream.
        asked: what was typed, where problems are of that.
    """
    lines: dict[str, list[str]] = {ASKED: asked.splitlines()}
    for problem in problems:
        name = problem.span.file if problem.span is not None else ""
        if name not in lines:
            lines[name] = source_lines(name)
        click.echo(render_diagnostic(problem, lines[name]), err=err)
        click.echo("", err=err)


def source_lines(name: str) -> list[str]:
    """Return the lines of a user file for showing; none when it cannot be read."""
    try:
        return Path(name).read_text("utf-8", errors="replace").splitlines()[:20000] if name else []
    except OSError:
        return []


def stop_if_unusable(loaded: Loaded, as_json: bool, answer: Callable[[], Any]) -> None:
    """Leave with exit code 2 when there is no cell to work on."""
    if loaded.cell is not None:
        return
    if as_json:
        say_json(answer())
    say_problems(loaded.problems)
    sys.exit(2)


def stop_if_unclear(asked: Iterable[tuple[str, Sequence[Diagnostic]]]) -> None:
    """Leave with exit code 2 when something typed is not understood.

    Args:
        asked: each typed text with its problems.
    """
    wrong = [(text, problems) for text, problems in asked if problems]
    for text, problems in wrong:
        say_problems(problems, asked=text)
    if wrong:
        sys.exit(2)


def _tell_log() -> None:
    """Let what the rooms below log about long work be seen on the terminal."""
    log = logging.getLogger("ringout")
    if not log.handlers:
        log.addHandler(logging.StreamHandler())
        log.setLevel(logging.INFO)


def progress_bar(label: str) -> Callable[[int, int], None] | None:
    """Return a progress call for long work, or None where nobody is watching."""
    if not sys.stderr.isatty():
        return None
    _tell_log()

    turns = itertools.cycle("|/-\\")

    def show(done: int, total: int) -> None:
        width = 24
        filled = width * done // max(total, 1)
        end = "\n" if done >= total else ""
        bar = "#" * filled + "." * (width - filled)
        turn = " " if done >= total else next(turns)  # that it moves says that it lives
        click.echo(f"\r{label} [{bar}] {done}/{total} {turn}{end}", nl=False, err=True)

    return show
