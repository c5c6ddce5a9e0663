"""The JSON API: what the pages show and do, with OpenAPI at /api/openapi.json."""

# No `from __future__ import annotations` here: FastAPI reads the annotations of functions made
# inside a function, where names as text could not be found.

from typing import Annotated, Any

from ringout import __version__
from ringout.base import Diagnostic
from ringout.web.api_checkout import add_routes as add_checkout
from ringout.web.api_jobs import add_routes as add_jobs
from ringout.web.api_live import add_live
from ringout.web.api_work import add_routes as add_work
from ringout.web.bodies import EntryBody, FileBody, TextBody, UndoBody
from ringout.web.checking import check_text
from ringout.web.doors import Keys
from ringout.web.entries import enter
from ringout.web.exchange import Ask
from ringout.web.pages.overview import judgement_of
from ringout.web.session import Session
from ringout.web.tell import circuit_answer, problem_answer, sockets_answer

Application = Any  # of FastAPI, which is loaded only when a bench is opened


def make_api(session: Session, keys: Keys) -> Application:
    """Return the API, to be mounted at `/api`.

    Args:
        session: the bench.
        keys: the secrets of this run.
    """
    from fastapi import Depends, FastAPI, Header, HTTPException

    def writer(x_bench_token: Annotated[str, Header(max_length=200)] = "") -> None:
        """Refuse what does not carry the token of this run."""
        if not keys.may_write(x_bench_token):
            raise HTTPException(403, "the header X-Bench-Token is missing or of another run")

    app = FastAPI(
        title="ringout bench",
        version=__version__,
        docs_url=None,  # its pages load scripts from elsewhere
        redoc_url=None,
        description="What the bench shows, as JSON. Every POST needs the header X-Bench-Token.",
    )
    _add_refusal(app)
    _add_reading(app, session, keys)
    _add_writing(app, session, [Depends(writer)])
    add_jobs(app, session, [Depends(writer)])
    add_checkout(app, session, [Depends(writer)])
    add_work(app, session, [Depends(writer)])
    add_live(app, session)
    return app


def _add_refusal(app: Application) -> None:
    """Say what is wrong with a body without repeating it: not all of it can be told in JSON."""
    from fastapi.exceptions import RequestValidationError
    from fastapi.responses import JSONResponse

    async def refused(request: object, problem: Exception) -> JSONResponse:
        del request
        assert isinstance(problem, RequestValidationError)
        told = [
            {"loc": [_plain(w) for w in e["loc"]], "msg": _plain(e["msg"]), "type": e["type"]}
            for e in problem.errors()
        ]
        return JSONResponse({"detail": told}, 422)

    app.add_exception_handler(RequestValidationError, refused)


def _plain(word: object) -> object:
    """Return a word with what no text encoding knows replaced."""
    return word if isinstance(word, int) else str(word).encode("utf-8", "replace").decode()


_NOT_THERE: dict[int | str, dict[str, Any]] = {404: {"description": "There is no such thing."}}


