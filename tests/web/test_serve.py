"""The command: where it listens, what it says, what it asks for."""

from __future__ import annotations

import random
import re
import shutil
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from contextlib import suppress

import pytest
from click.testing import CliRunner

from ringout.cli.serve import serve
from ringout.web.serve import FIRST_PORT, names_of, take_place
from tests.web.conftest import DEMO, client_of


def test_it_listens_on_this_machine_only():
    place = take_place("127.0.0.1", 0)
    try:
        assert place.closed
        assert place.socket.getsockname()[0] == "127.0.0.1"
        # else answers wait for the browser's acknowledgement, some 40 ms each
        assert place.socket.proto == socket.IPPROTO_TCP
        assert re.fullmatch(r"http:..127\.0\.0\.1:\d+/", place.url)
    finally:
        place.socket.close()


def test_the_next_free_port_is_taken():
    with socket.socket() as other:
        with suppress(OSError):  # somebody may have it already, which is as good
            other.bind(("127.0.0.1", FIRST_PORT))
        other.listen()
        place = take_place("127.0.0.1", None)
        place.socket.close()
    assert not place.url.endswith(f":{FIRST_PORT}/")


def test_a_port_in_use_and_a_strange_address_are_told(cell_file):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        words = [str(cell_file), "--no-open", "--port", str(other.getsockname()[1])]
        done = CliRunner().invoke(serve, words)
        assert done.exit_code == 2
        assert "cannot listen on" in done.output
    done = CliRunner().invoke(serve, [str(cell_file), "--no-open", "--host", "no such host"])
    assert done.exit_code == 2
    assert "cannot listen on" in done.output


def test_names_it_answers_to():
    assert "*" not in names_of("127.0.0.1", closed=True)
    assert "*" in names_of("0.0.0.0", closed=False)
    assert "*" not in names_of("panel", closed=False)
    assert "panel" in names_of("panel", closed=False)


def started(words: list[str]) -> tuple[subprocess.Popen[str], list[str], threading.Thread]:
    code = "import sys; from ringout.cli.serve import serve; serve(sys.argv[1:])"
    process = subprocess.Popen(
        [sys.executable, "-c", code, *words, "--no-open"], stderr=subprocess.PIPE, text=True
    )
    lines: list[str] = []
    reader = threading.Thread(target=lambda: lines.extend(process.stderr), daemon=True)
    reader.start()
    return process, lines, reader


def said(lines: list[str], pattern: str) -> str:
    for _ in range(200):
        for line in list(lines):
            if found := re.search(pattern, line):
                return found[1]
        time.sleep(0.1)
    raise AssertionError(f"{pattern} was not said: {lines}")


def test_an_open_bench_prints_a_code_and_asks_for_it(cell_file):
    process, lines, reader = started([str(cell_file), "--port", "0", "--host", "0.0.0.0"])
    try:
        port = said(lines, r"127\.0\.0\.1:(\d+)/")
        code = said(lines, r"code for the next browser: (\S+)")
        home = f"http://127.0.0.1:{port}"
        for _ in range(100):
            try:
                with urllib.request.urlopen(f"{home}/", timeout=5) as answer:
                    text = answer.read().decode()
                break
            except OSError:
                time.sleep(0.1)
        else:
            raise AssertionError("no answer")
        assert "asks for a code" in text
        with pytest.raises(urllib.error.HTTPError, match="401") as refused:
            urllib.request.urlopen(f"{home}/api/file", timeout=5)
        refused.value.close()
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        with opener.open(f"{home}/door", data=f"code={code}".encode(), timeout=30) as answer:
            assert "Caddy lidder" in answer.read().decode()
    finally:
        process.terminate()
        process.wait(10)
        reader.join(10)
        process.stderr.close()


def test_ten_at_once_do_not_mix(tmp_path):
    """Each browser gets what it asked for, whatever the others ask at the same moment."""
    target = tmp_path / "cell.yaml"
    shutil.copy(DEMO, target)
    wrong: list[str] = []

    def browse(number: int) -> None:
        rng = random.Random(number)
        for _ in range(6):
            state = rng.choice(["pressed", "released"])
            supply = rng.choice(["on", "off"])
            query = {"while": f"S1 {state} and T1 {supply}", "probe": "K1-X1:4,K1-X1:3"}
            found = client.get("/api/circuit/start_lidding", params=query).json()
            on = state == "pressed" and supply == "on"
            word = next(s["word"] for s in found["shown"] if s["name"] == "start_lidding")
            if (word == "on") != on or (found["meter"]["value"] > 15) != on:
                wrong.append(f"{query}: {word}")

    with client_of(target) as client:
        threads = [threading.Thread(target=browse, args=(n,)) for n in range(10)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert not wrong
