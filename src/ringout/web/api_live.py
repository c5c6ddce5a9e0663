"""The JSON API of the live page: how it stands, and what happens as server-sent events."""

# No `from __future__ import annotations` here: FastAPI reads the annotations of functions made
# inside a function, where names as text could not be found.

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Annotated, Any

from pydantic import BaseModel, Field

from ringout.web.ending import ENDING
from ringout.web.pages.live import post_of
from ringout.web.session import Session
from ringout.web.watching import Watching

Application = Any  # of FastAPI, which is loaded only when a bench is opened
STEP_S = 0.05  # how soon an event goes out
SPAN_S = 15.0  # a stream ends by itself and the browser asks again: nothing keeps the bench open


class LevelAnswer(BaseModel):
    """One input."""

    item: str
    channel: str
    on: bool


class LiveAnswer(BaseModel):
    """How the controllers that are watched stand."""

    running: bool
    source: str = Field(description="file or twin; empty when nothing is watched")
    problem: str = Field(description="what ended it; empty while it goes on")
    levels: list[LevelAnswer]
    standing: list[str] = Field(description="what is not right now, one sentence each")
    asked: str = Field(description="the action that is asked for; empty for none")
    answered: int = Field(ge=0)
    wrong: int = Field(ge=0)


def add_live(app: Application, session: Session) -> None:
    """Add what the live page shows.

    Args:
        app: the API.
        session: the bench.
    """
    from fastapi import Header, Query
    from fastapi.responses import JSONResponse, StreamingResponse

    def get_live() -> LiveAnswer:
        """Return how the watched controllers stand; the events are at `/api/live/events`."""
        watching = post_of(session).watching
        return _answer(watching)

    def get_events(
        after: Annotated[int, Query(ge=0, le=10**9)] = 0,
        last_event_id: Annotated[str, Header(max_length=20)] = "",
    ) -> Any:
        """Stream what happens, as docs/json.md says, for a quarter of a minute."""
        watching = post_of(session).watching
        if watching is None:
            return JSONResponse({"detail": "nothing is watched"}, 404)
        given = last_event_id.isascii() and last_event_id.isdecimal()
        start = int(last_event_id) if given else after
        # no cache and no proxy may hold events back
        headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
        return StreamingResponse(
            _stream(watching, start), media_type="text/event-stream", headers=headers
        )

    app.get("/live", response_model=LiveAnswer, tags=["live"])(get_live)
    app.get("/live/events", include_in_schema=False)(get_events)


def _answer(watching: Watching | None) -> LiveAnswer:
    if watching is None:
        return LiveAnswer(
            running=False, source="", problem="", levels=[], standing=[], asked="", answered=0,
            wrong=0,
        )  # fmt: skip
    with watching.lock:
        view = watching.view
        judged = [a for a in view.answered if a["verdict"] != "left out"]
        return LiveAnswer(
            running=watching.running,
            source=watching.order.source,
            problem=watching.problem[0] if watching.problem else "",
            levels=[LevelAnswer(item=i, channel=c, on=on) for (i, c), on in view.levels.items()],
            standing=[s["text"] for s in view.standing.values()],
            asked=view.asked["text"] if view.asked else "",
            answered=len(view.answered),
            wrong=sum(not a["right"] for a in judged),
        )


async def _stream(watching: Watching, number: int) -> AsyncIterator[str]:
    """Yield events after a number as a browser's EventSource reads them."""
    loop = asyncio.get_running_loop()
    end = loop.time() + SPAN_S
    yield "retry: 300\n\n"
    while loop.time() < end and not ENDING.is_set():
        for number, event in watching.after(number):  # noqa: B020, PLR1704  # goes on from there
            yield f"id: {number}\ndata: {json.dumps(event)}\n\n"
        if not watching.running:
            return
        await asyncio.sleep(STEP_S)
