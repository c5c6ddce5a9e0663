"""Checkout: one step at a time, what was read judged and at once stored in the records."""

from __future__ import annotations

import secrets
from typing import Any
from urllib.parse import urlencode

from ringout.checkout import PHASES, Step
from ringout.records import Read, RunStep, UnclearReadingError, read_reading
from ringout.records.model import RIGHT, WRONG
from ringout.records.paper import minute
from ringout.report.checkout_view import PHASE_CAUTIONS, stages_of
from ringout.web.exchange import Answer, Ask, Page, Redirect, Route, not_there, whole
from ringout.web.person import Person, person_of
from ringout.web.probes import probe_pictures
from ringout.web.session import Session
from ringout.web.snapshot import Snapshot
from ringout.web.steps import (
    PHASE_WORDS,
    UNITS,
    Entry,
    all_evidence,
    glance_choices,
    next_open,
    read_picked,
    unsafe_to_power,
)
from ringout.web.waiting import cell_or_way, waiting_page
from ringout.web.walk import NAMELESS, STALE, Walk, begin, keep, told, walk_of

TITLE = "Checkout"
SOLVING = "Every fault is solved and the shortest procedure looked for"
MOST_TYPED = 60


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
    failed = [n for n, e in sorted(done.items()) if e.verdict == WRONG]
    return Page(
        "checkout.html",
        TITLE,
        {
            "cell": walk.cell,
            "checkout": checkout,
            "minutes": round(checkout.cost_s / 60),
            "run": walk.run,
            "begun": minute(walk.run.at) if walk.run is not None else "",
            "head": walk.head,
            "stale": STALE if walk.stale else "",
            "trouble": trouble or walk.trouble,
            "done": len(done),
            "failed": failed,
            "left": len(checkout.steps) - len(done),
            "next": next_open(checkout, done),
            "find_url": find_url(all_evidence(done)) if failed else "",
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
    sign = "○" if entry is None else "✓" if entry.verdict == RIGHT else "✗"
    word = "open" if entry is None else "passed" if entry.verdict == RIGHT else "failed"
    return {
        "number": number,
        "url": f"/checkout/{number}",
        "do": step.do,
        "expect": step.expect,
        "sign": sign,
        "word": word,
        "entry": entry,
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
    number = whole(word, 6)
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
            "failed": entry is not None and entry.verdict == WRONG,
            "find_url": find_url(list(entry.evidence)) if entry and entry.evidence else "",
            "all_url": find_url(all_evidence(done)),
            "exposes": [f.text for f in here.exposes[:6]],
            "more": max(0, len(here.exposes) - 6),
            "unsafe": unsafe,
            "before": f"/checkout/{number - 1}" if number > 1 else "",
            "after": f"/checkout/{number + 1}" if number < count else "",
            "open": next_open(checkout, done, number),
            "stale": STALE if walk.stale else "",
            "trouble": trouble or walk.trouble,
            "typed": typed,
            "head": walk.head,
            "once": secrets.token_hex(8),
        },
        400 if trouble else 200,
    )  # fmt: skip


def enter(session: Session, ask: Ask) -> Answer:
    """Store what was read at a step, and go on to the next, or stay where it failed."""
    found = _walk_to(session, ask)
    if not isinstance(found, tuple):
        return found
    walk, number = found
    person = said_by(ask)
    typed = ask.sent("reading")[:MOST_TYPED]
    try:
        read = read_form(walk.checkout.steps[number - 1], walk.steps[number - 1], ask)
    except UnclearReadingError as problem:
        return _step_page(walk, number, told(problem), typed)
    trouble = keep(session, walk, number, read, person, ask.sent("once"))
    if trouble:
        return _step_page(walk, number, trouble, typed)
    if read.verdict == WRONG:
        return Redirect(f"/checkout/{number}", person)
    onward = next_open(walk.checkout, walk.done, number)
    onward = 0 if onward == number else onward
    return Redirect(f"/checkout/{onward}" if onward else "/checkout", person)


def said_by(ask: Ask) -> Person:
    """Return who sends a form: as it says itself, or as the browser remembers."""
    name = ask.sent("who").strip()
    return person_of(name, ask.sent("meter", ask.person.meter)) if name else ask.person


def read_form(here: Step, planned: RunStep, ask: Ask) -> Read:
    """Return what a form says of a step, judged.

    Args:
        here: the step.
        planned: the same as it is stored.
        ask: the form.

    Raises:
        UnclearReadingError: it cannot be understood.
    """
    if here.unit:
        text = "open" if ask.sent("shown") == "open" else ask.sent("reading")
        return read_typed(planned, text, ask.sent("unit"))
    if ask.sent("shown") == "expected":
        return read_picked(here, {})
    read = read_picked(here, {n: ask.sent(f"level-{n}", w) for n, w in here.levels})
    if read.verdict == RIGHT:
        raise UnclearReadingError(
            "nothing differs", "say what is shown otherwise, or press As expected"
        )
    return read


def read_typed(planned: RunStep, text: str, unit: str) -> Read:
    """Judge a figure that was typed, with the unit that was chosen beside it.

    Raises:
        UnclearReadingError: it cannot be understood.
    """
    if len(text) > MOST_TYPED:
        raise UnclearReadingError("that is longer than a display shows", "type the figure alone")
    return read_reading(planned, text, unit if unit in UNITS[planned.unit] else "")


def start(session: Session, ask: Ask) -> Answer:
    """Begin anew; what was there stays in the records."""
    walk = _walk(session)
    if not isinstance(walk, Walk):
        return walk
    person = said_by(ask)
    trouble = begin(session, walk, person)
    if trouble:
        return _overview(walk, trouble, 422 if trouble == NAMELESS else 409)
    return Redirect("/checkout/1" if walk.checkout.steps else "/checkout", person)


def who(session: Session, ask: Ask) -> Answer:
    """Let another person go on in this browser."""
    word = ask.sent("step")
    back = f"/checkout/{word}" if word.isascii() and word.isdecimal() else "/checkout"
    if not session.exists:
        return Redirect("/new")
    return Redirect(back, person_of(ask.sent("who"), ask.sent("meter")))


ROUTES = (
    Route("/checkout", show),
    Route("/checkout/begin", start, writes=True),
    Route("/checkout/who", who, writes=True),
    Route("/checkout/{number}", step),
    Route("/checkout/{number}", enter, writes=True),
)
