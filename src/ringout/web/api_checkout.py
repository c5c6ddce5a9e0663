"""The JSON API of the checkout: the same functions as its pages."""

# No `from __future__ import annotations` here: FastAPI reads the annotations of functions made
# inside a function, where names as text could not be found.

from typing import Annotated, Any

from pydantic import BaseModel, Field

from ringout.checkout import PHASES
from ringout.records import StoreError, UnclearReadingError, find_store, kept_as
from ringout.records.model import READING
from ringout.records.view import reading_json
from ringout.report.checkout_view import checkout_answer, numbered
from ringout.web.api_jobs import (
    REFUSED,
    STRICT,
    WAITS,
    Answer,
    Application,
    cell_of,
    post_route,
    unfit,
    waiting_answer,
)
from ringout.web.pages.checkout import read_typed
from ringout.web.person import MOST, person_of
from ringout.web.session import Session
from ringout.web.steps import next_open, read_picked
from ringout.web.walk import Walk, begin, keep, told, walk_of

_MOST_NEWS = 50


class WhoBody(BaseModel):
    """Who works, and with which meter."""

    model_config = STRICT
    who: str = Field(min_length=1, max_length=MOST)
    meter: str = Field("", max_length=MOST)


class StepBody(WhoBody):
    """What was read at a step: a reading with unit, `open`, or what was seen by name."""

    reading: str = Field("", max_length=60)
    unit: str = Field("", max_length=4)
    levels: dict[str, str] = Field(
        default_factory=dict, max_length=200, description="what differs; empty: all as expected"
    )
    once: str = Field("", max_length=MOST, description="sent again, it is stored once")


class EntryAnswer(BaseModel):
    """What was seen at one step, judged."""

    step: int
    seen: str
    verdict: str = Field(description="right or wrong")
    evidence: list[str]
    who: str
    at: str
    disputed: bool = Field(description="two people did not see the same")


class RunAnswer(BaseModel):
    """How far a checkout is worked through."""

    run: int = Field(description="its number in the records; 0: none was begun")
    begun: str
    steps: int
    next: int = Field(description="next step nothing was entered for; 0: none is left")
    stale: bool = Field(description="begun with another state of the file")
    trouble: str
    entries: list[EntryAnswer]


class NewsAnswer(BaseModel):
    """What was read meanwhile, by whomever."""

    head: int = Field(description="number of the last record of the cell")
    readings: list[dict[str, Any]] = Field(description="as `ringout records show --json`")


def add_routes(app: Application, session: Session, needs: list[Any]) -> None:
    """Add the checkout to the API.

    Args:
        app: the API.
        session: the bench.
        needs: dependencies of what writes.
    """
    _add_reading(app, session)
    _add_writing(app, session, needs)


def _walk(session: Session) -> Answer:
    """Return the checkout and how far it is, or the answer while it is worked out."""
    now = cell_of(session)
    job = session.reckoner.ask(now, "checkout")
    return walk_of(session, now, job.result) if job.ready else waiting_answer(job)


def _run_answer(found: Answer) -> Answer:
    """Return how far a checkout is worked through."""
    if not isinstance(found, Walk):
        return found
    done = found.done
    return {
        "run": found.run.number if found.run is not None else 0,
        "begun": found.run.at if found.run is not None else "",
        "steps": len(found.checkout.steps),
        "next": next_open(found.checkout, done),
        "stale": found.stale,
        "trouble": found.trouble,
        "entries": [
            {
                "step": n,
                "seen": e.seen,
                "verdict": e.verdict,
                "evidence": list(e.evidence),
                "who": e.who,
                "at": e.at,
                "disputed": e.disputed,
            }
            for n, e in sorted(done.items())
        ],
    }


def _add_reading(app: Application, session: Session) -> None:
    from fastapi import HTTPException, Query

    def get_checkout() -> Answer:
        """Return the procedure, as `ringout checkout --json` does."""
        with session.lock:
            found = _walk(session)
        if not isinstance(found, Walk):
            return found
        steps = numbered(found.checkout, PHASES)
        return checkout_answer(found.cell, found.checkout, steps)

    def get_run() -> Answer:
        """Return how far the checkout is worked through."""
        with session.lock:
            return _run_answer(_walk(session))

    def news(after: Annotated[int, Query(ge=0, le=2**31 - 1)] = 0) -> Answer:
        """Return what anybody has read since a record, and the number of the last one."""
        with session.lock:
            cell = cell_of(session).cell
            assert cell is not None
        try:
            store = find_store(session.path, session.records, cell=kept_as(cell, session.path))
            if store is None:
                return {"head": 0, "readings": []}
            with store:
                head = store.head().number
                found = [e for e in store.since(after) if e.kind == READING][-_MOST_NEWS:]
                readings = [reading_json(store.reading(e.number)) for e in found]
        except StoreError as problem:
            raise HTTPException(409, told(problem)) from problem
        return {"head": head, "readings": readings}

    add = app.add_api_route
    add("/checkout", get_checkout, responses=WAITS)
    add("/checkout/run", get_run, response_model=RunAnswer, responses=WAITS)
    add("/checkout/news", news, response_model=NewsAnswer, responses={409: REFUSED[409]})


def _add_writing(app: Application, session: Session, needs: list[Any]) -> None:
    from fastapi import HTTPException, Path

    def begin_run(body: WhoBody) -> Answer:
        """Begin the checkout anew; the run before stays in the records."""
        with session.lock:
            found = _walk(session)
            if isinstance(found, Walk):
                _refuse(begin(session, found, person_of(body.who, body.meter)))
            return _run_answer(_walk(session))

    def enter(number: Annotated[int, Path(ge=1, le=100_000)], body: StepBody) -> Answer:
        """Store what was read at a step, judged by its limits."""
        with session.lock:
            found = _walk(session)
            if not isinstance(found, Walk):
                return found
            if number > len(found.checkout.steps):
                raise HTTPException(404, f"there is no step {number}")
            try:
                if found.steps[number - 1].unit:
                    read = read_typed(found.steps[number - 1], body.reading, body.unit)
                else:
                    read = read_picked(found.checkout.steps[number - 1], body.levels)
            except UnclearReadingError as problem:
                raise HTTPException(422, unfit("reading", told(problem))) from problem
            person = person_of(body.who, body.meter)
            _refuse(keep(session, found, number, read, person, body.once))
            return _run_answer(_walk(session))

    post = post_route(needs)
    app.add_api_route("/checkout/run", begin_run, response_model=RunAnswer, **post)
    app.add_api_route("/checkout/steps/{number}", enter, response_model=RunAnswer, **post)


def _refuse(trouble: str) -> None:
    """Answer why something could not be stored, if it could not."""
    from fastapi import HTTPException

    if trouble:
        raise HTTPException(409, trouble)
