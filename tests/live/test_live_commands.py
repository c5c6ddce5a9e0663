"""`ringout watch` and `ringout twin` as two processes, as a person starts them."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys

import pytest
from click.testing import CliRunner

from ringout.cli.main import cli

CELL = "examples/caddy-lidder/corrected.yaml"


def free_address() -> str:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return f"127.0.0.1:{s.getsockname()[1]}"


@pytest.fixture
def twin():
    address = free_address()
    words = [sys.executable, "-m", "ringout", "twin", CELL, "--modbus", address]
    process = subprocess.Popen(
        words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    assert "is served" in process.stdout.readline()
    yield address, process
    process.communicate("quit\n", timeout=10)
    assert process.returncode == 0


def test_a_press_on_the_twin_is_seen_by_watch(twin):
    address, process = twin
    words = [
        sys.executable, "-m", "ringout", "watch", CELL, "--modbus", address,
        "--json", "--seconds", "3",
    ]  # fmt: skip
    watching = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
    first = json.loads(watching.stdout.readline())
    assert first["up"]
    process.stdin.write("S1 pressed\n")
    process.stdin.flush()
    rest = [json.loads(line) for line in watching.communicate(timeout=20)[0].splitlines()]
    assert watching.returncode == 0
    seen = [(e["channel"], e["on"]) for e in rest if "channel" in e]
    assert ("I1", True) in seen
    assert {c for c, _ in seen} == {"I1"}


def test_nobody_there_is_told_with_a_cure():
    done = CliRunner().invoke(cli, ["watch", CELL, "--modbus", free_address(), "--seconds", "1"])
    assert done.exit_code == 2
    assert "cannot be reached" in done.stderr
    assert "fix:" in done.stderr


@pytest.mark.parametrize(
    "words",
    [
        ["watch", CELL],
        ["watch", CELL, "--modbus", "no address"],
        ["watch", CELL, "--item", "K9"],
        ["twin", CELL, "--fault", "open nothing"],
        ["watch", CELL, "--modbus", "127.0.0.1:1", "--allow-outputs"],
    ],
)
def test_bad_input_ends_plainly(words):
    done = CliRunner().invoke(cli, words, input="no\n")
    assert done.exit_code == 2
    assert "Traceback" not in done.output
    assert done.stderr.strip()


def test_outputs_are_commanded_only_after_the_caution():
    done = CliRunner().invoke(
        cli, ["watch", CELL, "--modbus", "127.0.0.1:1", "--allow-outputs"], input="\n"
    )
    assert "may move" in done.stderr
    assert done.exit_code == 2
