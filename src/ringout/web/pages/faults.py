"""Faults: every plausible one with what it does, and the story of one."""

from __future__ import annotations

import math
from typing import Any

from ringout.cell.model import Cell
from ringout.findings.effects import Effect, FaultEffects, FaultTable
from ringout.report.faults_view import KINDS
from ringout.web.exchange import Answer, Ask, Page, Route, not_there
from ringout.web.fault_rows import (
    PER_PAGE,
    SHORT,
    Chosen,
    circuit_links,
    exposing,
    fault_url,
    hidden_why,
    likely_words,
    line_in,
    parted,
    read_chosen,
    rows_of,
)
from ringout.web.jobs import Job
from ringout.web.session import Session
from ringout.web.snapshot import Snapshot
from ringout.web.waiting import cell_or_way, waiting_page

TITLE = "Faults"
SOLVING = "Every fault is put into the circuit and solved"


def show(session: Session, ask: Ask) -> Answer:
    """Return the table of faults, narrowed to what is asked for."""
    found = _solved(session, TITLE)
    if not isinstance(found, tuple):
        return found
    _, cell, table = found
    chosen = read_chosen(cell, ask)
    rows = rows_of(table, chosen)
    pages = max(1, math.ceil(len(rows) / PER_PAGE))
    page = min(chosen.page, pages)
    shown = rows[(page - 1) * PER_PAGE : page * PER_PAGE]
    return Page(
        "faults.html",
        TITLE,
        {
            "count": len(rows),
            "of": len(table.rows),
            "rows": [_row(r) for r in shown],
            "kinds": _kinds(table, chosen),
            "chosen": chosen,
            "items": list(cell.items),
            "cables": list(cell.cables),
            "signals": list(cell.signals),
            "page": page,
            "pages": pages,
            "before": chosen.url(page=page - 1) if page > 1 else "",
            "after": chosen.url(page=page + 1) if page < pages else "",
            "states": table.solved,
            "not_run": table.not_run,
        },
    )


def _solved(session: Session, title: str) -> tuple[Snapshot, Cell, FaultTable] | Answer:
    """Return the cell and the table of its faults, or what to show until it is there."""
    now = cell_or_way(session, TITLE)
    if not isinstance(now, Snapshot):
        return now
    assert now.cell is not None
    job = session.reckoner.ask(now, "faults")
    if not job.ready:
        return waiting_page(title, job, SOLVING)
    return now, now.cell, job.result


def _kinds(table: FaultTable, chosen: Chosen) -> list[dict[str, Any]]:
    """Return the row of effects to narrow by, each with how many faults have it."""
    rows = rows_of(table, Chosen(chosen.item, chosen.cable, chosen.signal))
    out = [{"sign": "", "text": "all", "count": len(rows), "url": chosen.url(effect=""),
            "chosen": not chosen.effect}]  # fmt: skip
    for kind in KINDS:
        mine = [r for r in rows if kind == r.kind or any(e.kind == kind for e in r.effects)]
        sign, text = SHORT[kind]
        out.append({"sign": sign, "text": text, "count": len(mine), "url": chosen.url(effect=kind),
                    "chosen": chosen.effect == kind})  # fmt: skip
    return out


def _row(row: FaultEffects) -> dict[str, Any]:
    sign, text = SHORT[row.kind]
    return {
        "id": row.fault.id,
        "url": fault_url(row.fault.id),
        "text": row.fault.text,
        "kind": row.kind,
        "sign": sign,
        "word": text,
        "first": row.effects[0].text if row.effects else row.why,
        "more": max(0, len(row.effects) - 1),
    }


def story(session: Session, ask: Ask) -> Answer:
    """Return one fault: what changes, what is harmed, which step exposes it."""
    found = _solved(session, ask.words["fault"])
    if not isinstance(found, tuple):
        return found
    now, cell, table = found
    row = next((r for r in table.rows if r.fault.id == ask.words["fault"]), None)
    if row is None:
        fix = "Choose one from the list of faults."
        return not_there(f"There is no fault `{ask.words['fault']}` in this cell.", fix)
    changes, harms = parted(row)
    line = line_in(session.path, row.fault.where)
    total = sum(r.fault.likelihood for r in table.rows)
    return Page(
        "fault.html",
        row.fault.id,
        {
            "row": row,
            "fault": row.fault,
            "sign": SHORT[row.kind][0],
            "word": SHORT[row.kind][1],
            "likely": likely_words(row.fault.likelihood, total),
            "line": line,
            "changes": [_effect(e) for e in changes],
            "harms": [_effect(e) for e in harms],
            "circuits": circuit_links(cell, row),
            **_exposed(session, now, ask, row.fault.id),
        },
    )


def _effect(effect: Effect) -> dict[str, str]:
    sign, word = SHORT[effect.kind]
    return {
        "sign": sign,
        "word": word,
        "what": effect.what,
        "state": effect.state,
        "before": effect.before,
        "after": effect.after,
        "text": effect.text,
    }


def _exposed(session: Session, now: Snapshot, ask: Ask, fault_id: str) -> dict[str, Any]:
    """Return which step exposes a fault, or how to find out."""
    wanted = ask.first("step") == "yes"
    beside = session.reckoner
    job: Job | None = beside.ask(now, "checkout") if wanted else beside.peek(now, "checkout")
    out: dict[str, Any] = {"job": None, "step": None, "hidden": "",
                           "ask_url": f"{fault_url(fault_id)}?step=yes"}  # fmt: skip
    if job is None:
        return out
    if not job.ready:
        return {**out, "job": job}
    found = exposing(job.result, fault_id)
    if found is not None:
        number, step = found
        phase = {"dead": "dead, before power", "power": "power in stages", "function": "function"}
        shown = {"number": number, "phase": phase[step.phase], "do": step.do,
                 "expect": step.expect, "url": f"/checkout/{number}"}  # fmt: skip
        return {**out, "step": shown}
    why = hidden_why(job.result, fault_id)
    return {**out, "hidden": why or "No step of the checkout exposes it."}


ROUTES = (Route("/faults", show), Route("/faults/{fault:path}", story))
