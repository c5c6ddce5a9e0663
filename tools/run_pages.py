#!/usr/bin/env python3
"""Do what the tutorial and the how-to pages say, and compare what they show with what comes.

A page is followed from top to bottom in a folder of its own that holds a copy of `examples`:

- a block ```` ```yaml file=NAME ```` (or any other language) writes that file;
- a block ```` ```diff file=NAME ```` changes lines of that file: `-` goes, `+` comes, ` ` stays;
- a block ```` ```console ```` runs the lines that begin with `$ `; what follows must be printed.
  A line of dots alone stands for any number of lines. Every command must end with exit code 0,
  the last one of a block marked `exit=1` with that code. Blocks marked `slow` take long; those
  marked `by-hand` need a second terminal, a machine or a person, and are left alone.

`python tools/run_pages.py` follows all pages, `--write` puts in what the program prints now.
"""

from __future__ import annotations

import argparse
import difflib
import inspect
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import chdir
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
DOTS = "..."
FENCE = re.compile(r"^```(\w*) *([^`]*)$")
ALIKE = 0.4  # a passage at least this like the one on the page takes its place
LIMIT_S = 300


class PageError(Exception):
    """A page says something that does not come true."""


@dataclass(frozen=True)
class Block:
    """One fenced block: its first line in the page (from 1), language, marks and lines."""

    line: int
    language: str
    marks: dict[str, str]
    lines: tuple[str, ...]

    @property
    def slow(self) -> bool:
        """Whether only the slow run does this block."""
        return "slow" in self.marks


@dataclass
class Shown:
    """One command of a console block and the printed lines that the page shows."""

    line: int
    command: str
    lines: list[str] = field(default_factory=list)
    exit_code: int = 0


def followed_pages() -> list[Path]:
    """Return the pages a reader can follow step by step."""
    pages = sorted([*DOCS.glob("tutorial*.md"), *DOCS.glob("howto-*.md")])
    return [page for page in pages if "```console" in page.read_text(encoding="utf-8")]


def read_blocks(text: str) -> list[Block]:
    """Return the fenced blocks of a page."""
    blocks: list[Block] = []
    opened: tuple[int, str, dict[str, str]] | None = None
    lines: list[str] = []
    for number, line in enumerate(text.splitlines(), 1):
        fence = FENCE.match(line)
        if opened is None and fence:
            marks = dict(word.partition("=")[::2] for word in fence[2].split())
            opened, lines = (number, fence[1], marks), []
        elif opened is not None and line == "```":
            blocks.append(Block(*opened, tuple(lines)))
            opened = None
        elif opened is not None:
            lines.append(line)
    if opened is not None:
        raise PageError(f"line {opened[0]}: this block is never closed")
    return blocks


def read_commands(block: Block) -> list[Shown]:
    """Return the commands of a console block with what the page shows of their answers."""
    found: list[Shown] = []
    for number, line in enumerate(block.lines, block.line + 1):
        if line.startswith("$ "):
            found.append(Shown(number, line[2:]))
        elif found:
            found[-1].lines.append(line)
        else:
            raise PageError(f"line {number}: a console block begins with `$ `")
    for shown in found:
        while shown.lines and not shown.lines[-1].strip():
            shown.lines.pop()
    if found and "exit" in block.marks:
        found[-1].exit_code = int(block.marks["exit"])
    return found


def change_file(path: Path, block: Block) -> None:
    """Apply a diff block to a file; the lines it takes away or keeps stand there exactly once."""
    old = [line[1:] for line in block.lines if line[:1] in {"-", " "}]
    new = [line[1:] for line in block.lines if line[:1] in {"+", " "}]
    odd = [line for line in block.lines if line[:1] not in {"-", "+", " "}]
    if odd or not old:
        raise PageError(f"line {block.line}: a change has lines with `-`, `+` or a blank before")
    text = "\n" + path.read_text(encoding="utf-8")
    wanted = "\n" + "\n".join(old) + "\n"
    if text.count(wanted) != 1:
        raise PageError(f"line {block.line}: {path.name} does not hold these lines exactly once")
    changed = text.replace(wanted, "\n" + "\n".join(new) + "\n")
    path.write_text(changed[1:], encoding="utf-8", newline="\n")


def run_ringout(words: list[str], given: str) -> tuple[int, str]:
    """Run one command of the program in this process; return exit code and printed text."""
    from click.testing import CliRunner

    from ringout.cli.main import cli

    result = CliRunner().invoke(cli, words, input=given or None)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise PageError(f"the program breaks down: {result.exception!r}") from result.exception
    return result.exit_code, result.output


def run_stage(words: list[str], given: str) -> tuple[int, str]:
    """Run one stage of a command line; only what a reader needs everywhere is known."""
    match words:
        case ["ringout", *rest]:
            return run_ringout(rest, given)
        case ["python", script]:
            done = subprocess.run(
                [sys.executable, script],
                input=given,
                capture_output=True,
                text=True,
                encoding="utf-8",
                timeout=LIMIT_S,
                env={**os.environ, "PYTHONUTF8": "1"},
                check=False,
            )
            return done.returncode, done.stdout + done.stderr
        case ["cp", source, target]:
            shutil.copyfile(source, target)
            return 0, ""
        case ["mkdir", name]:
            Path(name).mkdir()
            return 0, ""
        case _:
            raise PageError(f"`{' '.join(words)}` is no command a page may use")


