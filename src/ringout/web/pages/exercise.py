"""Exercise: the bench hides a fault; the person measures, looks and names it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from ringout.cell.model import Cell
from ringout.findings.effects import FaultTable
from ringout.findings.looks import Predictor
from ringout.web.aim import Aimer
from ringout.web.changes import set_up
from ringout.web.exchange import Answer, Ask, Page, Redirect, Route, not_there
from ringout.web.exercise import (
    FOUND,
    GIVEN_UP,
    MOST_SEED,
    MOST_TAKEN,
    Exercise,
    Exercises,
    Taken,
    Wanted,
    glance,
    hide,
    measure,
)
from ringout.web.jobs import Job
from ringout.web.pages.circuit import solved
from ringout.web.picture import Spot, Target, picture
from ringout.web.seen import Pickable, pickable
from ringout.web.session import Session
from ringout.web.setting import Setting
from ringout.web.snapshot import Snapshot
from ringout.web.waiting import cell_or_way, waiting_page

TITLE = "Exercise"
SOLVING = "A fault is being hidden in the cell"
WIDTH_MM = 190.0
MODES = (("volts", "Volts"), ("lowz", "Loaded volts"), ("ohms", "Ohms, power off"))
FIELDS = ("red", "black", "mode", "while", "and", "lifted", "signal", "about")


@dataclass(frozen=True)
class Bout:
    """An exercise in the cell it is for.

    Args:
        now: the cell.
        cell: likewise.
        exercise: the exercise, its fault hidden.
        faults: every fault, to choose from when one is named.
    """

    now: Snapshot
    cell: Cell
    exercise: Exercise
    faults: FaultTable


def exercises_of(session: Session) -> Exercises:
    """Return the exercises of a bench."""
    return session.kept.get("exercises", Exercises)


def start(session: Session, ask: Ask) -> Answer:
    """Return the page an exercise is begun from."""
    del ask
    now = cell_or_way(session, TITLE)
    if not isinstance(now, Snapshot):
        return now
    return Page("exercise_start.html", TITLE, {"most": MOST_SEED})


def begin(session: Session, ask: Ask) -> Answer:
    """Hide a fault and go to it."""
    now = cell_or_way(session, TITLE)
    if not isinstance(now, Snapshot):
        return now
    made = exercises_of(session).begin(ask.sent("seed"), now.key)
    session.reckoner.ask(now, "faults")
    return Redirect(f"/exercise/{made.token}")


def bout_of(session: Session, token: str) -> Bout | Job | str:
    """Return an exercise ready to be worked on, the job it waits for, or why there is none."""
    now = session.now()
    found = exercises_of(session).get(token)
    if now.cell is None or found is None:
        return "This exercise is not known any more."
    if found.key != now.key:
        return "The file has changed since this exercise was begun."
    job = session.reckoner.ask(now, "faults")
    if not job.ready:
        return job
    if found.fault is None and not hide(found, job.result):
        return "No fault of this cell can be seen without harm."
    return Bout(now, now.cell, found, job.result)


def _bout(session: Session, ask: Ask) -> Bout | Answer:
    now = cell_or_way(session, TITLE)
    if not isinstance(now, Snapshot):
        return now
    found = bout_of(session, ask.words["token"])
    if isinstance(found, str):
        return not_there(found, "Begin another one under Exercise.")
    return waiting_page(TITLE, found, SOLVING) if isinstance(found, Job) else found


def show(session: Session, ask: Ask) -> Answer:
    """Return an exercise: the complaint, the meter, what was seen so far."""
    bout = _bout(session, ask)
    return _page(session, bout, ask.query) if isinstance(bout, Bout) else bout


def _page(
    session: Session,
    bout: Bout,
    fields: tuple[tuple[str, str], ...],
    trouble: str = "",
) -> Page:
    exercise, cell = bout.exercise, bout.cell
    was = {k: next((v for f, v in fields if f == k), "") for k in FIELDS}
    can: Pickable = bout.now.shelf.get("pickable", lambda: pickable(cell))
    signal = was["signal"] if was["signal"] in cell.signals else _first_signal(cell, exercise)
    return Page(
        "exercise.html",
        TITLE,
        {
            "exercise": exercise,
            "seconds": exercise.seconds,
            "clock": f"{exercise.seconds // 60}:{exercise.seconds % 60:02d}",
            "count": len(exercise.taken),
            "taken": list(enumerate(exercise.taken, 1))[::-1],
            "was": {**was, "signal": signal},
            "can": can,
            "modes": MODES,
            "signals": list(cell.signals),
            "svg": _drawing(bout, was, signal) if signal else "",
            "abouts": [*cell.items, *cell.cables],
            "choices": _choices(bout.faults, was["about"]),
            "trouble": trouble,
            "url": f"/exercise/{exercise.token}",
            **_outcome(session, bout),
        },
        400 if trouble else 200,
    )


def _first_signal(cell: Cell, exercise: Exercise) -> str:
    """Return the signal of the complaint, or that whose output works what is complained of."""
    what = exercise.effect.what if exercise.effect is not None else ""
    if what in cell.signals:
        return what
    item = what.partition(".")[0]
    works = (s.name for s in cell.signals.values() if s.drives.partition(".")[0] == item)
    return next(works, next(iter(cell.signals), ""))


def _outcome(session: Session, bout: Bout) -> dict[str, Any]:
    """Return what is told at the end; nothing of the fault before."""
    exercise = bout.exercise
    assert exercise.fault is not None
    # worked out while the person measures, so that it is there at the end
    job = session.reckoner.ask(bout.now, "least", exercise.sentence, exercise.fault.id)
    if not exercise.end:
        return {"least": None, "least_job": None, "fault": None}
    return {
        "least": job.result,
        "least_job": None if job.ready else job,
        "fault": exercise.fault,
    }


def _choices(table: FaultTable, about: str) -> list[tuple[str, str]]:
    """Return (id, text) of all faults of an item or a cable."""
    rows = [r.fault for r in table.rows if about in r.fault.items or about in r.fault.cables]
    return [(f.id, f.text) for f in rows] if about else []


def _drawing(bout: Bout, was: dict[str, str], signal: str) -> str:
    """Return the circuit as it should be, its pins to put the probes on."""
    states = [w for w in (was["while"], was["and"]) if w.strip()]
    setting = Setting(state=" and ".join(states), red=was["red"], black=was["black"])
    sound = set_up(bout.now, setting.but(red="", black=""))
    _, view = solved(bout.now, sound, signal, setting)
    aimer = Aimer(bout.cell, signal, setting)

    def aim(spot: Spot) -> Target | None:
        if spot.kind != "pin":
            return None
        moved, label = aimer.probe(spot.name)
        pairs = {**was, "signal": signal, "red": moved.red, "black": moved.black}
        words = urlencode([(k, v) for k, v in pairs.items() if v])
        marks = tuple(m for m, at in (("red", setting.red), ("black", setting.black))
                      if at == spot.name)  # fmt: skip
        return Target(f"/exercise/{bout.exercise.token}?{words}", label, marks)

    return picture(view, WIDTH_MM, aim)


def wanted_of(ask: Ask) -> Wanted:
    """Return what a form wants to be measured."""
    return Wanted(
        ask.sent("red"),
        ask.sent("black"),
        ask.sent("mode", "volts"),
        (ask.sent("while"), ask.sent("and")),
        ask.sent("lifted"),
    )


def take(bout: Bout, wanted: Wanted, *, by_eye: bool) -> Taken | str:
    """Measure or look, and keep what was seen; a sentence where that cannot be done."""
    exercise = bout.exercise
    if exercise.end:
        return "This exercise has ended."
    if len(exercise.taken) >= MOST_TAKEN:
        return f"{MOST_TAKEN} readings are enough: name the fault, or give up."
    predictor: Predictor = bout.now.shelf.get("predictor", lambda: Predictor(bout.cell))
    made = (glance if by_eye else measure)(predictor, exercise, wanted)
    if isinstance(made, Taken):
        exercise.taken.append(made)
    return made


def measured(session: Session, ask: Ask) -> Answer:
    """Take a reading or a look, and show it."""
    bout = _bout(session, ask)
    if not isinstance(bout, Bout):
        return bout
    made = take(bout, wanted_of(ask), by_eye=ask.sent("do") == "look")
    if isinstance(made, str):
        return _page(session, bout, ask.form, made)
    pairs = [(k, ask.sent(k)) for k in FIELDS if ask.sent(k)]
    return Redirect(f"/exercise/{bout.exercise.token}?{urlencode(pairs)}#seen")


def name_fault(session: Session, bout: Bout, fault_id: str) -> str:
    """Take the name of the fault; a sentence where it is no name."""
    exercise = bout.exercise
    assert exercise.fault is not None
    if exercise.end:
        return "This exercise has ended."
    row = next((r for r in bout.faults.rows if r.fault.id == fault_id), None)
    if row is None:
        return "Choose one of the faults first."
    if row.fault.delta == exercise.fault.delta or fault_id in _alike(session, bout):
        exercise.finish(FOUND)
        exercise.named.append(fault_id)
    elif fault_id not in exercise.named:
        exercise.named.append(fault_id)
    return ""


def _alike(session: Session, bout: Bout) -> tuple[str, ...]:
    """Return the faults nothing tells from the hidden one, as far as that is worked out."""
    exercise = bout.exercise
    assert exercise.fault is not None
    job = session.reckoner.ask(bout.now, "least", exercise.sentence, exercise.fault.id)
    return job.result.alike if job.ready else ()


def named(session: Session, ask: Ask) -> Answer:
    """Take the name of the fault, or end the exercise."""
    bout = _bout(session, ask)
    if not isinstance(bout, Bout):
        return bout
    exercise = bout.exercise
    if ask.sent("do") == "give up":
        if not exercise.end:
            exercise.finish(GIVEN_UP)
        return Redirect(f"/exercise/{exercise.token}")
    trouble = name_fault(session, bout, ask.sent("fault"))
    if trouble:
        return _page(session, bout, ask.form, trouble)
    pairs = [(k, ask.sent(k)) for k in FIELDS if ask.sent(k)]
    return Redirect(f"/exercise/{exercise.token}?{urlencode(pairs)}")


ROUTES = (
    Route("/exercise", start),
    Route("/exercise", begin, writes=True),
    Route("/exercise/{token}", show),
    Route("/exercise/{token}/measure", measured, writes=True),
    Route("/exercise/{token}/name", named, writes=True),
)
