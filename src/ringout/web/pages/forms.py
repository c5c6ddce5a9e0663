"""Forms that add to the cell file: an item, a cable, joins, a signal; and take lines out again."""

from __future__ import annotations

from typing import Any

from ringout.cell.catalogue import find_part, part_names
from ringout.cell.model import Cell
from ringout.cellfile import Mapping, Scalar, parse_tree
from ringout.cellfile.tree import Sequence as SequenceNode
from ringout.report.sheet_nets import Nets
from ringout.web.checking import check_text
from ringout.web.entries import Done, enter
from ringout.web.exchange import Answer, Ask, Page, Redirect, Route
from ringout.web.faces import free_channels
from ringout.web.landing import GIVERS, TAKERS, free_places
from ringout.web.session import Session
from ringout.web.snapshot import Shelf

LAID = ("cable", "cordset")  # families that are cables, not items
_PARTS = Shelf(4)


def show(session: Session, ask: Ask) -> Answer:
    """Return the forms."""
    if not session.exists:
        return Redirect("/new")
    return _page(session, ask, None, {})


def add(session: Session, ask: Ask) -> Answer:
    """Write what a form says, or show it again with what is wrong."""
    words = {k: v for k, v in ask.form if k not in ("token", "digest", "kind")}
    done = enter(session, ask.sent("digest"), ask.sent("kind"), words)
    if done.digest:
        cable = words.get("cable", "")
        return Redirect(f"/add?done={ask.sent('kind')}" + (f"&cable={cable}" if cable else ""))
    return _page(session, ask, done, words | {"kind": ask.sent("kind")})


def parts_by_family(folder: str) -> dict[str, list[tuple[str, str]]]:
    """Return (name, title) of all parts by family, user parts included."""

    def made() -> dict[str, list[tuple[str, str]]]:
        found: dict[str, list[tuple[str, str]]] = {}
        for name in part_names(folder):
            part = find_part(name, None, folder)
            if part is not None:
                found.setdefault(part.family, []).append((name, part.title))
        return dict(sorted(found.items()))

    return _PARTS.get((folder, tuple(part_names(folder))), made)


def _page(session: Session, ask: Ask, done: Done | None, words: dict[str, str]) -> Page:
    text, digest = session.read()
    cell, problems = check_text(session, text)
    parts = parts_by_family(str(session.folder))
    cable = words.get("cable") or ask.first("cable")
    values: dict[str, Any] = {
        "digest": digest,
        "devices": {f: p for f, p in parts.items() if f in (*GIVERS, *TAKERS)},
        "places": free_places(cell) if cell is not None else [],
        "last_signal": _last_signal(cell) if ask.first("done") in ("device", "signal") else "",
        "items": {f: p for f, p in parts.items() if f not in LAID},
        "laid": {f: p for f, p in parts.items() if f in LAID},
        "problems": len(problems),
        "said": "Written into the file." if ask.first("done") and not ask.form else "",
        "troubles": done.troubles if done is not None else (),
        "sent": words,
        "lines": _lines(text),
        "can_undo": bool(session.undo) and session.undo[-1][0] == digest,
        "cable": "",
        "cores": [],
        "cables": [],
        "terminals": [],
        "sockets": [],
        "cores_free": [],
        "channels": [],
        "conditions": [],
        "loads": [],
    }
    if cell is not None:
        values |= _choices(cell, cable)
    status = 200 if done is None else 409 if done.stale else 422
    return Page("add.html", "Add to the cell", values, status)


def _last_signal(cell: Cell | None) -> str:
    """Return the signal that was added last: new ones stand at the end of the file."""
    return [*cell.signals][-1] if cell is not None and cell.signals else ""


def _choices(cell: Cell, cable: str) -> dict[str, Any]:
    """Return what the fields of the forms offer."""
    nets = Nets(cell)
    used = {(j.cable, j.core) for j in cell.joins if j.cable}
    terminals = [
        (str(t), nets.carries(t)) for item in cell.items.values() for t in item.terminals()
    ]
    sockets = [
        (f"{item.name}-{s.name}", item.note)
        for item in cell.items.values()
        for s in item.part.sockets.values()
        if not s.connector.startswith("terminal")
    ]
    hand = [c for c in cell.cables.values() if c.part.family == "cable"]
    cores = []
    if cable in cell.cables:
        at = {(j.cable, j.core): j for j in cell.joins}
        for core in cell.cables[cable].part.cores:
            join = at.get((cable, core.colour))
            cores.append((core.colour, str(join.a) if join else "", str(join.b) if join else ""))
    return {
        "cable": cable if cable in cell.cables else "",
        "cores": cores,
        "cables": [c.name for c in hand],
        "terminals": terminals,
        "sockets": sockets,
        "cores_free": [
            f"{c.name}:{core.colour}"
            for c in hand
            for core in c.part.cores
            if (c.name, core.colour) not in used
        ]
        + [c.name for c in cell.cables.values() if c.part.family == "cordset"],
        "channels": free_channels(cell),
        "conditions": [
            f"{a.name} {p}"
            for a in cell.actors.values()
            if a.moved_by in ("person", "coil")
            for p in a.positions
        ],
        "loads": [i.name for i in cell.items.values() if i.part.main],
    }


def _lines(text: str) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return what stands in the file itself, by section: key to remove it by, and its words."""
    root, _ = parse_tree(text, "")
    out = []
    for section in ("items", "cables", "joins", "signals"):
        node = root.get(section) if root is not None else None
        rows: list[tuple[str, str]] = []
        if isinstance(node, Mapping):
            rows = [(k.text, f"{k.text}: {_words(v)}") for k, v in node.entries]
        elif isinstance(node, SequenceNode):
            rows = [(str(n), _words(v)) for n, v in enumerate(node.items)]
        out.append((section, rows))
    return out


def _words(node: object) -> str:
    if isinstance(node, Scalar):
        return " ".join(node.text.split())
    if isinstance(node, Mapping):
        return ", ".join(f"{k.text} {_words(v)}" for k, v in node.entries)
    if isinstance(node, SequenceNode):
        return ", ".join(_words(v) for v in node.items)
    return ""


ROUTES = (Route("/add", show), Route("/add", add, writes=True))
