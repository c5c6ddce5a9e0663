"""Records: runs of the checkout, who read what and when, and whether it is as it was written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from ringout.records import (
    Reading,
    RunState,
    StepState,
    Store,
    StoreError,
    export_csv,
    find_store,
    open_store,
)
from ringout.records.paper import minute
from ringout.report.checkout_view import file_digest
from ringout.web.exchange import Answer, Ask, Page, Raw, Redirect, Route, not_there, whole
from ringout.web.session import Session

SIGNS = {"right": "✓", "passed": "✓", "wrong": "✗", "failed": "✗", "open": "○"}
MEDIA = {"jpeg": "image/jpeg", "png": "image/png", "webp": "image/webp"}
_MOST = 50  # remarks shown
_FIGURES = 8  # of the number of a run or a step


@dataclass(frozen=True, slots=True)
class RunRow:
    """A run as the list shows it."""

    number: int
    sign: str
    state: str
    who: str
    began: str
    last: str
    meter: str
    source: str
    counts: str
    revision: str
    file: str


def show(session: Session, ask: Ask) -> Answer:
    """Return the list of runs and what is said of the chain."""
    return _with_store(session, lambda store: _list(store, ask))


def show_run(session: Session, ask: Ask) -> Answer:
    """Return one run, step by step."""
    number = whole(ask.words["run"], _FIGURES)

    def made(store: Store | None) -> Answer:
        state = _state(store, number)
        if store is None or state is None:
            return not_there(
                f"There is no run {number}.", "The list of runs is on the page Records."
            )
        now = session.now()
        steps = store.steps_of(number)
        return Page(
            "record.html",
            f"Run {number}",
            {
                "row": _row(state),
                "same_file": now.cell is not None and _same(state, session),
                "base": state.run.base,
                "steps": [_step(s) for s in steps],
                "remarks": _remarks(store, number),
                "photos": [
                    {
                        "digest": p.digest,
                        "text": p.text or p.name,
                        "step": p.step,
                        "who": p.who,
                        "at": minute(p.at),
                        "shown": p.kind in MEDIA,
                    }
                    for p in store.photos(number)
                ],
                "numbers": [s.step.number for s in steps],
            },
        )

    return _with_store(session, made)


def remark(session: Session, ask: Ask) -> Answer:
    """Store a remark."""
    run, step = whole(ask.sent("run"), _FIGURES), whole(ask.sent("step"), _FIGURES)
    back = f"/records/run/{run}" if run else "/records"
    try:
        with open_store(session.path, session.records) as store:
            store.add_remark(ask.sent("text"), who=ask.sent("who"), run=run, step=step)
    except StoreError as problem:
        return _trouble(problem, 422)
    return Redirect(f"{back}?said=1")


def picture(session: Session, ask: Ask) -> Answer:
    """Return a photo."""

    def made(store: Store | None) -> Answer:
        photos = [] if store is None else store.photos()
        found = next((p for p in photos if p.digest == ask.words["digest"]), None)
        if store is None or found is None:
            return not_there("There is no such photo.")
        media = MEDIA.get(found.kind, "application/octet-stream")
        name = "" if found.kind in MEDIA else f"photo-{found.record}.{found.kind}"
        return Raw(store.picture(found.digest), media, name)

    return _with_store(session, made)


def sheet(session: Session, ask: Ask) -> Answer:
    """Return readings as CSV."""
    run = whole(ask.first("run"), _FIGURES) or None

    def made(store: Store | None) -> Answer:
        if store is None or (run is not None and _state(store, run) is None):
            return not_there("There is nothing to export.")
        name = "records.csv" if run is None else f"records-run-{run}.csv"
        return Raw(export_csv(store, run), "text/csv; charset=utf-8", name)

    return _with_store(session, made)


# -- helpers -------------------------------------------------------------------------------------


def _with_store(session: Session, made: Callable[[Store | None], Answer]) -> Answer:
    """Return what is made of the records; they are opened for this answer alone."""
    if not session.exists:
        return Redirect("/new")
    try:
        store = find_store(session.path, session.records)
        if store is None:
            return made(None)
        with store:
            return made(store)
    except StoreError as problem:
        return _trouble(problem, 500 if session.now().cell is not None else 422)


def _trouble(problem: StoreError, status: int) -> Page:
    return Page(
        "message.html",
        "Records",
        {"text": f"{problem.message}.", "fix": f"Cure: {problem.cure}." if problem.cure else ""},
        status,
    )


def _list(store: Store | None, ask: Ask) -> Page:
    values: dict[str, Any] = {
        "rows": [],
        "remarks": [],
        "head": None,
        "said": bool(ask.first("said")),
        "asked": ask.first("head").strip(),
        "verified": None,
    }
    if store is not None:
        values |= {
            "rows": [_row(s) for s in reversed(store.runs())],
            "remarks": _remarks(store, 0),
            "head": store.head(),
        }
        if ask.first("verify"):
            values["verified"] = store.verify(values["asked"])
    return Page("records.html", "Records", values)


def _state(store: Store | None, number: int) -> RunState | None:
    runs = () if store is None else store.runs()
    return next((s for s in runs if s.run.number == number), None)


def _same(state: RunState, session: Session) -> bool:
    cell = session.now().cell
    return cell is not None and file_digest(cell) == state.run.file_hash


def _row(state: RunState) -> RunRow:
    run = state.run
    counts = [f"{state.right} right"]
    counts += [f"{state.wrong} wrong"] if state.wrong else []
    counts += [f"{state.open} open"] if state.open else []
    return RunRow(
        run.number,
        SIGNS[state.state],
        state.state,
        run.who,
        minute(run.at),
        minute(state.last_at),
        run.meter,
        "controller's inputs" if run.source == "live" else "meter and eyes",
        f"{', '.join(counts)} of {run.steps}",
        run.revision,
        run.file_hash[:12],
    )


def _step(state: StepState) -> dict[str, Any]:
    step = state.step
    return {
        "number": step.number,
        "phase": step.phase,
        "do": step.do,
        "expect": step.expect,
        "state": state.state,
        "sign": SIGNS[state.state],
        "disputed": state.disputed,
        "readings": [_reading(r) for r in state.readings],
    }


def _reading(reading: Reading) -> dict[str, Any]:
    return {
        "text": reading.text,
        "verdict": reading.verdict,
        "sign": SIGNS[reading.verdict],
        "who": reading.who,
        "at": minute(reading.at),
        "carried": reading.carried,
    }


def _remarks(store: Store, run: int) -> list[dict[str, Any]]:
    found = store.remarks(run) if run else store.remarks()
    return [
        {"text": r.text, "who": r.who, "at": minute(r.at), "run": r.run, "step": r.step}
        for r in found[-_MOST:][::-1]
    ]


ROUTES = (
    Route("/records", show),
    Route("/records/run/{run}", show_run),
    Route("/records/remark", remark, writes=True),
    Route("/records/photo/{digest}", picture),
    Route("/records/readings.csv", sheet),
)
