"""A folder of cells: an index page, and a bench for each cell at a port of its own.

Each bench is the one of a single cell, so nothing of one cell can reach the other; the one-time
code and the token are the same for all. A bench is made when its first page is asked for.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from ringout.records import CellEntry, cells_in
from ringout.records.paper import minute
from ringout.records.view import entry_json
from ringout.web.app import LOOPBACK, create_app, door_routes
from ringout.web.doors import App, Doors, Keys, Receive, Scope, Send
from ringout.web.jobs import Jobs
from ringout.web.pages.records import SIGNS as STATE_SIGNS
from ringout.web.render import STATIC, render

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

SIGNS = {"clean": "✓", "errors": "✗", "not run": "?", "unreadable": "✗", "not asked": "○"}


class Folder:
    """Sends each request to the application of the port it came in at.

    Args:
        index: the application of the index page, and its port.
        cells: port of the bench of each cell file.
        keys: the secrets of this run, shared by all.
        names: names and addresses the benches answer to.
        records: URL of the database of records; None for the files beside the cells.
    """

    def __init__(
        self,
        index: tuple[int, App],
        cells: Mapping[int, str],
        keys: Keys,
        names: Iterable[str] = LOOPBACK,
        records: str | None = None,
    ) -> None:
        self._cells, self._keys, self._names = dict(cells), keys, tuple(names)
        self._records = records
        self._index = index[1]
        self._apps: dict[int, App] = {index[0]: index[1]}
        self._lock = threading.Lock()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        server = scope.get("server")  # what concerns the whole process has none
        app = self._index if server is None else self._app(int(server[1]))
        await app(scope, receive, send)

    def _app(self, port: int) -> App:
        with self._lock:
            if port not in self._apps:
                self._apps[port] = create_app(
                    self._cells[port],
                    names=self._names,
                    port=port,
                    keys=self._keys,
                    records=self._records,
                )
            return self._apps[port]


def create_index(
    folder: str,
    cells: Mapping[int, str],
    *,
    keys: Keys,
    names: Iterable[str] = LOOPBACK,
    port: int | None = None,
    records: str | None = None,
) -> Doors:
    """Return the index page of a folder as an ASGI application.

    Args:
        folder: the folder.
        cells: port of the bench of each cell file.
        keys: the secrets of this run.
        names: names and addresses it answers to.
        port: the port it listens on; None: any.
        records: URL of the database of records.
    """
    from starlette.applications import Starlette
    from starlette.responses import HTMLResponse, JSONResponse
    from starlette.routing import Mount, Route
    from starlette.staticfiles import StaticFiles

    jobs, ports = Jobs(), {path: at for at, path in cells.items()}

    def entries() -> tuple[tuple[CellEntry, ...], Any]:
        """Return what is known of the cells now, and the work of judging them."""
        plain = cells_in(folder, records, judged=False)
        key = tuple((e.path, e.file_hash) for e in plain)
        job = jobs.get(key, lambda tell: _judged(folder, records, len(plain), tell))
        if not job.ready:
            return plain, job
        verdicts = {e.path: e for e in job.result}
        return tuple(_with_verdict(e, verdicts.get(e.path)) for e in plain), job

    def page(request: Request) -> Response:
        found, job = entries()
        values = {
            "layout": "base.html",
            "title": "Cells",
            "file": folder,
            "token": keys.token,
            "menu": [("/", "Cells", True)],
            "here": "/",
            "rows": [_row(e, _address(request, ports.get(e.path))) for e in found],
            "job": job,
        }
        return HTMLResponse(render("cells.html", values))

    def listed(request: Request) -> Response:
        del request
        found, job = entries()
        return JSONResponse({"cells": [_answer(e, ports) for e in found], "waiting": not job.ready})

    app = Starlette(
        routes=[
            Mount("/static", StaticFiles(directory=STATIC)),
            *door_routes(keys),
            Route("/", page),
            Route("/api/cells", listed),
        ],
    )
    return Doors(app, keys, names, port)


def _judged(folder: str, records: str | None, count: int, tell: Any) -> tuple[CellEntry, ...]:
    tell(0, max(count, 1))
    found = cells_in(folder, records, judged=True)
    tell(max(count, 1), max(count, 1))
    return found


def _with_verdict(plain: CellEntry, judged: CellEntry | None) -> CellEntry:
    """Return how far a cell is now, with the verdict worked out for the same file."""
    if judged is None or judged.file_hash != plain.file_hash:
        return plain
    return replace(plain, verdict=judged.verdict, problems=judged.problems)


def _address(request: Request, port: int | None) -> str:
    """Return where the bench of a cell is, by the name the browser knows this machine by."""
    return str(request.url.replace(port=port, path="/", query="")) if port is not None else ""


def _row(entry: CellEntry, url: str) -> dict[str, Any]:
    last = entry.last
    return {
        "url": url,
        "name": entry.name or entry.path,
        "path": entry.path,
        "revision": entry.revision,
        "sign": SIGNS.get(entry.verdict, "?"),
        "verdict": entry.verdict,
        "problems": entry.problems,
        "trouble": entry.trouble,
        "run": last.run.number if last is not None else 0,
        "state": last.state if last is not None else "",
        "state_sign": STATE_SIGNS[last.state] if last is not None else "",
        "who": last.run.who if last is not None else "",
        "last_at": minute(last.last_at or last.run.at) if last is not None else "",
        "open": entry.open,
        "wrong": entry.wrong,
        "same_file": entry.same_file,
    }


def _answer(entry: CellEntry, ports: Mapping[str, int]) -> dict[str, Any]:
    """Return a cell as `ringout records cells --json` does, and the port of its bench."""
    return {**entry_json(entry), "port": ports.get(entry.path)}
