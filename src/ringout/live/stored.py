"""A led checkout in the words and values that are stored, for whoever keeps it."""

from __future__ import annotations

import json
from collections.abc import Iterable

from ringout.cell.model import Cell, Link
from ringout.live.actions import Action
from ringout.live.judge import RIGHT, SKIPPED, Answer


def step_words(cell: Cell, action: Action) -> tuple[str, str, str]:
    """Return an action as a step is stored: what is moved, the request, what must change."""
    signals = cell.signal_of_channel()
    wanted = [
        f"{signals[key].name if key in signals else '.'.join(key)} {'on' if on else 'off'}"
        for key, on in action.wanted.items()
    ]
    told = ", ".join(wanted) + ", and nothing else" if wanted else "nothing changes"
    return f"{action.actor} {action.position}", action.ask, told


def read_with(links: Iterable[Link]) -> str:
    """Return what the inputs are read with, in the place of a meter's name."""
    return ", ".join(f"{link.item} over {link.protocol}" for link in links)


def reading_of(answer: Answer) -> tuple[str, str, str] | None:
    """Return an answer as it is stored: what was seen, the verdict, the detail as JSON.

    Args:
        answer: what an action did.

    Returns:
        None for an action that was left out: its step stays open.
    """
    if answer.verdict == SKIPPED:
        return None
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
    return answer.text, verdict, json.dumps(detail, sort_keys=True)
