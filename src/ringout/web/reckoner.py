"""Long work in a process beside the bench: pages stay quick, and one solve runs at a time."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import ringout
from ringout.web.jobs import Job, Progress
from ringout.web.messages import Order, Word, put, take

if TYPE_CHECKING:
    from ringout.web.snapshot import Snapshot


PATIENT = ("least",)  # wanted later: an exercise is under way


class ReckonerError(Exception):
    """What was asked for could not be reckoned."""


class Reckoner:
    """Has long work of one bench done in a process of its own, one order after another.

    Ten browsers that ask for one thing get one job (`Snapshot.jobs`); different things wait for
    each other here. When the file changes the process is ended, whatever it is solving.
    """

    def __init__(self) -> None:
        self._turns = threading.Condition()
        self._busy = False
        self._urgent = 0  # orders that somebody waits for before a page
        self._process: subprocess.Popen[bytes] | None = None
        self._key = ""  # of the cell the process has
        self._closed = False

    def ask(self, now: Snapshot, kind: str, *args: Any) -> Job:
        """Return a job for the cell as it is on disk, begun when it is not there yet.

        Args:
            now: the cell, of which there is one.
            kind: name of the work, one of `worker.KINDS`.
            args: what it needs beside the cell.
        """
        return now.jobs.get((kind, *args), partial(self._work, now, kind, args))

    def peek(self, now: Snapshot, kind: str, *args: Any) -> Job | None:
        """Return a job if it was asked for already."""
        return now.jobs.find((kind, *args))

    def close(self) -> None:
        """End the process for good; nothing can be asked for after that."""
        self._closed = True
        self._end()

    def _end(self) -> None:
        """End the process; another begins when something is asked for."""
        process, self._process, self._key = self._process, None, ""
        if process is not None:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                with suppress(OSError):  # an order that was never taken is left in it
                    assert pipe is not None
                    pipe.close()

    @contextmanager
    def _turn(self, *, urgent: bool) -> Iterator[None]:
        """Wait until nothing else is reckoned; what is not urgent lets all others go first."""
        with self._turns:
            self._urgent += urgent
            self._turns.wait_for(lambda: not self._busy and (urgent or not self._urgent))
            self._urgent -= urgent
            self._busy = True
        try:
            yield
        finally:
            with self._turns:
                self._busy = False
                self._turns.notify_all()

    def _work(self, now: Snapshot, kind: str, args: tuple[Any, ...], progress: Progress) -> Any:
        with self._turn(urgent=kind not in PATIENT):
            progress(0, 0)  # the file may have changed while this waited
            try:
                return self._asked(now, kind, args, progress)
            except (EOFError, OSError):  # an idle process may end just when it is asked
                self._end()
                return self._asked(now, kind, args, progress)

    def _asked(self, now: Snapshot, kind: str, args: tuple[Any, ...], progress: Progress) -> Any:
        if self._closed:
            raise ReckonerError("the bench is closed")
        process = self._process
        if process is None or process.poll() is not None:
            self._end()
            process = self._process = _start()
        assert process.stdin is not None
        assert process.stdout is not None
        cell = now.cell if self._key != now.key else None
        whole = False
        try:
            put(process.stdin, Order(cell, kind, args))
            self._key = now.key
            while True:
                word: Word = take(process.stdout)
                if word.kind != "progress":
                    whole = True
                    break
                progress(word.done, word.total)
        finally:
            if not whole:  # the file has changed, or the process has ended
                self._end()
        if word.kind == "failed":
            raise ReckonerError(word.trouble)
        return word.result


def _start() -> subprocess.Popen[bytes]:
    """Return a fresh process that reckons."""
    home = str(Path(ringout.__file__).parents[1])
    paths = os.pathsep.join(p for p in (home, os.environ.get("PYTHONPATH", "")) if p)
    # many small matrices: threads would only wait for each other
    env = {**os.environ, "PYTHONPATH": paths, "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.Popen(
        [sys.executable, "-m", "ringout.web.worker"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=env,
    )
