"""Find: what was seen, who may have caused it, and what to measure next."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from ringout.cell.model import Cell
from ringout.find import Culprit, Found
from ringout.web.exchange import Answer, Ask, Page, Redirect, Route
from ringout.web.fault_rows import fault_url, line_in
from ringout.web.probes import probe_pictures
from ringout.web.seen import (
    METERS,
    MOST_SEEN,
    SHOWN,
    UNITS,
    Heard,
    hear,
    meter_fields,
    outcomes,
    pickable,
    picked,
)
from ringout.web.session import Session
from ringout.web.setting import Setting
from ringout.web.snapshot import Snapshot
from ringout.web.waiting import cell_or_way

TITLE = "Find"
SHOWN_CULPRITS = 12
LONGEST_URL = 7_000  # longer ones are turned away at the door
KEYS = ("pick", "say", "what", "shown", "while", "and", "red", "black", "reading", "unit", "meter",
        "as", "lifted")  # fmt: skip


def address(sentences: tuple[str, ...]) -> str:
    """Return the address of a search."""
    return f"/find?{urlencode([('seen', s) for s in sentences])}" if sentences else "/find"


def show(session: Session, ask: Ask) -> Answer:
    """Return culprits for what was seen; a form that was filled in adds to it."""
    now = cell_or_way(session, TITLE)
    if not isinstance(now, Snapshot):
        return now
    assert now.cell is not None
    before = ask.every("seen")
    problem = ""
    heard = hear(now.cell, before)
    if ask.first("pick"):
        sentence = picked(ask)
        if not sentence:
            problem = "Fill in what was seen: something is still missing."
        else:
            fresh = hear(now.cell, (sentence,))
            whole = address((*heard.sentences, sentence))
            if not fresh.problems and len(whole) <= LONGEST_URL and len(before) < MOST_SEEN:
                return Redirect(whole)
            if not fresh.problems:
                problem = "So much cannot be weighed at once: take something back."
            heard = Heard(heard.sentences, heard.observations, (*heard.problems, *fresh.problems))
    job = session.reckoner.ask(now, "find", *heard.sentences) if heard.sentences else None
    found: Found | None = job.result if job is not None and job.ready else None
    values: dict[str, Any] = {
        "job": job if found is None else None,
        "found": found,
        "problem": problem,
        "problems": heard.problems,
        "observations": [
            {
                "understood": o.understood,
                "without": address(tuple(s for s in heard.sentences if s != text)),
            }
            for text, o in heard.observations
        ],
        "sentences": heard.sentences,
        "can": now.shelf.get("pickable", lambda: pickable(_cell(now))),
        "words": SHOWN,
        "units": UNITS,
        "meters": METERS,
        "was": {k: ask.first(k) for k in KEYS} if problem or ask.first("pick") else
        dict.fromkeys(KEYS, ""),
        "culprits": [],
        "less": 0,
        "next": None,
    }  # fmt: skip
    if found is not None:
        values |= _answer(session, now.cell, heard.sentences, found)
    status = 400 if problem or (ask.first("pick") and heard.problems) else 200
    return Page("find.html", TITLE, values, status)


def _cell(now: Snapshot) -> Cell:
    assert now.cell is not None
    return now.cell


def _answer(
    session: Session, cell: Cell, sentences: tuple[str, ...], found: Found
) -> dict[str, Any]:
    following = found.next
    ahead: dict[str, Any] | None = None
    if following is not None:
        look = following.look
        rows = outcomes(cell, following)
        for row in rows:
            text = str(row["sentence"])
            row["url"] = address((*sentences, text)) if text else ""
        pictures = []
        if look.by_meter and look.a is not None and look.b is not None:
            pictures = probe_pictures(cell, look.a, look.b)
        ahead = {
            "do": following.do,
            "rows": rows,
            "by_meter": look.by_meter,
            "fields": meter_fields(look) if look.by_meter else [],
            "ohms": look.kind == "ohms",
            "pictures": pictures,
            "seconds": round(following.seconds),
        }
    return {
        "culprits": [_culprit(session, cell, c) for c in found.culprits[:SHOWN_CULPRITS]],
        "less": max(0, len(found.culprits) - SHOWN_CULPRITS),
        "next": ahead,
    }


def _culprit(session: Session, cell: Cell, culprit: Culprit) -> dict[str, Any]:
    first = culprit.faults[0]
    pair = first.kind == "pair"
    signal = next((s for s in first.signals if s in cell.signals), "")
    circuit = Setting(faults=(first.id,)).url(signal) if signal and not pair else ""
    return {
        "id": first.id,
        "text": first.text,
        "url": "" if pair else fault_url(first.id),
        "circuit": circuit,
        "line": line_in(session.path, first.where),
        "percent": round(100 * culprit.probability, 1 if culprit.probability < 0.1 else None),
        "share": round(100 * culprit.probability, 2),
        "why": _bare(culprit.why, first.text),
        "alike": [(f.id, "" if pair else fault_url(f.id)) for f in culprit.faults[1:9]],
        "alike_more": max(0, len(culprit.faults) - 9),
        "undecided": list(culprit.undecided[:6]),
        "undecided_more": max(0, len(culprit.undecided) - 6),
        "against": culprit.against,
    }


def _bare(why: str, text: str) -> str:
    """Return a reason without the fault's own words, which stand above it."""
    rest = why.removeprefix(f"{text.rstrip('.')}: ")
    return rest[0].upper() + rest[1:] if rest else why


ROUTES = (Route("/find", show),)
