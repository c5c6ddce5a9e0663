"""The application: pages, files, JSON and the doors before them, put together."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from ringout.web.doors import (
    DOOR_COOKIE,
    DOOR_PATH,
    MOST_BODY,
    App,
    Doors,
    Keys,
    Receive,
    Scope,
    Send,
)
from ringout.web.exchange import Answer, Ask, Page, Raw, Redirect, Route, not_there
from ringout.web.person import COOKIE, COOKIE_S, from_cookie, to_cookie
from ringout.web.render import STATIC, render
from ringout.web.session import Session

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route as Path

LOOPBACK = ("127.0.0.1", "localhost", "::1")
MOST_FIELDS = 200
PART_HEADER = "x-bench-part"  # the script asks for `main` alone


def create_app(
    path: str,
    *,
    names: Iterable[str] = LOOPBACK,
    port: int | None = None,
    keys: Keys | None = None,
    records: str | None = None,
) -> Doors:
    """Return the bench of a cell file as an ASGI application.

    Args:
        path: the cell file; it need not exist yet.
        names: names and addresses the bench answers to; `*` for any numeric address.
        port: the port it listens on; None: any.
        keys: secrets of this run; with a code in them every browser must give it.
        records: URL of the database of records; None for the file beside the cell.
    """
    keys = keys or Keys()
    return Doors(make_pages(Session(path, records), keys), keys, names, port)


def make_pages(session: Session, keys: Keys) -> Starlette:
    """Return the pages and the API without the doors before them.

    Args:
        session: the bench.
        keys: the secrets of this run.
    """
    from starlette.applications import Starlette
    from starlette.exceptions import HTTPException
    from starlette.routing import Mount
    from starlette.staticfiles import StaticFiles

    from ringout.web.pages import overview, start

    async def known(request: Request, problem: Exception) -> Response:
        """Say in words what was not found or not done."""
        assert isinstance(problem, HTTPException)
        page = not_there("There is no such page.")
        if problem.status_code != 404:
            values = {"text": problem.detail, "fix": ""}
            page = Page("message.html", "Not done", values, problem.status_code)
        return _response(request, session, keys, page)

    def pages(routes: Iterable[Route]) -> list[Path]:
        return [_page(session, keys, route) for route in routes]

    def api() -> App:
        from ringout.web.api import make_api

        made: App = make_api(session, keys)
        return made

    def others() -> App:
        from ringout.web.pages.register import ROUTES

        return Starlette(routes=pages(ROUTES), exception_handlers={HTTPException: known})

    app = Starlette(
        routes=[
            Mount("/static", StaticFiles(directory=STATIC)),
            Mount("/api", Late(api)),
            *door_routes(keys),
            *pages((*overview.ROUTES, *start.ROUTES)),  # what is seen first
            Mount("/", Late(others)),
        ],
        exception_handlers={HTTPException: known},
    )
    app.state.session = session
    return app


class Late:
    """Part of the bench that is made when it is first asked: what it needs is slow to load.

    Args:
        make: makes it.
    """

    def __init__(self, make: Callable[[], App]) -> None:
        self.make = make
        self._made: App | None = None
        self._lock = threading.Lock()

    def made(self) -> App:
        """Return it."""
        with self._lock:
            if self._made is None:
                self._made = self.make()
            return self._made

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        from starlette.concurrency import run_in_threadpool

        app = self._made
        if app is None:
            app = await run_in_threadpool(self.made)
        await app(scope, receive, send)


def _page(session: Session, keys: Keys, route: Route) -> Path:
    """Return one page at its path."""
    from starlette.concurrency import run_in_threadpool
    from starlette.routing import Route as Path

    async def reading(request: Request) -> Response:
        return await run_in_threadpool(_answered, request, session, keys, route, ())

    async def writing(request: Request) -> Response:
        form = await _form(request)
        token = next((v for k, v in form if k == "token"), "")
        if not keys.may_write(token):
            text = "The page is from an earlier run of the bench: load it again, then repeat."
            page = Page("message.html", "Not written", {"text": text, "fix": ""}, 403)
            return _response(request, session, keys, page)
        return await run_in_threadpool(_answered, request, session, keys, route, form)

    methods = ["POST"] if route.writes else ["GET"]
    return Path(route.path, writing if route.writes else reading, methods=methods)


async def _form(request: Request) -> tuple[tuple[str, str], ...]:
    """Return the fields of a form; files are refused."""
    form = await request.form(max_files=0, max_fields=MOST_FIELDS, max_part_size=MOST_BODY)
    return tuple((k, v) for k, v in form.multi_items() if isinstance(v, str))


def _answered(
    request: Request,
    session: Session,
    keys: Keys,
    route: Route,
    form: tuple[tuple[str, str], ...],
) -> Response:
    ask = Ask(
        request.url.path,
        {k: str(v) for k, v in request.path_params.items()},
        tuple(request.query_params.multi_items())[:MOST_FIELDS],
        form,
        from_cookie(request.cookies.get(COOKIE, "")),
    )
    with session.lock:  # reckoning shares what was compiled; one at a time keeps it whole
        start = time.perf_counter()
        answer = route.handler(session, ask)
        made = _response(request, session, keys, answer)
        spent_ms = 1000 * (time.perf_counter() - start)
    made.headers["server-timing"] = f"bench;dur={spent_ms:.1f}"
    return made


def _response(request: Request, session: Session, keys: Keys, answer: Answer) -> Response:
    from starlette.responses import HTMLResponse, RedirectResponse
    from starlette.responses import Response as Plain

    from ringout.web.pages.menu import MENU

    if isinstance(answer, Redirect):
        leads = RedirectResponse(answer.to, 303)
        if answer.person is not None:
            said = to_cookie(answer.person)
            leads.set_cookie(COOKIE, said, COOKIE_S, httponly=True, samesite="strict")
        return leads
    if isinstance(answer, Raw):
        headers = {"content-disposition": f'attachment; filename="{answer.name}"'}
        return Plain(answer.data, media_type=answer.media, headers=headers if answer.name else {})
    part = request.headers.get(PART_HEADER) == "main"
    text = render(
        answer.template,
        {
            "layout": "part.html" if part else "base.html",
            "title": answer.title,
            "file": session.name,
            "token": keys.token,
            "menu": [(to, name, _here(request.url.path, to)) for to, name in MENU],
            "here": request.url.path,
            "person": from_cookie(request.cookies.get(COOKIE, "")),
            **answer.values,
        },
    )
    # one address, two answers: a cache must keep them apart
    return HTMLResponse(text, answer.status, {"vary": PART_HEADER})


def _here(path: str, to: str) -> bool:
    return path == to if to == "/" else path.split("/")[1] == to.split("/")[1]


def door_routes(keys: Keys) -> list[Path]:
    """Return the place where the one-time code is given."""
    from starlette.responses import HTMLResponse, RedirectResponse
    from starlette.routing import Route as Path

    async def door(request: Request) -> Response:
        del request
        return HTMLResponse(render("door.html", {"wrong": False}))

    async def enter(request: Request) -> Response:
        form = dict(await _form(request))
        found = keys.let_in(form.get("code", ""))
        if not found:
            return HTMLResponse(render("door.html", {"wrong": True}), 403)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(DOOR_COOKIE, found, httponly=True, samesite="strict")
        return answer

    return [Path(DOOR_PATH, door, methods=["GET"]), Path(DOOR_PATH, enter, methods=["POST"])]
