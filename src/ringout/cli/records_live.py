"""A live checkout stored while it is done: it joins two rooms that do not know each other."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from ringout.cli.records_enter import plainly

if TYPE_CHECKING:
    from ringout.cell.model import Cell, Link
    from ringout.live.actions import Action
    from ringout.live.judge import Answer

Keep = Callable[[int, "Answer"], None]


@contextmanager
def recorded(
    cell: Cell,
    cell_path: str,
    who: str,
    db: str,
    links: Sequence[Link],
    actions: Sequence[Action],
) -> Iterator[Keep]:
    """Begin a live run and yield what stores the answer to each of its actions.

    Args:
        cell: the cell.
        cell_path: its file.
        who: name of the person; empty to store nothing.
        db: database URL; empty for the file beside the cell.
        links: controllers that are read.
        actions: what is asked for.
    """
    if not who:
        yield lambda _number, _answer: None
        return
    from ringout.live.stored import read_with, reading_of, step_words
    from ringout.records import Read, live_steps, open_store
    from ringout.records.view import head_line, run_line

    with plainly(), open_store(cell_path, db or None, cell=cell.name) as store:
        steps = live_steps([step_words(cell, a) for a in actions])
        meter = read_with(links)
        number = store.start_run(cell, steps, who=who, meter=meter, source="live").number

        def keep(step: int, answer: Answer) -> None:
            seen = reading_of(answer)
            if seen is not None:
                text, verdict, detail = seen
                store.add_reading(number, step, Read(text, None, verdict, detail), who=who)

        try:
            yield keep
        finally:
            click.echo(run_line(store.state_of(number)))
            click.echo(head_line(store.head()))
