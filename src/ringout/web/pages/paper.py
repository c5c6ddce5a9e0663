"""Paper: connection sheets, lists, drawings and the wiring pack, to view, print and download."""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import quote, urlencode

from ringout.cell.model import Cell
from ringout.report.sheet import Sheet, build_sheet
from ringout.web.exchange import Answer, Ask, Page, Raw, Redirect, Route, not_there
from ringout.web.jobs import Job
from ringout.web.paper import (
    LISTS,
    MEDIA,
    PAPERS,
    PARTS,
    ROW_HEADS,
    blocks_of,
    drawing_names,
    drawing_of,
    faces_of,
    sheet_file,
    table_of,
)
from ringout.web.session import Session
from ringout.web.snapshot import Snapshot
from ringout.web.waiting import cell_or_way

TITLE = "Paper"


def show(session: Session, ask: Ask) -> Answer:
    """Return one list, drawing or the pack."""
    now = cell_or_way(session, TITLE)
    if not isinstance(now, Snapshot):
        return now
    assert now.cell is not None
    what = ask.first("what", LISTS[0][0])
    what = what if what in dict(LISTS) else LISTS[0][0]
    sheet = _sheet(now)
    values: dict[str, Any] = {
        "what": what,
        "lists": [(t, f"/paper?what={w}", w == what) for w, t in LISTS],
        "sheet": sheet,
        "blocks": blocks_of(sheet) if what == "connections" else [],
        "row_heads": ROW_HEADS,
        "heads": [],
        "rows": [],
        "faces": [],
        "drawings": [],
        "drawing": "",
        "svgs": [],
        "files": [],
        "job": None,
        "pack_url": "",
        "papers": PAPERS,
        "parts": PARTS,
        "paper": "a4",
        "part": "",
    }
    if what in ("cut_list", "io"):
        values["heads"], values["rows"] = table_of(sheet, what)
    elif what == "faces":
        values["faces"] = now.shelf.get("faces", lambda: faces_of(sheet))
    elif what == "drawings":
        values |= _drawings(now, now.cell, ask)
    elif what == "pack":
        values |= _pack(session, now, ask)
    return Page("paper.html", TITLE, values)


def _sheet(now: Snapshot) -> Sheet:
    assert now.cell is not None
    cell = now.cell
    return now.shelf.get("sheet", lambda: build_sheet(cell))


def _drawings(now: Snapshot, cell: Cell, ask: Ask) -> dict[str, Any]:
    names = drawing_names(cell)
    name = ask.first("name", names[0])
    name = name if name in names else names[0]
    svgs = _svgs(now, name)
    return {
        "drawings": [(n, f"/paper?{urlencode([('what', 'drawings'), ('name', n)])}", n == name)
                     for n in names],
        "drawing": name,
        "svgs": svgs,
        "files": [
            (f"{name}, sheet {k}" if len(svgs) > 1 else name,
             f"/paper/drawing/{quote(name, safe='')}.svg{f'?sheet={k}' if k > 1 else ''}")
            for k in range(1, len(svgs) + 1)
        ],
    }  # fmt: skip


def _svgs(now: Snapshot, name: str) -> list[str]:
    return now.shelf.get(("paper", name), lambda: drawing_of(now, name))


def _asked(ask: Ask) -> tuple[str, str]:
    """Return paper size and part of the pack that are asked for."""
    paper, part = ask.first("paper", "a4"), ask.first("part")
    return (paper if paper in dict(PAPERS) else "a4", part if part in dict(PARTS) else "")


def _job(session: Session, now: Snapshot, paper: str, part: str) -> Job:
    return session.reckoner.ask(now, "pack", paper, part, now.loaded.problems)


def _pack(session: Session, now: Snapshot, ask: Ask) -> dict[str, Any]:
    paper, part = _asked(ask)
    url = f"/paper/pack.pdf?{urlencode([('paper', paper), ('part', part)])}"
    if not ask.first("paper"):
        return {"paper": paper, "part": part}
    job = _job(session, now, paper, part)
    ready = {"pack_url": url} if job.ready else {"job": job}
    return {"paper": paper, "part": part, **ready}


def pack(session: Session, ask: Ask) -> Answer:
    """Return the pack as a file when it is made; until then, the page that waits for it."""
    now = cell_or_way(session, TITLE)
    if not isinstance(now, Snapshot):
        return now
    paper, part = _asked(ask)
    job = _job(session, now, paper, part)
    if not job.ready:
        pairs = [("what", "pack"), ("paper", paper), ("part", part)]
        return Redirect(f"/paper?{urlencode(pairs)}")
    name = f"{_stem(session)}{f'-{part}' if part else ''}.pdf"
    return Raw(job.result, MEDIA["pdf"], "" if ask.first("view") else name)


def sheet(session: Session, ask: Ask) -> Answer:
    """Return the sheet as a file for other programs."""
    now = cell_or_way(session, TITLE)
    if not isinstance(now, Snapshot):
        return now
    kind = ask.words["kind"]
    if kind not in ("csv", "xlsx"):
        return not_there(f"There is no sheet as `{kind}`.", "Ask for csv or xlsx.")
    data = now.shelf.get(("file", kind), lambda: sheet_file(_sheet(now), kind))
    return Raw(data, MEDIA[kind], f"{_stem(session)}-sheet.{kind}")


def drawing(session: Session, ask: Ask) -> Answer:
    """Return one sheet of a drawing as SVG."""
    now = cell_or_way(session, TITLE)
    if not isinstance(now, Snapshot):
        return now
    assert now.cell is not None
    name, number = ask.words["name"], ask.first("sheet", "1")
    if name not in drawing_names(now.cell):
        return not_there(f"There is no drawing `{name}`.", "Choose one from the list of drawings.")
    svgs = _svgs(now, name)
    if number not in [str(k) for k in range(1, len(svgs) + 1)]:
        return not_there(f"`{name}` has no sheet {number[:20]}.", f"It has {len(svgs)}.")
    suffix = f"-{number}" if len(svgs) > 1 else ""
    file = f"{_plain(name)}{suffix}.svg"
    return Raw(svgs[int(number) - 1].encode(), MEDIA["svg"], file)


def _stem(session: Session) -> str:
    return _plain(session.name.rpartition(".")[0] or session.name)


def _plain(name: str) -> str:
    """Return a name that every system takes for a file."""
    return re.sub(r"[^A-Za-z0-9_+-]", "_", name)[:80] or "cell"


ROUTES = (
    Route("/paper", show),
    Route("/paper/pack.pdf", pack),
    Route("/paper/sheet.{kind}", sheet),
    Route("/paper/drawing/{name:path}.svg", drawing),
)
