"""Long work in the background: begun once, its progress told, dropped when the file changes."""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import Any

Progress = Callable[[int, int], None]
Work = Callable[[Progress], Any]
KEPT = 64  # of one state of the file; the one asked for longest ago is forgotten first

_LOG = logging.getLogger(__name__)


class DroppedError(Exception):
    """What is being worked on is of no use any more."""


class Job:
    """One piece of long work in a thread of its own.

    Args:
        work: what is done; it is given a call that tells its progress.
    """

    def __init__(self, work: Work) -> None:
        self._work = work
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._dropped = False
        self.result: Any = None  # None until it is ready
        self.failed = ""
        self.done, self.total = 0, 0

    def begin(self) -> None:
        """Begin the work, once."""
        with self._lock:
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, daemon=True)
                self._thread.start()

    def drop(self) -> None:
        """Stop at the next word of progress."""
        self._dropped = True

    @property
    def ready(self) -> bool:
        """Return whether there is a result."""
        return self.result is not None

    @property
    def percent(self) -> int:
        """Return how far it is, in hundredths."""
        return 100 * self.done // self.total if self.total else 0

    def wait(self, longest_s: float) -> bool:
        """Return whether it is ready, after waiting for it no longer than so many seconds."""
        if self._thread is not None:
            self._thread.join(longest_s)
        return self.ready

    def _tell(self, done: int, total: int) -> None:
        if self._dropped:
            raise DroppedError
        self.done, self.total = done, total

    def _run(self) -> None:
        try:
            self.result = self._work(self._tell)
        except DroppedError:
            self.failed = "the file has changed meanwhile"
        except Exception:  # noqa: BLE001  # the page says so, the terminal says what broke
            _LOG.exception("work in the background broke down")
            self.failed = "this could not be worked out; the terminal says why"


class Jobs:
    """The long work of one state of the file, by name."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._jobs: OrderedDict[object, Job] = OrderedDict()
        self._dropped = False

    def get(self, name: object, work: Work) -> Job:
        """Return the job of a name; made and begun when it is not there.

        Args:
            name: what tells it from other work on the same cell.
            work: what is done; it gets a call `progress(done, total)`.
        """
        with self._lock:
            job = self._jobs.get(name)
            if job is None:
                job = self._jobs[name] = Job(work)
                if self._dropped:
                    job.drop()
                self._forget()
            self._jobs.move_to_end(name)
        job.begin()
        return job

    def find(self, name: object) -> Job | None:
        """Return the job of a name if it was begun."""
        with self._lock:
            return self._jobs.get(name)

    def _forget(self) -> None:
        over = len(self._jobs) - KEPT
        for name in [n for n, j in self._jobs.items() if j.ready or j.failed][: max(over, 0)]:
            del self._jobs[name]

    def drop(self) -> None:
        """Stop all that is still being worked on."""
        with self._lock:
            self._dropped = True
            for job in self._jobs.values():
                job.drop()
