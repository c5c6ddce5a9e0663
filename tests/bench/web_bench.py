"""Speed and staying power of the bench: flips of a switch, the first page, ten browsers at once.

Run by `make bench`, or alone: `python tests/bench/web_bench.py`. Times of the server are what it
tells itself in `Server-Timing`; each is paired with a run of `ringout prove` beside it.
"""

from __future__ import annotations

import http.client
import itertools
import json
import os
import random
import re
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from urllib.parse import quote, urlencode

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from bench import CORRECTED, seconds, show  # noqa: E402  (the folder is no package)
from cells import generated_cell  # noqa: E402

from ringout import run  # noqa: E402

ASKED_SHARE = 1 / 20  # of `ringout prove`
ASKED_LARGE = 3.0  # times the demo cell
ASKED_FIRST_S = 2.0
ASKED_GROWTH = 1.10
BROWSERS = 10
WARM, CHANGES = 300, 1000


class Served:
    """A bench in a process of its own."""

    def __init__(self, path: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        words = ["serve", str(path), "--port", str(self.port), "--no-open"]
        start = time.perf_counter()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "ringout", *words], stderr=subprocess.DEVNULL
        )
        self._wait()
        self.first_s = time.perf_counter() - start
        self.token = ""
        cell = run.load(str(path)).cell
        assert cell is not None
        self.signal = next(s.name for s in cell.signals.values() if s.on is not None)
        self.actors = [a for a in cell.actors.values() if a.moved_by in ("person", "command")]
        self.cores = [j.conductor for j in cell.joins if j.cable]

    def _wait(self) -> None:
        for _ in range(3000):
            try:
                line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
                line.request("GET", "/")
                assert line.getresponse().status == 200
            except OSError:
                time.sleep(0.02)
            else:
                return
        raise SystemExit("the bench did not start")

    def line(self) -> http.client.HTTPConnection:
        """Return a connection of one browser."""
        return http.client.HTTPConnection("127.0.0.1", self.port)

    def flip(self, line: http.client.HTTPConnection, query: dict[str, str]) -> tuple[float, str]:
        """Return the server's own time for one changed circuit in seconds, and the page."""
        where = f"/circuit/{quote(self.signal, safe='')}?{urlencode(query)}"
        line.request("GET", where, headers={"X-Bench-Part": "main"})
        answer = line.getresponse()
        text = answer.read().decode()
        assert answer.status == 200, text
        found = re.fullmatch(r"bench;dur=([0-9.]+)", answer.headers["server-timing"])
        assert found is not None
        return float(found[1]) / 1000, text

    def get(self, line: http.client.HTTPConnection, path: str) -> tuple[int, str]:
        """Return status and text of a page."""
        line.request("GET", path)
        answer = line.getresponse()
        return answer.status, answer.read().decode()

    def send(
        self, line: http.client.HTTPConnection, path: str, form: dict[str, str]
    ) -> tuple[int, str]:
        """Return status and text of what answers a form."""
        if not self.token:
            self.token = json.loads(self.get(line, "/api/session")[1])["token"]
        headers = {
            "Origin": f"http://127.0.0.1:{self.port}",
            "Content-Type": "application/x-www-form-urlencoded",
        }
        line.request("POST", path, urlencode({"token": self.token, **form}), headers)
        answer = line.getresponse()
        return answer.status, answer.read().decode()

    def ready(self) -> None:
        """Wait until what takes seconds is worked out, so that only what grows is measured."""
        line = self.line()
        for path in ("/faults", "/checkout", f"/find?seen={self.signal}+off"):
            while "data-again" in self.get(line, path)[1]:
                time.sleep(0.5)

    def busy_s(self) -> float:
        """Return how long the server has kept a processor busy."""
        fields = (
            Path(f"/proc/{self.process.pid}/stat").read_text("ascii").rpartition(")")[2].split()
        )
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def memory_mb(self) -> float:
        """Return the memory that the server holds."""
        text = Path(f"/proc/{self.process.pid}/status").read_text(encoding="ascii")
        return int(next(x.split()[1] for x in text.splitlines() if x.startswith("VmRSS"))) / 1024

    def stop(self) -> None:
        """End the process."""
        self.process.terminate()
        self.process.wait(20)


def flips(served: Served, count: int, seed: int = 1) -> list[float]:
    """Return the server's time for states that it has not met before."""
    pairs = list(itertools.combinations(served.actors, 2))
    random.Random(seed).shuffle(pairs)
    line = served.line()
    served.flip(line, {})
    out = []
    for a, b in pairs[:count]:
        state = f"{a.name} {a.positions[1]} and {b.name} {b.positions[1]}"
        out.append(served.flip(line, {"while": state})[0])
    return out


