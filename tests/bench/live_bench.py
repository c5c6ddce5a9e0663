"""The live side measured: polls in time, pulses seen, and how soon a change is on the screen.

Run it with `make bench`. Controller and watcher are two processes on one machine, over real
sockets. A machine that stalls is told apart: a process that does nothing but wake up every
millisecond notes when it was not woken in time, and what fell into such a gap counts as stalled.
"""

from __future__ import annotations

import argparse
import ast
import asyncio
import json
import socket
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Self

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
CELL = ROOT / "examples" / "caddy-lidder" / "corrected.yaml"
PULSE_S = 0.030


DOG = """
import sys, threading, time
over = threading.Event()
threading.Thread(target=lambda: (sys.stdin.read(), over.set()), daemon=True).start()
last, out = time.monotonic(), []
while not over.is_set():
    time.sleep(0.001)
    now = time.monotonic()
    if now - last > float(sys.argv[1]):
        out.append((last, now))
    last = now
print(out)
"""


class Watchdog:
    """Notes every time the machine did not wake a process for longer than a while."""

    def __init__(self, longest_s: float) -> None:
        self.words = [sys.executable, "-c", DOG, str(longest_s)]
        self.stalls: list[tuple[float, float]] = []

    def __enter__(self) -> Self:
        self.process = subprocess.Popen(
            self.words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        return self

    def __exit__(self, *_: object) -> None:
        said, _err = self.process.communicate()
        self.stalls = ast.literal_eval(said)

    def touches(self, begin: float, end: float) -> bool:
        """Return whether the machine stalled within a span."""
        return any(a < end and b > begin for a, b in self.stalls)


@contextmanager
def controller(protocol: str, channels: int) -> Iterator[tuple[int, subprocess.Popen[str]]]:
    """Serve channels in a process of its own; yield its port and the process."""
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = int(s.getsockname()[1])
    words = [sys.executable, str(HERE / "live_server.py"), protocol, str(port), str(channels)]
    with subprocess.Popen(
        words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdin is not None and process.stdout is not None
        if process.stdout.readline().strip() != "served":
            raise SystemExit("the controller for measuring did not start")
        try:
            yield port, process
        finally:
            process.stdin.close()
            process.wait(20)


def poller_of(protocol: str, port: int, channels: int, cycle_s: float):
    """Return a poller of channels I1 and on."""
    from ringout.base import Span
    from ringout.cell.model import Link
    from ringout.live import Poller, port_of

    names = tuple(f"I{n}" for n in range(1, channels + 1))
    at = f"127.0.0.1:{port}"
    target = at if protocol == "modbus" else f"opc.tcp://{at}"
    places = {c: n if protocol == "modbus" else f"ns=2;s=K1.{c}" for n, c in enumerate(names)}
    link = Link("K1", protocol, target, 1, "discrete", places, Span("bench", 1, 1, 1))
    return Poller(port_of(link, names), cycle_s)


def polls(protocol: str, channels: int, cycle_s: float, seconds: float) -> None:
    """Measure how many polls come late, and what it costs."""
    dog = Watchdog(0.005)
    with controller(protocol, channels) as (port, _), dog:
        poller = poller_of(protocol, port, channels, cycle_s)

        async def scene() -> tuple[float, float]:
            async def collect() -> None:
                async for _ in poller.events():
                    pass

            task = asyncio.create_task(collect())
            await asyncio.sleep(0.5)
            poller.figures.polls = poller.figures.late = 0
            poller.figures.gap_s = 0.0
            wall, spent = time.monotonic(), time.thread_time()
            await asyncio.sleep(seconds)
            measured = time.thread_time() - spent, time.monotonic() - wall
            poller.stop()
            await task
            return measured

        cpu_s, wall_s = asyncio.run(scene())
    f = poller.figures
    answers = sorted(f.answer_s)
    stalled = sum(b - a for a, b in dog.stalls)
    print(
        f"{protocol}, {channels} channels every {cycle_s * 1000:g} ms for {seconds:g} s: "
        f"{f.polls} polls, {100 * f.late / max(f.polls, 1):.2f} % late, "
        f"{100 * cpu_s / wall_s:.1f} % of one core, answer p50 "
        f"{statistics.median(answers) * 1000:.2f} ms, longest gap {f.gap_s * 1000:.0f} ms; "
        f"the machine itself stalled for {100 * stalled / wall_s:.1f} % of the time",
        flush=True,
    )


def pulses(count: int, cycle_s: float) -> int:
    """Return how many pulses of 30 ms were missed, stalls of the machine included."""
    from ringout.live import Change

    dog = Watchdog(cycle_s / 2)
    with controller("modbus", 16) as (port, process), dog:
        poller = poller_of("modbus", port, 16, cycle_s)
        seen: list[float] = []

        async def scene() -> list[tuple[float, bool]]:
            async def collect() -> None:
                async for event in poller.events():
                    seen.extend([event.at_s] if isinstance(event, Change) and event.on else [])

            task = asyncio.create_task(collect())
            await asyncio.sleep(0.5)
            assert process.stdin is not None and process.stdout is not None
            process.stdin.write(f"pulse {count} {PULSE_S} 0.03 0.06\n")
            process.stdin.flush()
            told = await asyncio.to_thread(process.stdout.readline)
            await asyncio.sleep(0.2)
            poller.stop()
            await task
            return [(float(at), bool(on)) for at, on in json.loads(told)]

        moments = asyncio.run(scene())
    spans = [(a, b) for (a, _), (b, _) in zip(moments[::2], moments[1::2], strict=True)]
    missed = [(a, b) for a, b in spans if not any(a - 0.002 <= s <= b + 0.02 for s in seen)]
    ours = [(a, b) for a, b in missed if not dog.touches(a - cycle_s, b + cycle_s)]
    lengths = [(b - a) * 1000 for a, b in spans]
    print(
        f"{count} pulses of {PULSE_S * 1000:g} ms (really {min(lengths):.1f} to "
        f"{max(lengths):.1f} ms) at {cycle_s * 1000:g} ms polling: {len(ours)} missed, "
        f"{len(missed) - len(ours)} more while the machine stalled; longest gap between two "
        f"answers {poller.figures.gap_s * 1000:.1f} ms",
        flush=True,
    )
    return len(missed)


def latency(protocol: str, count: int, cycle_ms: float) -> None:
    """Measure from the change of an input in the controller to the line on the screen."""
    with controller(protocol, 16) as (port, process):
        at = f"127.0.0.1:{port}"
        target = at if protocol == "modbus" else f"opc.tcp://{at}"
        words = [
            sys.executable, "-u", "-m", "ringout", "watch", str(CELL), "--json",
            f"--{protocol}", target, "--cycle", str(cycle_ms),
        ]  # fmt: skip
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as watch:
            assert watch.stdout is not None
            assert process.stdin is not None and process.stdout is not None
            shown: list[float] = []

            def listen() -> None:
                assert watch.stdout is not None
                for line in watch.stdout:
                    now = time.monotonic()
                    if json.loads(line)["kind"] == "change":
                        shown.append(now)

            while json.loads(watch.stdout.readline())["kind"] != "connection":
                pass
            thread = threading.Thread(target=listen)
            thread.start()
            process.stdin.write(f"toggle {count} 0.06 0.12\n")
            process.stdin.flush()
            moments = [float(at) for at, _ in json.loads(process.stdout.readline())]
            time.sleep(0.5)
            watch.terminate()
            thread.join()
    if len(shown) != len(moments):
        raise SystemExit(f"{len(moments)} changes, but {len(shown)} lines on the screen")
    taken = sorted(b - a for a, b in zip(moments, shown, strict=True))
    p50, p95, p99 = (taken[round(q * (count - 1))] * 1000 for q in (0.50, 0.95, 0.99))
    print(
        f"{protocol}: {count} changes to the screen at {cycle_ms:g} ms polling: p50 {p50:.1f} ms, "
        f"p95 {p95:.1f} ms, p99 {p99:.1f} ms, longest {taken[-1] * 1000:.1f} ms; limit of polling "
        f"alone: {cycle_ms * 0.5:g}, {cycle_ms * 0.95:g}, {cycle_ms * 0.99:g} ms",
        flush=True,
    )


def main() -> int:
    """Measure and print; the exit code says whether a pulse was missed."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--seconds", type=float, default=60.0, help="length of the polling run")
    parser.add_argument("--pulses", type=int, default=1000)
    parser.add_argument("--changes", type=int, default=500)
    asked = parser.parse_args()
    for protocol, channels in (("modbus", 256), ("opcua", 64), ("opcua", 256)):
        polls(protocol, channels, 0.020, asked.seconds)
    missed = pulses(asked.pulses, 0.010)
    for protocol in ("modbus", "opcua"):
        latency(protocol, asked.changes, 20.0)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
