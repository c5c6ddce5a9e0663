"""What the pages show, as plain values for JSON."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from ringout.report.prove_json import number
from ringout.web.changes import set_up
from ringout.web.checking import Problem
from ringout.web.exchange import Ask
from ringout.web.faces import free_channels, socket_views
from ringout.web.pages.circuit import solved
from ringout.web.session import Session
from ringout.web.setting import read_setting


def problem_answer(problem: Problem) -> dict[str, Any]:
    """Return a problem of the file."""
    return asdict(problem)


def circuit_answer(session: Session, signal: str, ask: Ask) -> dict[str, Any] | None:
    """Return a circuit as it is set up; None when there is no such signal."""
    now = session.now()
    if now.cell is None or signal not in now.cell.signals:
        return None
    setting = read_setting(ask)
    bench = set_up(now, setting)
    if signal not in bench.variant.cell.signals:
        return None
    done, view = solved(now, bench, signal, setting)
    meter = done.meter
    return {
        "signal": signal,
        "channel": view.channel,
        "url": setting.url(signal),
        "result": view.result,
        "reference": view.reference,
        "stands": done.stands,
        "opened": list(done.opened),
        "cautions": list(done.cautions),
        "problems": list(bench.problems),
        "changes": [
            {"kind": m.field, "word": m.word, "text": m.text, "trouble": m.trouble}
            for m in bench.made
        ],
        "shown": [asdict(s) for s in done.shown],
        "meter": None
        if meter is None
        else {
            "figure": meter.figure,
            "low": meter.low,
            "high": meter.high,
            "note": meter.note,
            "reverse": meter.reverse,
            "value": number(meter.value),
            "unit": meter.unit,
        },
        "nets": [
            {"item": n.item, "net": n.net, "volts": number(n.volts)}
            for i in view.items
            for n in i.nets
        ],
        "conductors": [
            {
                "name": c.name,
                "from": str(c.a.terminal),
                "to": str(c.b.terminal),
                "amps": number(c.amps, 9),
            }
            for c in view.conductors
        ],
    }


def sockets_answer(session: Session) -> dict[str, Any]:
    """Return every socket with its pins, and the channels without a signal."""
    cell = session.now().cell
    if cell is None:
        return {"sockets": [], "free_channels": []}
    return {
        "sockets": [
            {
                "place": s.place,
                "title": s.title,
                "free": s.free,
                "reach": s.reach,
                "pins": [asdict(p) for p in s.pins],
            }
            for s in socket_views(cell, "mating")
        ],
        "free_channels": [asdict(c) for c in free_channels(cell)],
    }
