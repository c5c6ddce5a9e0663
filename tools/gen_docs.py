#!/usr/bin/env python3
"""Write the pages of docs/ that are made from the program: its commands and its codes.

`python tools/gen_docs.py` writes them, `--check` only says whether they are up to date.
"""

from __future__ import annotations

import argparse
import importlib
import inspect
import re
import sys
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path

import click

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
CODES = ROOT / "src" / "ringout" / "base" / "codes.toml"
MADE = "<!-- made by tools/gen_docs.py; change the program's own text, then run `make docs` -->"
CODE = re.compile(r"^[TNWCF]\d{3}$")
FAMILIES = {
    "T": "T: the text of a file",
    "N": "N: names and values",
    "W": "W: wiring, seen without calculation",
    "C": "C: the circuit and its solution",
    "F": "F: findings, what the calculation says",
}


def root_command() -> click.Group:
    """Return the program's top command."""
    module = importlib.import_module("ringout.cli.main")
    every = [value for value in vars(module).values() if isinstance(value, click.Group)]
    inner = [command for group in every for command in group.commands.values()]
    groups = [group for group in every if group not in inner]
    if len(groups) != 1:
        message = f"ringout.cli.main holds {len(groups)} command groups; one is wanted"
        raise LookupError(message)
    return groups[0]


def all_commands(
    command: click.Command, context: click.Context
) -> Iterator[tuple[click.Context, click.Command]]:
    """Yield every command below `command` with its context, in order of name."""
    if not isinstance(command, click.Group):
        return
    for name in sorted(command.list_commands(context)):
        child = command.get_command(context, name)
        if child is None or child.hidden:
            continue
        own = click.Context(child, info_name=name, parent=context)
        yield own, child
        yield from all_commands(child, own)


def cell(text: str) -> str:
    """Return text that may stand in a cell of a Markdown table."""
    return " ".join(text.split()).replace("|", "\\|")


def describe(context: click.Context, command: click.Command) -> str:
    """Return the section of one command: what it does, how it is called, its options."""
    usage = " ".join([context.command_path, *command.collect_usage_pieces(context)])
    text = inspect.cleandoc(command.help or "").replace("\b\n", "")
    lines = [f"## {context.command_path}", "", text, "", "```", usage, "```", ""]
    # the program keeps its help option once it has run; the page must not depend on that
    records = [("-h, --help", "Show this message and exit.")]
    records[:0] = [
        record
        for param in command.params
        if isinstance(param, click.Option) and (record := param.get_help_record(context))
    ]
    lines += ["| option | meaning |", "| --- | --- |"]
    lines += [f"| `{cell(name)}` | {cell(meaning)} |" for name, meaning in records]
    return "\n".join([*lines, ""])


def commands_page() -> str:
    """Return docs/commands.md."""
    group = root_command()
    context = click.Context(group, info_name="ringout")
    head = [MADE, "", "# Commands", "", inspect.cleandoc(group.help or ""), ""]
    sections = [describe(own, command) for own, command in all_commands(group, context)]
    return "\n".join([*head, *sections])


def read_codes() -> dict[str, dict[str, str]]:
    """Return what codes.toml says about each code: fields by name, by code."""
    found: dict[str, dict[str, str]] = {}

    def collect(table: Mapping[str, object]) -> None:
        for key, value in table.items():
            if CODE.match(key):
                fields = value if isinstance(value, dict) else {"text": value}
                found[key] = {str(name): str(text) for name, text in fields.items()}
            elif isinstance(value, dict):
                collect(value)

    collect(tomllib.loads(CODES.read_text(encoding="utf-8")))
    return dict(sorted(found.items()))


def codes_page() -> str:
    """Return docs/codes.md."""
    lines = [MADE, "", "# Codes", ""]
    lines += ["Every finding carries a code: a letter for its kind, three digits, never reused."]
    codes = read_codes()
    for letter, title in FAMILIES.items():
        own = {code: fields for code, fields in codes.items() if code[0] == letter}
        if own:
            lines += ["", f"## {title}"]
        for code, fields in own.items():
            first, *rest = (" ".join(text.split()) for text in fields.values())
            lines += ["", f"### {code}", "", first]
            names = list(fields)[1:]
            lines += [
                line
                for name, text in zip(names, rest, strict=True)
                for line in ("", f"*{name}:* {text}")
            ]
    return "\n".join([*lines, ""])


PAGES = {"commands.md": commands_page, "codes.md": codes_page}


def main() -> int:
    """Write the pages, or with --check say which are out of date."""
    parser = argparse.ArgumentParser(description=inspect.getdoc(sys.modules[__name__]))
    parser.add_argument("--check", action="store_true", help="write nothing")
    check: bool = parser.parse_args().check
    stale = []
    for name, make in PAGES.items():
        path, text = DOCS / name, make()
        if path.exists() and path.read_text(encoding="utf-8") == text:
            continue
        stale.append(name)
        if not check:
            path.write_text(text, encoding="utf-8", newline="\n")
    if stale:
        print(("out of date: " if check else "written: ") + ", ".join(stale))
    return 1 if check and stale else 0


if __name__ == "__main__":
    sys.exit(main())