def _add_reading(app: Application, session: Session, keys: Keys) -> None:
    from fastapi import HTTPException, Query, Request

    from ringout.report.prove_json import prove_answer

    def get_session() -> dict[str, Any]:
        """Return the file, its digest and the token that writes need."""
        _, digest = session.read()
        return {"file": session.name, "digest": digest, "token": keys.token}

    def get_overview() -> dict[str, Any]:
        """Return verdicts, findings and loads, as `ringout prove --json` does.

        `waiting` is true while cures are still being solved.
        """
        with session.lock:
            now = session.now()
            if now.cell is None:
                return {**prove_answer(session.name, None, now.loaded.problems), "waiting": False}
            judged = judgement_of(now)
            answer = prove_answer(now.cell.name, judged, now.loaded.problems)
            return {**answer, "waiting": not now.cures.ready and not now.cures.failed}

    def get_circuit(  # noqa: PLR0913, PLR0917  # one parameter for each word of the URL
        request: Request,
        signal: str,
        while_: Annotated[str, Query(alias="while", description="state in words")] = "",
        fault: Annotated[list[str], Query(description="faults by name")] = [],  # noqa: B006
        cut: Annotated[list[str], Query(description="conductors cut through")] = [],  # noqa: B006
        lift: Annotated[list[str], Query(description="core ends taken off")] = [],  # noqa: B006
        bridge: Annotated[list[str], Query(description="terminals `A,B`")] = [],  # noqa: B006
        swap: Annotated[list[str], Query(description="cores `A,B@ITEM`")] = [],  # noqa: B006
        part: Annotated[list[str], Query(description="`ITEM,PART`")] = [],  # noqa: B006
        probe: Annotated[str, Query(description="terminals `RED,BLACK`")] = "",
        mode: Annotated[str, Query(description="volts, lowz or ohms")] = "volts",
    ) -> dict[str, Any]:
        """Return the circuit of a signal, set up as the page of the same words shows it."""
        del while_, fault, cut, lift, bridge, swap, part, probe, mode  # read as the page does
        ask = Ask(request.url.path, {}, tuple(request.query_params.multi_items()))
        with session.lock:
            found = circuit_answer(session, signal, ask)
        if found is None:
            raise HTTPException(404, f"there is no signal {signal}")
        return found

    def get_sockets() -> dict[str, Any]:
        """Return every socket with what is on its pins, and the free channels."""
        with session.lock:
            return sockets_answer(session)

    def get_file() -> dict[str, Any]:
        """Return the text, its digest and its problems."""
        with session.lock:
            text, digest = session.read()
            _, problems = check_text(session, text)
            found = [problem_answer(p) for p in problems]
            return {"text": text, "digest": digest, "problems": found}

    app.add_api_route("/session", get_session)
    app.add_api_route("/overview", get_overview)
    app.add_api_route("/circuit/{signal}", get_circuit, responses=_NOT_THERE)
    app.add_api_route("/sockets", get_sockets)
    app.add_api_route("/file", get_file)


def _add_writing(app: Application, session: Session, needs: list[Any]) -> None:
    from fastapi import HTTPException

    def check(body: TextBody) -> dict[str, Any]:
        """Return what is wrong with a text; nothing is written."""
        with session.lock:
            _, problems = check_text(session, body.text)
        return {"problems": [problem_answer(p) for p in problems]}

    def save(body: FileBody) -> dict[str, Any]:
        """Write the file if it is still the one with this digest."""
        done = session.save(body.text, body.digest)
        if isinstance(done, Diagnostic):
            raise HTTPException(409, done.message)
        return {"digest": done}

    def take_back(body: UndoBody) -> dict[str, Any]:
        """Put back the text from before the last save."""
        done = session.take_back(body.digest)
        if done is None or isinstance(done, Diagnostic):
            raise HTTPException(409, done.message if done else "there is nothing to take back")
        return {"digest": done}

    def add(body: EntryBody) -> dict[str, Any]:
        """Write an entry: device, item, cable, join, cores, signal, expect or remove."""
        with session.lock:
            done = enter(session, body.digest, body.kind, body.words)
        if not done.digest:
            raise HTTPException(409 if done.stale else 422, list(done.troubles))
        return {"digest": done.digest, "added": done.text}

    refused: dict[int | str, dict[str, Any]] = {
        400: {"description": "The body cannot be read."},
        403: {"description": "The token is missing, or it comes from another page."},
        413: {"description": "That is too much."},
    }
    stale = {**refused, 409: {"description": "The file was changed meanwhile."}}
    add_route = app.add_api_route
    add_route("/check", check, methods=["POST"], dependencies=needs, responses=refused)
    add_route("/file", save, methods=["POST"], dependencies=needs, responses=stale)
    add_route("/undo", take_back, methods=["POST"], dependencies=needs, responses=stale)
    add_route("/add", add, methods=["POST"], dependencies=needs, responses=stale)
