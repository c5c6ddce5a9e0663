"""Sockets: the face of every socket, what is on its pins, and what is still free."""

from __future__ import annotations

from typing import Any

from ringout.report.faces_model import SIDES
from ringout.web.exchange import Answer, Ask, Page, Redirect, Route
from ringout.web.faces import free_channels, socket_views
from ringout.web.session import Session

SHOWN = (("hosts", "To plug into"), ("devices", "On devices"), ("clamps", "Clamp rows"),
         ("free", "Free ones"))  # fmt: skip


def show(session: Session, ask: Ask) -> Answer:
    """Return the faces of the sockets asked for."""
    if not session.exists:
        return Redirect("/new")
    now = session.now()
    cell = now.cell
    if cell is None:
        values: dict[str, Any] = {
            "sockets": [],
            "channels": [],
            "sides": [],
            "shown": [],
            "cell": None,
        }
        return Page("sockets.html", "Sockets", values)
    side = ask.first("side", SIDES[0])
    side = side if side in SIDES else SIDES[0]
    what = ask.first("show", "hosts")
    what = what if what in dict(SHOWN) else "hosts"
    views = now.shelf.get(("sockets", side), lambda: socket_views(cell, side))
    chosen = [
        v
        for v in views
        if {
            "hosts": v.host and bool(v.svg),
            "devices": bool(v.svg) and not v.host,
            "clamps": not v.svg,
            "free": v.host and v.free and bool(v.svg),
        }[what]
    ]
    return Page(
        "sockets.html",
        "Sockets",
        {
            "cell": cell,
            "sockets": chosen,
            "channels": free_channels(cell),
            "sides": [
                (f"seen from the {s} side", f"/sockets?show={what}&side={s}", s == side)
                for s in SIDES
            ],
            "shown": [(t, f"/sockets?show={w}&side={side}", w == what) for w, t in SHOWN],
        },
    )


ROUTES = (Route("/sockets", show),)
