"""A led checkout at the machine, kept in the records step by step while it is done."""

from __future__ import annotations

from collections.abc import Sequence

from ringout.cell.model import Cell, Link
from ringout.live.actions import Action
from ringout.live.judge import Answer
from ringout.live.stored import read_with, reading_of, step_words
from ringout.records import Read, live_steps
from ringout.web.session import Session
from ringout.web.walk import records_of


class LedRun:
    """The run of a led checkout; the first answer begins it.

    Args:
        session: the bench, whose records are used.
        cell: the cell.
        who: name of the person.
    """

    def __init__(self, session: Session, cell: Cell, who: str) -> None:
        self.session, self.cell, self.who = session, cell, who
        self.number = 0  # of the run; 0 until it is begun

    def keep(
        self, links: Sequence[Link], actions: Sequence[Action], step: int, answer: Answer
    ) -> None:
        """Store the answer to an action.

        Args:
            links: controllers that are read.
            actions: everything that is asked for.
            step: which of it, from 1.
            answer: what the inputs did.

        Raises:
            StoreError: it could not be stored.
        """
        seen = reading_of(answer)
        if seen is None:
            return
        text, verdict, detail = seen
        with records_of(self.session, self.cell) as store:
            if not self.number:
                steps = live_steps([step_words(self.cell, a) for a in actions])
                started = store.start_run(
                    self.cell, steps, who=self.who, meter=read_with(links), source="live"
                )
                self.number = started.number
            store.add_reading(self.number, step, Read(text, None, verdict, detail), who=self.who)
