"""docs/tutorial-live.md, typed word by word: every command is run, every shown line appears."""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import socket
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

PAGE = Path("docs/tutorial-live.md")
BLOCK = re.compile(r"^```(sh|text|type)\n(.*?)^```", re.MULTILINE | re.DOTALL)
ASK = re.compile(r"\d+/\d+  Put (\w+) .*to: (\w+)")


def free_port() -> str:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return str(s.getsockname()[1])


@dataclass
class Program:
    """A command in a terminal of its own; what it prints is kept."""

    process: subprocess.Popen
    said: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.thread = threading.Thread(target=self._listen)
        self.thread.start()

    def _listen(self) -> None:
        for line in self.process.stdout:
            self.said.append(line)

    def wait_for(self, words: str, seconds: float = 60.0) -> None:
        end = time.monotonic() + seconds
        while not any(words in line for line in self.said):
            assert time.monotonic() < end, f"{words!r} never came: {self.said}"
            assert self.thread.is_alive(), self.said
            time.sleep(0.02)

    def type(self, line: str) -> None:
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()

    def end(self, seconds: float = 240.0) -> int:
        code = self.process.wait(seconds)
        self.thread.join(10)
        self.process.stdin.close()
        self.process.stdout.close()
        return code


@pytest.fixture
def terminal(tmp_path):
    shutil.copytree("examples", tmp_path / "examples")
    source = str(Path("src").resolve())
    opened = []

    def run(command: str) -> Program:
        words = shlex.split(command)
        assert words[0] == "ringout"
        process = subprocess.Popen(
            [sys.executable, "-u", "-m", "ringout", *words[1:]],
            cwd=tmp_path,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={**os.environ, "PYTHONPATH": source},
        )
        opened.append(Program(process))
        return opened[-1]

    yield run
    for program in opened:
        if program.process.poll() is None:
            program.process.kill()
            program.end()


@pytest.fixture(scope="module")
def sections():
    """Return the blocks of each section of the page, with ports that are free here."""
    text = PAGE.read_text(encoding="utf-8")
    for port in ("1502", "4840"):
        text = text.replace(f"127.0.0.1:{port}", f"127.0.0.1:{free_port()}")
    found = [BLOCK.findall(part) for part in text.split("\n## ")[1:]]
    assert [len(s) for s in found] == [2, 2, 5, 2, 3, 6]  # the tests below run all of them
    assert sum(kind == "sh" for s in found for kind, _ in s) == 9
    return found


def shown(section, *programs: Program) -> None:
    said = "".join(line for p in programs for line in p.said)
    for kind, lines in section:
        for line in lines.splitlines() if kind == "text" else ():
            assert line in said, f"{line!r} was not said: {said}"


def work_through(hand: Program, led: Program, sections) -> None:
    """Type in one terminal what the other asks for; it must be what the page says."""
    typed = [t for kind, lines in sections[2] if kind == "type" for t in lines.splitlines()]
    assert len(typed) == 16
    for n, line in enumerate(typed, 1):
        led.wait_for(f"{n}/16  Put ")
        asked = ASK.match(next(s for s in led.said if s.startswith(f"{n}/16 ")))
        assert f"{asked[1]} {asked[2]}" == line
        hand.type(line)


def test_the_swap_is_caught_and_named(terminal, sections):
    twin = terminal(sections[0][0][1])
    twin.wait_for("is served")
    shown(sections[0], twin)
    look = terminal(sections[1][0][1])
    assert look.end() == 0
    shown(sections[1], look)
    led = terminal(sections[2][0][1])
    work_through(twin, led, sections)
    assert led.end() == 1
    shown(sections[2], led)
    for line in sections[3][0][1].splitlines():
        twin.type(line)
    assert twin.end() == 0
    shown(sections[3], twin)


def test_the_caught_swap_is_recorded_verified_and_printed(terminal, sections, tmp_path):
    """From the hidden swap to the paper: caught, named, stored, verified, in the pack."""
    import pypdfium2

    cell = "examples/caddy-lidder/corrected.yaml"
    twin = terminal(sections[0][0][1])
    twin.wait_for("is served")
    led = terminal(f"{sections[2][0][1].strip()} --record Ada")
    work_through(twin, led, sections)
    assert led.end() == 1  # something was wrong
    said = "".join(led.said)
    assert "swap W3:BK W3:WH@S3" in said  # what section 4 of the page reveals
    twin.type("quit")
    assert twin.end() == 0
    held = terminal(f"ringout records verify {cell} --json")
    assert held.end() == 0
    answer = json.loads("".join(held.said))
    assert answer["holds"] is True
    packed = terminal(f"ringout pack {cell} -o pack.pdf --no-checkout")
    assert packed.end() == 0, packed.said
    pages = pypdfium2.PdfDocument(str(tmp_path / "pack.pdf"))
    paper = " ".join(" ".join(p.get_textpage().get_text_range() for p in pages).split())
    assert "Ada" in paper
    assert answer["head"] in paper.replace(" ", "")  # the hash that makes it hold
    assert "16 actions, 2 wrong" in said  # as section 3 of the page shows it
    assert "Run 1: FAILED 14 steps right, 2 wrong, 0 open" in paper


def test_the_mended_cell_passes(terminal, sections):
    twin = terminal(sections[4][0][1])
    twin.wait_for("is served")
    led = terminal(sections[4][1][1])
    work_through(twin, led, sections)
    assert led.end() == 0
    shown(sections[4], led)
    twin.type("quit")
    assert twin.end() == 0


def test_the_same_behind_certificates(terminal, sections):
    pairs, serve, stranger, refused, trusted, read = (lines for _, lines in sections[5])
    for line in pairs.splitlines():
        assert terminal(line).end() == 0
    twin = terminal(serve)
    twin.wait_for("is served")
    turned_away = terminal(stranger)
    assert turned_away.end() == 2
    assert refused.strip() in "".join(turned_away.said)
    fetch, again = trusted.splitlines()
    assert terminal(fetch).end() == 0
    let_in = terminal(again)
    assert let_in.end() == 0
    assert read.strip() in "".join(let_in.said)
    twin.type("quit")
    assert twin.end() == 0