def run_line(line: str) -> tuple[int, str]:
    """Run a command line with `|` and `>`; return the last exit code and what was printed."""
    stages: list[list[str]] = [[]]
    target: str | None = None
    words = iter(shlex.split(line))
    for word in words:
        if word == "|":
            stages.append([])
        elif word == ">":
            target = next(words, None)
        else:
            stages[-1].append(word)
    code, text = 0, ""
    for stage in stages:
        code, text = run_stage(stage, text)
    if target is not None:
        Path(target).write_text(text, encoding="utf-8", newline="\n")
        text = ""
    return code, text


def chunks_of(lines: list[str]) -> list[list[str]]:
    """Return shown lines as passages between lines of dots; an empty one stands beside dots."""
    chunks: list[list[str]] = [[]]
    for line in lines:
        if line.strip() == DOTS:
            chunks.append([])
        else:
            chunks[-1].append(line.rstrip())
    return chunks


def places(chunk: list[str], printed: list[str], start: int, *, first: bool, last: bool) -> range:
    """Return where in the printed lines a passage may begin."""
    highest = len(printed) - len(chunk)
    if first and last and len(printed) != len(chunk):
        return range(0)
    if first:
        return range(min(1, highest + 1))
    if last:
        return range(max(start, highest), highest + 1)
    return range(start, highest + 1)


def find_missing(shown: list[str], printed: list[str]) -> list[str] | None:
    """Return the first passage that the page shows and the program does not print, or None."""
    chunks = chunks_of(shown)
    at = 0
    for number, chunk in enumerate(chunks):
        first, last = number == 0, number == len(chunks) - 1
        if not chunk and not (first and last):
            continue
        for begin in places(chunk, printed, at, first=first, last=last):
            if printed[begin : begin + len(chunk)] == chunk:
                at = begin + len(chunk)
                break
        else:
            return chunk
    return None


def refreshed(shown: list[str], printed: list[str]) -> list[str]:
    """Return the shown lines with each passage replaced by the most alike printed one."""
    chunks = chunks_of(shown)
    if len(chunks) == 1:
        return printed
    at = 0
    for number, chunk in enumerate(chunks):
        first, last = number == 0, number == len(chunks) - 1
        if not chunk:
            continue
        text = "\n".join(chunk)
        rated = [
            (difflib.SequenceMatcher(None, text, "\n".join(passage)).ratio(), -begin, passage)
            for begin in places(chunk, printed, at, first=first, last=last)
            for passage in [printed[begin : begin + len(chunk)]]
        ]
        if rated and max(rated)[0] >= ALIKE:
            _, begin, chunk[:] = max(rated)
            at = -begin + len(chunk)
    return [line for number, chunk in enumerate(chunks) for line in ([DOTS] * (number > 0) + chunk)]


def run_block(block: Block, problems: list[str]) -> Iterator[tuple[Shown, list[str]]]:
    """Do what one block says; yield each command with what it printed."""
    name = block.marks.get("file")
    if block.language == "console":
        for shown in read_commands(block):
            code, text = run_line(shown.command)
            if code != shown.exit_code:
                problems.append(f"line {shown.line}: exit code {code}: {shown.command}\n{text}")
            yield shown, [line.rstrip() for line in text.rstrip().splitlines()]
    elif name is not None and block.language == "diff":
        change_file(Path(name), block)
    elif name is not None:
        Path(name).parent.mkdir(parents=True, exist_ok=True)
        Path(name).write_text("\n".join(block.lines) + "\n", encoding="utf-8", newline="\n")


def follow(page: Path, folder: Path, *, slow: bool, write: bool = False) -> list[str]:
    """Follow a page in an empty folder.

    Args:
        page: the page.
        folder: an existing folder; a copy of `examples` is made in it.
        slow: whether blocks marked slow are done too.
        write: put into the page what the program prints.

    Returns:
        What does not come true, one text for each.
    """
    text = page.read_text(encoding="utf-8")
    lines, problems = text.splitlines(), list[str]()
    shutil.copytree(ROOT / "examples", folder / "examples")
    shift = 0
    with chdir(folder):
        for block in read_blocks(text):
            if "by-hand" in block.marks or (block.slow and not slow):
                continue
            try:
                for shown, printed in run_block(block, problems):
                    missing = find_missing(shown.lines, printed)
                    if missing is None:
                        continue
                    if write:
                        new = refreshed(shown.lines, printed)
                        begin = shown.line + shift
                        lines[begin : begin + len(shown.lines)] = new
                        shift += len(new) - len(shown.lines)
                        missing = find_missing(new, printed)
                    if missing is not None:
                        lacking, came = "\n".join(missing), "\n".join(printed)
                        problems.append(
                            f"line {shown.line}: {shown.command}\n"
                            f"does not print this passage:\n{lacking}\nbut:\n{came}"
                        )
            except (PageError, OSError) as problem:
                problems.append(f"block in line {block.line}: {problem}")
    if write and lines != text.splitlines():
        page.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
    return problems


def main() -> int:
    """Follow the pages named, or all; exit code 1 when one says what does not come true."""
    parser = argparse.ArgumentParser(
        description=inspect.getdoc(sys.modules[__name__]),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("pages", nargs="*", type=Path, help="pages to follow; none: all")
    parser.add_argument("--write", action="store_true", help="put in what is printed now")
    parser.add_argument("--quick", action="store_true", help="leave out the slow blocks")
    wanted = parser.parse_args()
    bad = 0
    for page in [path.resolve() for path in wanted.pages] or followed_pages():
        with tempfile.TemporaryDirectory() as folder:
            problems = follow(page, Path(folder), slow=not wanted.quick, write=wanted.write)
        print(f"{page.name}: " + ("holds" if not problems else f"{len(problems)} do not hold"))
        for problem in problems:
            print("  " + problem.replace("\n", "\n  "))
        bad += bool(problems)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
