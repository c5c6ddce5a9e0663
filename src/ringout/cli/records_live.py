"""A live checkout stored while it is done: it joins two rooms that do not know each other."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from ringout.cli.records_enter import plainly

if TYPE_CHECKING:
    from ringout.cell.model import Cell, Link
    from ringout.live.actions import Action
    from ringout.live.judge import Answer
    from ringout.records import Read

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
    from ringout.live.judge import SKIPPED
    from ringout.records import live_steps, open_store
    from ringout.records.view import head_line, run_line

    with plainly(), open_store(cell_path, db or None, cell=cell.name) as store:
        steps = live_steps([_told(cell, a) for a in actions])
        read = ", ".join(f"{link.item} over {link.protocol}" for link in links)
        number = store.start_run(cell, steps, who=who, meter=read, source="live").number

        def keep(step: int, answer: Answer) -> None:
            if answer.verdict == SKIPPED:
                return  # left out: the step stays open
            store.add_reading(number, step, _read(answer), who=who)

        try:
            yield keep
        finally:
            click.echo(run_line(store.state_of(number)))
            click.echo(head_line(store.head()))


def _told(cell: Cell, action: Action) -> tuple[str, str, str]:
    """Return an action as a step is stored: what is moved, the request, what must change."""
    names = {(s.item, s.channel.name): s.name for s in cell.signals.values()}
    wanted = [
        f"{names.get(key, '.'.join(key))} {'on' if on else 'off'}"
        for key, on in action.wanted.items()
    ]
    told = ", ".join(wanted) + ", and nothing else" if wanted else "nothing changes"
    return f"{action.actor} {action.position}", action.ask, told


def _read(answer: Answer) -> Read:
    from ringout.live.judge import RIGHT
    from ringout.records import Read

    detail = {
        "verdict": answer.verdict,
        "changed": [
            {"item": i, "channel": c, "on": on, "count": answer.counts.get((i, c), 0)}
            for (i, c), on in answer.changed
        ],
        "span_s": round(answer.span_s, 4),
        "seen": list(answer.seen),
    }
    verdict = "right" if answer.verdict == RIGHT else "wrong"
    return Read(answer.text, None, verdict, json.dumps(detail, sort_keys=True))