def browse(served: Served, changes: int, seed: int, wrong: list[str]) -> None:
    """Let ten browsers work on all pages at once; each must get what it asked for."""

    def one(number: int) -> None:
        rng, line = random.Random(seed * 1000 + number), served.line()
        for turn in range(changes // BROWSERS):
            if turn % 2:
                wrong.extend(visit(served, line, rng, f"{seed}-{number}-{turn}"))
            else:
                wrong.extend(switch(served, line, rng))

    browsers = [threading.Thread(target=one, args=(n,)) for n in range(BROWSERS)]
    for browser in browsers:
        browser.start()
    for browser in browsers:
        browser.join()


def switch(served: Served, line: http.client.HTTPConnection, rng: random.Random) -> list[str]:
    """Change the state of a circuit; return what the page tells that was not asked for."""
    chosen = rng.sample(served.actors, 2)
    stands = [f"{a.name} {rng.choice(a.positions)}" for a in chosen]
    query = {"while": " and ".join(stands)}
    if rng.random() < 0.3:
        query["cut"] = rng.choice(served.cores)
    _, text = served.flip(line, query)
    missing = [w for w in stands if f'data-key="{w}" aria-current="true"' not in text]
    if ("cut" in query) != ("is cut through" in text):
        missing.append("cut")
    return [f"{query}: {word}" for word in missing]


# page, and what only its answer holds; `{n}` is a step, `{word}` is of this browser and turn alone
PAGES = (
    ("/", 'id="h-signals"'),
    ("/circuit", "<h1"),
    ("/sockets", 'class="sockets"'),
    ("/faults?item={item}", "{item}"),
    ("/checkout", "steps done"),
    ("/checkout/{n}", "Step {n} of"),
    ("/find?seen={signal}+off", "{signal}"),
    ("/paper?what=io", "<table"),
    ("/paper?what=faces", "<svg"),
    ("/paper?what=drawings", "<svg"),
    ("/records", "<h1>Records"),
    ("/add", "<form"),
    ("/file", "<textarea"),
)


def visit(
    served: Served, line: http.client.HTTPConnection, rng: random.Random, word: str
) -> list[str]:
    """Look at a page, enter a step or hide a fault; return what is not as it must be."""
    words = {"n": str(rng.randint(1, 9)), "item": rng.choice(("S1", "S2")), "signal": served.signal}
    chance = rng.random()
    if chance < 0.15:
        form = {"reading": str(rng.randint(1, 99)), "who": word, "meter": "M"}
        where = f"/checkout/{words['n']}"
        status, _ = served.send(line, where, form)
        return [] if status == 303 else [f"{where}: {status}"]
    if chance < 0.3:
        status, text = served.send(line, "/exercise", {"seed": word})
        return [] if status in (200, 303) else [f"/exercise: {status} {text[:80]}"]
    path, holds = rng.choice(PAGES)
    path, holds = (t.format_map(words) for t in (path, holds))
    status, text = served.get(line, path)
    return [] if status == 200 and holds in text else [f"{path}: {status}, without {holds}"]


def main() -> int:
    """Measure and print; the exit code says whether all that is asked for holds."""
    prove = [sys.executable, "-m", "ringout", "prove", str(CORRECTED)]
    good = True
    with tempfile.TemporaryDirectory() as folder:
        # as on any machine, what Python has compiled once is kept for the next start
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ.setdefault("PYTHONPYCACHEPREFIX", str(Path(folder) / "compiled"))
        demo, large = Path(folder) / "demo.yaml", Path(folder) / "large.yaml"
        shutil.copy(CORRECTED, demo)
        large.write_text(generated_cell(96), encoding="utf-8")
        Served(demo).stop()  # a warm machine
        starts = []
        for _ in range(3):
            fresh = Served(demo)
            starts.append((fresh.first_s, fresh.busy_s()))
            fresh.stop()
        served, other = Served(demo), Served(large)
        try:
            walls = [wall_s for wall_s, _ in starts]
            good &= show("first page after the command, demo cell", walls, ASKED_FIRST_S, " s")
            print(f"of it, time of the processor: {min(busy_s for _, busy_s in starts):.2f} s")
            flips(served, 10, seed=2)
            flips(other, 10, seed=2)
            shares, sizes = [], []
            for k in range(7):
                one = statistics.median(flips(served, 25, seed=10 + k))
                two = statistics.median(flips(other, 25, seed=10 + k))
                shares.append(one / seconds(prove))
                sizes.append(two / one)
            good &= show("flip a switch, server / prove, demo cell", shares, ASKED_SHARE)
            good &= show("flip a switch, 96 channels / demo cell", sizes, ASKED_LARGE)
            print(f"one flip on the demo cell: {1000 * one:.1f} ms of the server")
            good &= stay(served)
        finally:
            served.stop()
            other.stop()
    return 0 if good else 1


def stay(served: Served) -> bool:
    """Let ten browsers work; return whether memory stays and no answer goes astray."""
    wrong: list[str] = []
    served.ready()
    browse(served, WARM, 1, wrong)
    before = served.memory_mb()
    start = time.perf_counter()
    browse(served, CHANGES, 2, wrong)
    each_ms = 1000 * (time.perf_counter() - start) / CHANGES
    after = served.memory_mb()
    what = f"memory after {CHANGES} changes on all pages by {BROWSERS} browsers / before"
    good = show(what, [after / before], ASKED_GROWTH)
    print(f"{before:.0f} MB to {after:.0f} MB, {each_ms:.1f} ms a change for all together")
    print(f"answers of another browser among them: {len(wrong)} {wrong[:1]}")
    return good and not wrong


if __name__ == "__main__":
    sys.exit(main())
