"""Long work with a time limit: done in a process of its own, which is ended when time is up."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Callable
from queue import Empty
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ringout.checkout import Checkout

Progress = Callable[[int, int], None]
_LOOK_S = 0.2  # how often the clock is looked at
_CASES, _MADE = "cases", "made"


def checkout_within(
    path: str, limit_s: float, progress: Progress | None = None
) -> tuple[Checkout | None, tuple[int, int]]:
    """Work out the checkout of a cell file, but no longer than a time limit.

    Args:
        path: the cell file.
        limit_s: most seconds.
        progress: called with cases done and in all.

    Returns:
        The procedure, or None when time was up; and the cases solved and in all, as far as known.

    Raises:
        RuntimeError: the other process ended without an answer.
    """
    context = multiprocessing.get_context("spawn")  # the same on every system
    told = context.Queue()
    worker = context.Process(target=_work, args=(path, told), daemon=True)
    end = time.monotonic() + limit_s
    worker.start()
    cases = (0, 0)
    try:
        while time.monotonic() < end:
            try:
                kind, value = told.get(timeout=_LOOK_S)
            except Empty:
                if worker.is_alive():
                    continue
                raise RuntimeError("the checkout ended without an answer") from None
            if kind == _MADE:
                return value, cases
            cases = value
            if progress is not None:
                progress(*cases)
        return None, cases
    finally:
        worker.terminate()
        worker.join()
        told.close()


def _work(path: str, told: Any) -> None:
    """Do it in the other process."""
    from ringout import run

    cell = run.load(path).cell
    assert cell is not None  # its owner has loaded it
    made = run.checkout(cell, progress=lambda done, of: told.put((_CASES, (done, of))))
    told.put((_MADE, made))
