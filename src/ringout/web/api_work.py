"""The JSON API of search and exercise: the same functions as their pages."""

# No `from __future__ import annotations` here: FastAPI reads the annotations of functions made
# inside a function, where names as text could not be found.

from typing import Annotated, Any

from pydantic import BaseModel, Field

from ringout.report.find_view import find_answer
from ringout.web.api_jobs import (
    STRICT,
    WAITS,
    Answer,
    Application,
    cell_of,
    post_route,
    unfit,
    waiting_answer,
)
from ringout.web.exercise import Wanted
from ringout.web.pages.exercise import Bout, bout_of, exercises_of, name_fault, take
from ringout.web.seen import hear
from ringout.web.session import Session


class ExerciseBody(BaseModel):
    """How an exercise is begun: the same word gives everybody the same fault."""

    model_config = STRICT
    seed: str = Field("", max_length=40)


class MeasureBody(BaseModel):
    """What is measured in an exercise; without probes everything that is seen by eye."""

    model_config = STRICT
    red: str = Field("", max_length=80)
    black: str = Field("", max_length=80)
    mode: str = Field("volts", pattern="^(volts|lowz|ohms)$")
    while_: str = Field("", alias="while", max_length=300)
    lifted: str = Field("", max_length=80)


class NameBody(BaseModel):
    """The fault that is named."""

    model_config = STRICT
    fault: str = Field(max_length=200)


class SeenAnswer(BaseModel):
    """One reading or look: name to what was seen; a reading has the name ``."""

    what: str
    seen: dict[str, str]


class ExerciseAnswer(BaseModel):
    """An exercise; the fault is told only when it has ended."""

    token: str
    complaint: str
    seconds: int
    end: str = Field(description="found, given up, or empty while it is under way")
    taken: list[SeenAnswer]
    named: list[str]
    fault: str
    least: int | None = Field(description="least readings and looks; None until it is known")


def add_routes(app: Application, session: Session, needs: list[Any]) -> None:
    """Add search and exercise to the API.

    Args:
        app: the API.
        session: the bench.
        needs: dependencies of what writes.
    """
    _add_find(app, session)
    _add_exercise(app, session, needs)


def _add_find(app: Application, session: Session) -> None:
    from fastapi import HTTPException, Query

    def get_find(
        seen: Annotated[list[str], Query(description="one observation each")] = [],  # noqa: B006
    ) -> Answer:
        """Return culprits and the next look, as `ringout find --json` does."""
        with session.lock:
            now = cell_of(session)
            assert now.cell is not None
            heard = hear(now.cell, tuple(seen))
            if heard.problems or not heard.sentences:
                told = [
                    e
                    for t, m, f in heard.problems
                    for e in unfit("seen", f"{t}: {m}{f' ({f})' if f else ''}")
                ]
                raise HTTPException(422, told or unfit("seen", "nothing was seen: add `seen`"))
            job = session.reckoner.ask(now, "find", *heard.sentences)
        return find_answer(job.result) if job.ready else waiting_answer(job)

    app.add_api_route("/find", get_find, responses=WAITS)


def _bout(session: Session, token: str) -> Answer:
    """Return an exercise ready to be worked on, or the answer while it is prepared."""
    from fastapi import HTTPException

    found = bout_of(session, token)
    if isinstance(found, str):
        raise HTTPException(404, f"{found} Begin another one.")
    return found if isinstance(found, Bout) else waiting_answer(found)


def _bout_answer(session: Session, found: Answer) -> Answer:
    """Return an exercise; of the fault nothing is told before it has ended."""
    if not isinstance(found, Bout):
        return found
    e = found.exercise
    assert e.fault is not None
    job = session.reckoner.ask(found.now, "least", e.sentence, e.fault.id)
    return {
        "token": e.token,
        "complaint": e.complaint,
        "seconds": e.seconds,
        "end": e.end,
        "taken": [{"what": t.what, "seen": dict(t.seen)} for t in e.taken],
        "named": list(e.named),
        "fault": e.fault.id if e.end else "",
        "least": job.result.count if e.end and job.ready else None,
    }


def _add_exercise(app: Application, session: Session, needs: list[Any]) -> None:
    from fastapi import HTTPException, Path

    Token = Annotated[str, Path(max_length=40)]  # noqa: N806  # a type

    def begin(body: ExerciseBody) -> Answer:
        """Hide a fault; the answer has the token of the exercise."""
        with session.lock:
            now = cell_of(session)
            session.reckoner.ask(now, "faults")
            return {"token": exercises_of(session).begin(body.seed, now.key).token}

    def get_exercise(token: Token) -> Answer:
        """Return the complaint and what was seen so far."""
        with session.lock:
            return _bout_answer(session, _bout(session, token))

    def measure(token: Token, body: MeasureBody) -> Answer:
        """Take a reading, or without probes a look at everything that is seen by eye."""
        with session.lock:
            found = _bout(session, token)
            if isinstance(found, Bout):
                wanted = Wanted(body.red, body.black, body.mode, (body.while_,), body.lifted)
                made = take(found, wanted, by_eye=not (body.red or body.black))
                if isinstance(made, str):
                    raise HTTPException(422, unfit("red", made))
            return _bout_answer(session, found)

    def name(token: Token, body: NameBody) -> Answer:
        """Name the fault."""
        with session.lock:
            found = _bout(session, token)
            if isinstance(found, Bout):
                trouble = name_fault(session, found, body.fault)
                if trouble:
                    raise HTTPException(422, unfit("fault", trouble))
            return _bout_answer(session, found)

    post = post_route(needs)
    add = app.add_api_route
    add("/exercise", begin, response_model=TokenAnswer, **post)
    add("/exercise/{token}", get_exercise, response_model=ExerciseAnswer, responses=WAITS)
    add("/exercise/{token}/measure", measure, response_model=ExerciseAnswer, **post)
    add("/exercise/{token}/name", name, response_model=ExerciseAnswer, **post)


class TokenAnswer(BaseModel):
    """The exercise that was begun."""

    token: str
