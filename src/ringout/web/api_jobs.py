"""The JSON API of faults: what takes seconds answers 202 until it is there."""

# No `from __future__ import annotations` here: FastAPI reads the annotations of functions made
# inside a function, where names as text could not be found.

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from ringout.web.jobs import Job
from ringout.web.session import Session
from ringout.web.snapshot import Snapshot

Application = Any  # of FastAPI, which is loaded only when a bench is opened
Answer = Any  # what a model or a response of FastAPI is made of
MOST_NAME = 200
STRICT = ConfigDict(extra="forbid")
REFUSED: dict[int | str, dict[str, Any]] = {
    400: {"description": "The body is no JSON."},
    403: {"description": "The token is missing."},
    409: {"description": "It cannot be kept as things are."},
}


class Working(BaseModel):
    """Something is still being worked out: ask again."""

    waiting: bool = True
    percent: int = Field(ge=0, le=100)
    failed: str = Field(description="why it was not done; empty while it is under way")


class Figure(BaseModel):
    """A number with its unit."""

    name: str
    value: float | None
    unit: str


class Place(BaseModel):
    """A place in a file."""

    file: str
    line: int
    column: int


class EffectAnswer(BaseModel):
    """One thing a fault does."""

    kind: str = Field(description="harm, trips, level or moves")
    what: str
    while_: str = Field(alias="while", description="the state it shows in")
    before: str
    after: str
    text: str
    numbers: list[Figure]


class FaultAnswer(BaseModel):
    """One fault with everything it does."""

    id: str
    kind: str
    text: str
    where: list[Place | None]
    likelihood: float
    effects: list[EffectAnswer]
    harm: bool
    latent: bool
    why: str


class NotRunAnswer(BaseModel):
    """A check that could not run."""

    check: str
    why: str


class FaultsAnswer(BaseModel):
    """Faults with their effects, as `ringout faults --json` tells them."""

    count: int
    faults: list[FaultAnswer]
    pairs_left: int
    pairs_excluded: int
    states: int
    worst_residual_a: float | None
    not_run: list[NotRunAnswer]


WAITS: dict[int | str, dict[str, Any]] = {
    202: {"model": Working, "description": "Being worked out: ask again."},
    404: {"description": "There is no such thing, or no cell yet."},
}


def waiting_answer(job: Job) -> Answer:
    """Return the answer while a job is not ready."""
    from fastapi.responses import JSONResponse

    told = {"waiting": not job.failed, "percent": job.percent, "failed": job.failed}
    return JSONResponse(told, 202)


def unfit(place: str, text: str, kind: str = "value_error") -> list[dict[str, Any]]:
    """Return what is wrong with what was sent, in the shape in which FastAPI tells it."""
    where = "query" if place == "seen" else "body"
    return [{"loc": [where, place], "msg": text, "type": kind}]


def cell_of(session: Session) -> Snapshot:
    """Return the cell as it is now.

    Raises:
        HTTPException: nothing could be made of the file yet.
    """
    from fastapi import HTTPException

    now = session.now()
    if now.cell is None:
        raise HTTPException(404, "nothing could be made of the file yet: mend it under File")
    return now


def post_route(needs: list[Any]) -> dict[str, Any]:
    """Return what all routes that write have in common."""
    return {"methods": ["POST"], "dependencies": needs, "responses": {**WAITS, **REFUSED}}


def add_routes(app: Application, session: Session, needs: list[Any]) -> None:
    """Add what the pages for faults, checkout and find show to the API.

    Args:
        app: the API.
        session: the bench.
        needs: dependencies of what writes.
    """
    del needs
    _add_faults(app, session)


def _add_faults(app: Application, session: Session) -> None:
    from fastapi import HTTPException, Query

    from ringout.report.faults_view import chosen_rows, faults_answer
    from ringout.web.fault_rows import exposing, hidden_why

    name = Query(max_length=MOST_NAME)

    def get_faults(
        item: Annotated[str, name] = "",
        cable: Annotated[str, name] = "",
        signal: Annotated[str, name] = "",
        effect: Annotated[str, Query(pattern="^(|harm|trips|level|moves|latent)$")] = "",
    ) -> Answer:
        """Return every single fault with its effects, or those that concern something."""
        with session.lock:
            job = session.reckoner.ask(cell_of(session), "faults")
        if not job.ready:
            return waiting_answer(job)
        rows = chosen_rows(job.result, item=item, cable=cable, signal=signal, effect=effect)
        return faults_answer(job.result, rows)

    def get_step(fault: Annotated[str, name]) -> Answer:
        """Return which step of the checkout exposes a fault first, or why none does."""
        with session.lock:
            now = cell_of(session)
            beside = session.reckoner
            job, table = beside.ask(now, "checkout"), beside.ask(now, "faults")
        if not job.ready or not table.ready:
            return waiting_answer(job if job.failed or not job.ready else table)
        if not any(r.fault.id == fault for r in table.result.rows):
            raise HTTPException(404, f"there is no fault {fault}")
        found = exposing(job.result, fault)
        return {
            "fault": fault,
            "step": found[0] if found is not None else None,
            "do": found[1].do if found is not None else "",
            "expect": found[1].expect if found is not None else "",
            "why_not": "" if found is not None else hidden_why(job.result, fault),
        }

    add = app.add_api_route
    add("/faults", get_faults, response_model=FaultsAnswer, responses=WAITS)
    add("/faults/exposed", get_step, response_model=ExposedAnswer, responses=WAITS)


class ExposedAnswer(BaseModel):
    """Which step exposes a fault: `step` is None where none does, and `why_not` says why."""

    fault: str
    step: int | None
    do: str
    expect: str
    why_not: str
