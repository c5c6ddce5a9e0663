"""Checkout: one step at a time, what was read judged, kept over reload and restart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from ringout.cell.model import Cell
from ringout.checkout import PHASES, Checkout, Step
from ringout.report.checkout_view import PHASE_CAUTIONS, file_digest, stages_of
from ringout.web.exchange import Answer, Ask, Page, Redirect, Route, not_there
from ringout.web.probes import probe_pictures
from ringout.web.runs import FAIL, PASS, Entry, Run, Runs, RunsError
from ringout.web.session import Session
from ringout.web.snapshot import Snapshot
from ringout.web.steps import (
    PHASE_WORDS,
    UNITS,
    Judged,
    entry_of,
    evidence_of,
    glance_choices,
    judge_glance,
    judge_reading,
    next_open,
    results,
    unsafe_to_power,
)
from ringout.web.waiting import cell_or_way, waiting_page

TITLE = "Checkout"
SOLVING = "Every fault is solved and the shortest procedure looked for"
STALE = "This run was begun with another state of the file: begin anew."


@dataclass(frozen=True)
class Walk:
    """A checkout and how far it is worked through.

    Args:
        cell: the cell.
        checkout: its procedure.
        runs: where the run is kept.
        run: the run; None where none was begun.
        stale: it was begun with another state of the file.
        trouble: why it cannot be read or written; empty when it can.
    """

    cell: Cell
    checkout: Checkout
    runs: Runs
    run: Run | None
    stale: bool
    trouble: str

    @property
    def done(self) -> dict[int, Entry]:
        """Return step to what was seen there; nothing of a run that is stale."""
        return results(self.checkout, None if self.stale else self.run)


def walk_of(session: Session, now: Snapshot, checkout: Checkout) -> Walk:
    """Return how far a checkout is worked through, as the file beside the cell says now."""
    assert now.cell is not None
    runs, run, trouble = Runs(session.path), None, ""
    try:
        run = runs.current()
    except RunsError as problem:
        trouble = str(problem)
    stale = run is not None and run.digest != file_digest(now.cell)
    return Walk(now.cell, checkout, runs, run, stale, trouble)


def _walk(session: Session) -> Walk | Answer:
    now = cell_or_way(session, TITLE)
    if not isinstance(now, Snapshot):
        return now
    job = session.reckoner.ask(now, "checkout")
    if not job.ready:
        return waiting_page(TITLE, job, SOLVING)
    return walk_of(session, now, job.result)


def show(session: Session, ask: Ask) -> Answer:
    """Return the procedure as a whole: how far it is, what failed, where to go on."""
    del ask
    walk = _walk(session)
    if not isinstance(walk, Walk):
        return walk
    return _overview(walk)


def _overview(walk: Walk, trouble: str = "", status: int = 200) -> Page:
    checkout, done = walk.checkout, walk.done
    failed = [n for n, e in sorted(done.items()) if e.verdict == FAIL]
    return Page(
        "checkout.html",
        TITLE,
        {
            "cell": walk.cell,
            "checkout": checkout,
            "minutes": round(checkout.cost_s / 60),
            "begun": walk.run.begun if walk.run is not None else "",
            "stale": STALE if walk.stale else "",
            "trouble": trouble or walk.trouble,
            "done": len(done),
            "failed": failed,
            "left": len(checkout.steps) - len(done),
            "next": next_open(checkout, done),
            "find_url": find_url(evidence_of(done)) if failed else "",
            "phases": [
                {
                    "title": PHASE_WORDS[phase],
                    "caution": PHASE_CAUTIONS[phase],
                    "steps": [
                        _line(n, s, done.get(n))
                        for n, s in enumerate(checkout.steps, 1)
                        if s.phase == phase
                    ],
                }
                for phase in PHASES
            ],
            "stages": stages_of(walk.cell),
        },
        status,
    )


def find_url(sentences: list[str]) -> str:
    """Return the address of the search with sentences as evidence."""
    return f"/find?{urlencode([('seen', s) for s in sentences])}"


def _line(number: int, step: Step, entry: Entry | None) -> dict[str, Any]:
    sign = "○" if entry is None else "✓" if entry.verdict == PASS else "✗"
    word = "open" if entry is None else "passed" if entry.verdict == PASS else "failed"
    return {
        "number": number,
        "url": f"/checkout/{number}",
        "do": step.do,
        "expect": step.expect,
        "sign": sign,
        "word": word,
        "seen": entry.seen if entry is not None else "",
    }


def step(session: Session, ask: Ask) -> Answer:
    """Return one step, large."""
    found = _walk_to(session, ask)
    return _step_page(*found) if isinstance(found, tuple) else found


def _walk_to(session: Session, ask: Ask) -> tuple[Walk, int] | Answer:
    """Return the walk and the number of the step that is asked for, or what to answer instead."""
    walk = _walk(session)
    if not isinstance(walk, Walk):
        return walk
    word = ask.words["number"]
    number = int(word) if word.isascii() and word.isdecimal() and len(word) < 7 else 0
    if not 0 < number <= len(walk.checkout.steps):
        return not_there(f"There is no step `{word}`.", "See the list of steps.")
    return walk, number


def _step_page(walk: Walk, number: int, trouble: str = "", typed: str = "") -> Page:
    checkout, done = walk.checkout, walk.done
    here = checkout.steps[number - 1]
    entry = done.get(number)
    first = number == 1 or checkout.steps[number - 2].phase != here.phase
    unsafe = unsafe_to_power(checkout, done) if here.phase != "dead" else []
    pictures: list[str] = []
    if here.a is not None and here.b is not None:
        pictures = probe_pictures(walk.cell, here.a, here.b)
    count = len(checkout.steps)
    return Page(
        "step.html",
        f"Step {number} of {count}",
        {
            "number": number,
            "count": count,
            "done": len(done),
            "step": here,
            "phase": PHASE_WORDS[here.phase],
            "caution": PHASE_CAUTIONS[here.phase] if first else "",
            "stages": stages_of(walk.cell) if first and here.phase == "power" else [],
            "by_eye": list(checkout.harm_before_power) if first and here.phase == "power"
            else [],
            "pictures": pictures,
            "units": UNITS.get(here.unit, ()),
            "levels": [
                {"name": n, "expected": w, "choices": glance_choices(here, w)}
                for n, w in here.levels
            ],
            "entry": entry,
            "failed": entry is not None and entry.verdict == FAIL,
            "find_url": find_url(list(entry.evidence)) if entry is not None else "",
            "all_url": find_url(evidence_of(done)),
            "exposes": [f.text for f in here.exposes[:6]],
            "more": max(0, len(here.exposes) - 6),
            "unsafe": unsafe,
            "before": f"/checkout/{number - 1}" if number > 1 else "",
            "after": f"/checkout/{number + 1}" if number < count else "",
            "open": next_open(checkout, done, number),
            "stale": STALE if walk.stale else "",
            "trouble": trouble or walk.trouble,
            "typed": typed,
        },
        400 if trouble else 200,
    )  # fmt: skip


def enter(session: Session, ask: Ask) -> Answer:
    """Keep what was read at a step, and go on to the next, or stay where it failed."""
    found = _walk_to(session, ask)
    if not isinstance(found, tuple):
        return found
    walk, number = found
    judged = judged_form(walk.checkout.steps[number - 1], ask)
    if isinstance(judged, str):
        return _step_page(walk, number, judged, ask.sent("reading")[:60])
    kept = keep(walk, number, judged)
    if isinstance(kept, str):
        return _step_page(walk, number, kept, ask.sent("reading")[:60])
    if judged.verdict == FAIL:
        return Redirect(f"/checkout/{number}")
    onward = next_open(walk.checkout, results(walk.checkout, kept), number)
    return Redirect(f"/checkout/{onward}" if onward else "/checkout")


def judged_form(here: Step, ask: Ask) -> Judged | str:
    """Return what a form says of a step, judged; a sentence where it cannot be understood."""
    if here.unit:
        text = "open" if ask.sent("shown") == "open" else ask.sent("reading")
        return judge_reading(here, text, ask.sent("unit"))
    if ask.sent("shown") == "expected":
        return judge_glance(here, {})
    found = judge_glance(here, {n: ask.sent(f"level-{n}", w) for n, w in here.levels})
    if isinstance(found, Judged) and found.verdict == PASS:
        return "Nothing differs: say what is shown otherwise, or press As expected."
    return found


def keep(walk: Walk, number: int, judged: Judged) -> Run | str:
    """Keep what was seen at a step; a sentence where that cannot be done."""
    if walk.stale:
        return STALE
    try:
        if walk.trouble:
            return walk.trouble
        run = walk.run or walk.runs.begin(file_digest(walk.cell))
        return walk.runs.add(run, entry_of(number, walk.checkout.steps[number - 1], judged))
    except RunsError as problem:
        return str(problem)


def begin(session: Session, ask: Ask) -> Answer:
    """Begin anew; what was there is put aside."""
    del ask
    walk = _walk(session)
    if not isinstance(walk, Walk):
        return walk
    try:
        walk.runs.begin(file_digest(walk.cell))
    except RunsError as problem:
        return _overview(walk, str(problem), 409)
    return Redirect("/checkout/1" if walk.checkout.steps else "/checkout")


def take_back(session: Session, ask: Ask) -> Answer:
    """Take the last entry out of the run and go to its step."""
    del ask
    walk = _walk(session)
    if not isinstance(walk, Walk):
        return walk
    if walk.run is None or not walk.run.entries or walk.stale:
        return _overview(walk, "There is nothing to take back.", 409)
    number = walk.run.entries[-1].step
    try:
        walk.runs.take_back(walk.run)
    except RunsError as problem:
        return _overview(walk, str(problem), 409)
    return Redirect(f"/checkout/{min(number, len(walk.checkout.steps))}")


ROUTES = (
    Route("/checkout", show),
    Route("/checkout/begin", begin, writes=True),
    Route("/checkout/undo", take_back, writes=True),
    Route("/checkout/{number}", step),
    Route("/checkout/{number}", enter, writes=True),
)
