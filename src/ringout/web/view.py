"""How the controllers that are watched stand now, from what happened."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Any

Happening = dict[str, Any]
KEPT_CHANGES = 12


@dataclass
class View:
    """How it stands now, as a page shows it.

    Args:
        connections: controller to its last connection event.
        levels: (item, channel) to level.
        standing: what is not right, by kind and text.
        changes: the last changes, newest first.
        asked: the action that is asked for.
        doubted: the action somebody must say about whether it was done.
        answered: what was answered so far.
        evidence: sentences for `find`, at the end.
        finished: the led checkout is through.
        run: number of the run in the records that holds what was answered; 0 for none.
    """

    connections: dict[str, Happening] = field(default_factory=dict)
    levels: dict[tuple[str, str], bool] = field(default_factory=dict)
    standing: dict[tuple[str, str], Happening] = field(default_factory=dict)
    changes: deque[Happening] = field(default_factory=lambda: deque(maxlen=KEPT_CHANGES))
    asked: Happening | None = None
    doubted: Happening | None = None
    answered: list[Happening] = field(default_factory=list)
    evidence: list[str] = field(default_factory=list)
    finished: bool = False
    run: int = 0


def take(view: View, event: Happening) -> None:
    """Bring a view up to date."""
    kind = event["kind"]
    if kind == "connection":
        view.connections[event["item"]] = event
        for level, channels in ((True, event["on"]), (False, event["off"])):
            view.levels.update({(event["item"], c): level for c in channels})
    elif kind == "change":
        view.levels[event["item"], event["channel"]] = event["on"]
        view.changes.appendleft({**event, "changes": 1, "span_s": 0.0, "rests": False})
    elif kind == "settled":
        _settle(view, event)
    elif kind == "standing":
        place = event["what"], event["text"]
        if event["holds"]:
            view.standing[place] = event
        else:
            view.standing.pop(place, None)
    elif kind == "asked":
        view.asked, view.doubted = event, None
    elif kind == "doubted":
        view.doubted = event
    elif kind == "answered":
        view.asked = view.doubted = None
        view.answered.append(event)
    elif kind == "stored":
        view.run = event["run"]
    elif kind == "finished":
        view.finished, view.evidence = True, event["seen"]


def _settle(view: View, event: Happening) -> None:
    """Put the bounce in place of the changes it was made of."""
    same = [
        c
        for c in view.changes
        if not c["rests"] and (c["item"], c["channel"]) == (event["item"], event["channel"])
    ]
    for change in same[1:]:
        view.changes.remove(change)
    if same:
        moved = {k: event[k] for k in ("on", "changes", "span_s")}
        view.changes[view.changes.index(same[0])] = {**same[0], **moved, "rests": True}
