"""A checkout that is being worked through: every step stands in the records once it is entered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ringout.cell.model import Cell
from ringout.checkout import Checkout
from ringout.records import (
    Read,
    Run,
    RunState,
    RunStep,
    StepState,
    Store,
    StoreError,
    find_store,
    kept_as,
    open_store,
    run_steps,
)
from ringout.records.evidence import file_name
from ringout.records.model import CHECKOUT
from ringout.report.checkout_view import file_digest
from ringout.web.person import Person
from ringout.web.sentences import as_sentences
from ringout.web.session import Session
from ringout.web.snapshot import Snapshot
from ringout.web.steps import Entry, entries_of

STALE = "This run was begun with another state of the file or of the procedure: begin anew."
NAMELESS = "Say who you are: what is read is kept under a name."


@dataclass(frozen=True)
class Walk:
    """A checkout and how far it is worked through.

    Args:
        cell: the cell.
        checkout: its procedure.
        steps: the same as it is stored.
        run: the newest run of it; None where none was begun.
        states: step to everything that was read there.
        head: number of the last record of the cell.
        stale: the run was begun with another state of the file.
        trouble: why the records cannot be read; empty when they can.
    """

    cell: Cell
    checkout: Checkout
    steps: tuple[RunStep, ...]
    run: Run | None = None
    states: Mapping[int, StepState] = field(default_factory=dict)
    head: int = 0
    stale: bool = False
    trouble: str = ""

    @property
    def done(self) -> dict[int, Entry]:
        """Return step to what was seen there; nothing of a run that is stale."""
        return {} if self.stale else entries_of(self.checkout, self.states)


def walk_of(session: Session, now: Snapshot, checkout: Checkout) -> Walk:
    """Return how far a checkout is worked through, as the records say now."""
    assert now.cell is not None
    steps = run_steps(checkout)
    try:
        store = find_store(session.path, session.records, cell=kept_as(now.cell, session.path))
        if store is None:
            return Walk(now.cell, checkout, steps)
        with store:
            return _read(store, Walk(now.cell, checkout, steps))
    except StoreError as problem:
        return Walk(now.cell, checkout, steps, trouble=told(problem))


def _read(store: Store, bare: Walk) -> Walk:
    head = store.head().number
    found = _newest(store, bare.cell)
    if found is None:
        return Walk(bare.cell, bare.checkout, bare.steps, head=head)
    states = {s.step.number: s for s in store.steps_of(found.run.number)}
    same = [_look(s.step) for s in states.values()] == [_look(s) for s in bare.steps]
    stale = found.run.file_hash != file_digest(bare.cell) or not same
    return Walk(bare.cell, bare.checkout, bare.steps, found.run, states, head, stale)


def _newest(store: Store, cell: Cell) -> RunState | None:
    """Return the newest run with meter and eyes of a cell file."""
    mine = (s for s in reversed(store.runs()) if s.run.source == CHECKOUT)
    return next((s for s in mine if s.run.file == file_name(cell)), None)


def _look(step: RunStep) -> tuple[str, str, str]:
    return step.key, step.do, step.expect


def keep(
    session: Session, walk: Walk, number: int, read: Read, person: Person, once: str = ""
) -> str:
    """Store what was seen at a step; the first begins the run.

    Args:
        session: the bench.
        walk: how far it is.
        number: the step.
        read: what was seen.
        person: who saw it, and with which meter.
        once: name of this entry, so that sending it again stores it once.

    Returns:
        Empty when it is stored; otherwise why it is not.
    """
    if walk.stale or walk.trouble or not person.name:
        return walk.trouble or (STALE if walk.stale else NAMELESS)
    try:
        with records_of(session, walk.cell) as store:
            run = walk.run or _start(store, walk, person)
            meter = "" if person.meter == run.meter else person.meter
            store.add_reading(run.number, number, read, who=person.name, meter=meter, token=once)
    except StoreError as problem:
        return told(problem)
    return ""


def begin(session: Session, walk: Walk, person: Person) -> str:
    """Begin anew, unless nothing was entered yet; what was stored stays in the records.

    Returns:
        Empty when it is done; otherwise why it is not.
    """
    if walk.trouble or not person.name:
        return walk.trouble or NAMELESS
    if walk.run is not None and not walk.stale and not walk.done:
        return ""
    try:
        with records_of(session, walk.cell) as store:
            _start(store, walk, person)
    except StoreError as problem:
        return told(problem)
    return ""


def records_of(session: Session, cell: Cell) -> Store:
    """Open the records of a cell to write in them.

    Raises:
        StoreError: they cannot be used.
    """
    return open_store(session.path, session.records, cell=kept_as(cell, session.path))


def _start(store: Store, walk: Walk, person: Person) -> Run:
    return store.start_run(walk.cell, walk.steps, who=person.name, meter=person.meter)


def told(problem: StoreError) -> str:
    """Return what the records complain of as sentences."""
    return as_sentences(problem.message, problem.cure)
