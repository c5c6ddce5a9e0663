"""`ringout watch --checkout --record`: what the controller's own inputs say is stored."""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import sys

ASK = re.compile(r"\d+/\d+  Put (\S+)(?: \(.*\))? to: (.+)")


def command(*words):
    return [sys.executable, "-m", "ringout", *words]


def free_address() -> str:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return f"127.0.0.1:{s.getsockname()[1]}"


def walk(place, *faults: str) -> tuple[int, str]:
    """Let `watch` lead, and do on the twin what it asks for; return its exit code and words."""
    address = free_address()
    env = {**os.environ, "PYTHONUNBUFFERED": "1"}
    hidden = [w for f in faults for w in ("--fault", f)]
    twin = subprocess.Popen(
        command("twin", str(place.path), "--modbus", address, *hidden),
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=env,
    )  # fmt: skip
    try:
        assert "is served" in twin.stdout.readline()
        with subprocess.Popen(
            command("watch", str(place.path), "--modbus", address, "--checkout", "--record",
                    "Ada", *place.db),
            stdout=subprocess.PIPE, text=True, env=env,
        ) as watch:  # fmt: skip
            said = []
            for line in watch.stdout:
                said.append(line)
                asked = ASK.match(line)
                if asked:
                    twin.stdin.write(f"{asked[1]} {asked[2]}\n")
                    twin.stdin.flush()
        return watch.returncode, "".join(said)
    finally:
        twin.communicate("quit\n", timeout=20)


def test_a_healthy_cell_is_walked_and_stored(place):
    code, said = walk(place)
    assert code == 0, said
    with place.open() as store:
        state = store.state_of(1)
        assert (state.state, state.run.source, state.run.who) == ("passed", "live", "Ada")
        assert state.run.meter == "K1 over modbus"
        first = store.steps_of(1)[0]
        assert first.step.key == "live S1 pressed"
        assert first.step.expect == "start on, and nothing else"
        detail = json.loads(first.last.detail)
        assert detail["verdict"] == "right"
        assert [(c["channel"], c["on"]) for c in detail["changed"]] == [("I1", True)]
        assert store.head().hash in said
        assert store.verify().holds
        # a live run is no checkout with the meter: it proves nothing about dead steps
        from ringout.records.changes import last_passed

        assert last_passed(store) is None


def test_two_plugs_exchanged_are_stored_as_seen(sqlite_place):
    code, _ = walk(sqlite_place, "swap W1 W2@K1-X1/X2")
    assert code == 1
    with sqlite_place.open() as store:
        assert store.state_of(1).state == "failed"
        wrong = [s for s in store.steps_of(1) if s.state == "wrong"]
        assert wrong[0].step.key == "live S1 pressed"
        assert "stop instead of start" in wrong[0].last.text
        assert json.loads(wrong[0].last.detail)["verdict"] == "wrong channel"
        assert store.verify().holds


def test_record_needs_the_led_checkout(sqlite_place):
    done = subprocess.run(
        command("watch", str(sqlite_place.path), "--modbus", "127.0.0.1:1", "--record", "Ada"),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert "--checkout" in done.stderr
