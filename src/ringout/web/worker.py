"""The reckoner beside the bench: a process of its own for what takes seconds, one job at a time.

It reads orders from its standard input and writes progress and results to its standard output.
It ends when the bench does, or when nothing is asked for long.
"""

from __future__ import annotations

import os
import queue
import sys
import threading
from collections.abc import Callable
from functools import cached_property
from typing import IO, TYPE_CHECKING

from ringout.web.messages import Order, Word, put, take

if TYPE_CHECKING:
    from ringout.base import Diagnostic
    from ringout.cell.model import Cell
    from ringout.checkout import Checkout
    from ringout.find import Finder
    from ringout.findings.effects import FaultTable
    from ringout.findings.model import Judgement

IDLE_S = 600.0  # memory is given back when nobody asked so long
NICE = 5  # pages that somebody waits for come first
Progress = Callable[[int, int], None]


def _quiet(done: int, total: int) -> None:
    """Tell nobody."""


class Notes:
    """One cell and what was reckoned of it; jobs share it.

    Args:
        cell: the cell.
    """

    def __init__(self, cell: Cell) -> None:
        self.cell = cell
        self.progress: Progress = _quiet

    @cached_property
    def faults(self) -> FaultTable:
        """Return every single fault with its effects."""
        from ringout import run

        return run.faults(self.cell, progress=self.progress)

    @cached_property
    def checkout(self) -> Checkout:
        """Return the procedure."""
        from ringout import run

        return run.checkout(self.cell, progress=self.progress)

    @cached_property
    def fault_count(self) -> int:
        """Return how many single faults there are."""
        from ringout.circuit.compile import compile_circuit
        from ringout.circuit.faults import single_faults

        return len(single_faults(compile_circuit(self.cell)))

    @cached_property
    def finder(self) -> Finder:
        """Return what finds culprits."""
        from ringout import run

        return run.finder(self.cell)

    @cached_property
    def judgement(self) -> Judgement:
        """Return the judgement with cures."""
        from ringout.findings.judge import judge
        from ringout.findings.remedies import with_remedies

        return with_remedies(self.cell, judge(self.cell), self.progress)


def _faults(notes: Notes) -> object:
    return notes.faults


def _checkout(notes: Notes) -> object:
    return notes.checkout


def _find(notes: Notes, *sentences: str) -> object:
    """Return the answer to sentences that are known to be understood."""
    from ringout.find.words import understand_all

    found = [o for text in sentences for o in understand_all(notes.cell, text)[0]]
    return notes.finder.find(found)


def _pack(notes: Notes, paper: str, only: str, problems: tuple[Diagnostic, ...]) -> object:
    """Return a wiring pack as PDF: its bytes."""
    from ringout.report.pack import MOST_FAULTS, build_pack, pack_pdf, without_checkout
    from ringout.tables.labels import PLAIN, label_size

    walked, why = only in ("", "checkout"), "it was not asked for"
    if walked and not only and notes.fault_count > MOST_FAULTS:
        walked, why = False, without_checkout(notes.cell.name, notes.fault_count, MOST_FAULTS)
    judgement = notes.judgement if only != "labels" else None
    checkout = notes.checkout if walked else None
    whole = build_pack(notes.cell, judgement, checkout, why_no_checkout=why, problems=problems)
    return pack_pdf(whole, paper=paper, size=label_size(PLAIN[paper]), only=only or None).content


def _least(notes: Notes, sentence: str, fault_id: str) -> object:
    """Return what a perfect search for a fault would take."""
    from ringout.find.words import understand_all
    from ringout.web.least import least_looks

    found, _ = understand_all(notes.cell, sentence)
    return least_looks(notes.finder, found[0], fault_id)


KINDS: dict[str, Callable[..., object]] = {
    "faults": _faults,
    "checkout": _checkout,
    "find": _find,
    "pack": _pack,
    "least": _least,
}


def _listen(pipe: IO[bytes], orders: queue.Queue[Order]) -> None:
    """Pass orders on until the bench is gone; then end at once, whatever is being solved."""
    try:
        while True:
            orders.put(take(pipe))
    except (EOFError, OSError):
        os._exit(0)


def main() -> None:
    """Do jobs until the bench is gone or asks nothing for long."""
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints must not get between the answers
    if hasattr(os, "nice"):
        os.nice(NICE)
    orders: queue.Queue[Order] = queue.Queue()
    threading.Thread(target=_listen, args=(sys.stdin.buffer, orders), daemon=True).start()
    notes: Notes | None = None
    while True:
        try:
            order = orders.get(timeout=IDLE_S)
        except queue.Empty:
            return
        if order.cell is not None:
            notes = Notes(order.cell)
        assert notes is not None

        def progress(done: int, total: int) -> None:
            put(out, Word("progress", done, total))

        notes.progress = progress
        try:
            put(out, Word("done", result=KINDS[order.kind](notes, *order.args)))
        except Exception as problem:  # noqa: BLE001  # told on the page; the next job may do
            put(out, Word("failed", trouble=f"{type(problem).__name__}: {problem}"))


if __name__ == "__main__":
    main()
