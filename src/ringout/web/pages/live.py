"""Live: the controllers' inputs as they are now, a led checkout of them, a stand-in to practise."""

from __future__ import annotations

from typing import Any

from ringout.cell.model import Cell
from ringout.web.exchange import Answer, Ask, Page, Redirect, Route, whole
from ringout.web.led import LedRun
from ringout.web.person import person_of
from ringout.web.sentences import as_sentences
from ringout.web.session import Session
from ringout.web.snapshot import Snapshot
from ringout.web.waiting import cell_or_way
from ringout.web.watching import FILE, TWIN, Order, Watching

TITLE = "Live"
MOST_SEED = 9999


class Post:
    """Where the one watch of a bench stands, if there is one."""

    watching: Watching | None = None

    def put(self, watching: Watching | None) -> None:
        """Put another watch in place of the one there is."""
        before, self.watching = self.watching, watching
        if before is not None:
            before.stop()
        if watching is not None:
            watching.begin()


def post_of(session: Session) -> Post:
    """Return where the watch of a bench stands."""
    return session.kept.get("live", Post)


def show(session: Session, ask: Ask) -> Answer:
    """Return what is seen now, or from where to begin."""
    del ask
    now = cell_or_way(session, TITLE)
    if not isinstance(now, Snapshot):
        return now
    assert now.cell is not None
    watching = post_of(session).watching
    if watching is None:
        links = [
            {"item": k.item, "protocol": k.protocol, "target": k.target}
            for k in now.cell.links.values()
        ]
        return Page("live_start.html", TITLE, {"links": links, "most": MOST_SEED})
    return Page("live.html", TITLE, _values(now, watching))


def _values(now: Snapshot, watching: Watching) -> dict[str, Any]:
    cell, order = watching.cell, watching.order
    with watching.lock:
        view = watching.view
        return {
            "running": watching.running,
            "problem": as_sentences(*watching.problem) if watching.problem else "",
            "stale": watching.key != now.key,
            "twin": order.source == TWIN,
            "guided": order.guided,
            "hides": order.hide,
            "reached": bool(view.connections),
            "away": [
                as_sentences(c["text"], c["cure"], "it is tried again")
                for c in view.connections.values()
                if not c["up"]
            ],
            "standing": [as_sentences(s["text"], s["cure"]) for s in view.standing.values()],
            "signals": _signals(cell, view.levels),
            "changes": list(view.changes),
            "asked": view.asked,
            "doubted": view.doubted,
            "answered": view.answered[::-1],
            "wrong": sum(not a["right"] for a in view.answered if a["verdict"] != "left out"),
            "finished": view.finished,
            "evidence": list(view.evidence),
            "run": view.run,
            "stored": watching.led is not None,
            "actors": _actors(cell, watching),
            "revealed": list(watching.hidden) if not watching.running else [],
        }


def _signals(cell: Cell, levels: dict[tuple[str, str], bool]) -> list[dict[str, Any]]:
    """Return every input that has a signal or is on, with its level where it is known."""
    out = []
    for (item, channel), signal in cell.signal_of_channel().items():
        if signal.channel.kind == "input":
            on = levels.get((item, channel))
            out.append({"name": signal.name, "channel": f"{item}.{channel}", "on": on})
    known = {s["channel"] for s in out}
    for (item, channel), on in levels.items():
        if on and f"{item}.{channel}" not in known:
            out.append({"name": "no signal", "channel": f"{item}.{channel}", "on": on})
    return out


def _actors(cell: Cell, watching: Watching) -> list[dict[str, Any]]:
    """Return what a person moves at the stand-in, and where it is put."""
    state = watching.state()
    return [
        {
            "name": a.name,
            "note": cell.items[a.item].note,
            "positions": [(p, state[a.name] == p) for p in a.positions],
        }
        for a in cell.actors.values()
        if a.moved_by == "person" and a.name in state
    ]


def begin(session: Session, ask: Ask) -> Answer:
    """Begin to watch."""
    now = cell_or_way(session, TITLE)
    if not isinstance(now, Snapshot):
        return now
    assert now.cell is not None
    order = Order(
        TWIN if ask.sent("source") == TWIN or not now.cell.links else FILE,
        ask.sent("do") == "checkout",
        1 if ask.sent("hide") else 0,
        whole(ask.sent("seed").strip(), 20) % (MOST_SEED + 1),
    )
    led, person = None, None
    if order.guided and order.source == FILE and ask.sent("who").strip():
        person = person_of(ask.sent("who"), ask.person.meter)
        led = LedRun(session, now.cell, person.name)
    post_of(session).put(Watching(now.cell, order, now.key, led))
    return Redirect("/live", person)


def move(session: Session, ask: Ask) -> Answer:
    """Put an actor of the stand-in into a position."""
    watching = post_of(session).watching
    if watching is not None:
        actor, _, position = ask.sent("put").partition(" ")
        watching.move(actor, position)
    return Redirect("/live")


def say(session: Session, ask: Ask) -> Answer:
    """Take the answer to whether an action was done."""
    watching = post_of(session).watching
    if watching is not None:
        watching.say(ask.sent("said"))
    return Redirect("/live")


def stop(session: Session, ask: Ask) -> Answer:
    """End the watch; what was seen stays until the next is begun."""
    post = post_of(session)
    if post.watching is not None and post.watching.running and ask.sent("do") != "new":
        post.watching.stop()
    else:
        post.put(None)
    return Redirect("/live")


ROUTES = (
    Route("/live", show),
    Route("/live", begin, writes=True),
    Route("/live/move", move, writes=True),
    Route("/live/say", say, writes=True),
    Route("/live/stop", stop, writes=True),
)
