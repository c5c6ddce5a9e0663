"""Overview: what the cell is worth, what is wrong with it, what its supplies carry."""

from __future__ import annotations

import math
from dataclasses import dataclass
from urllib.parse import quote

from ringout.base import Severity
from ringout.findings.model import BranchLoad, Finding, Judgement, Level, SignalResult
from ringout.web.exchange import Answer, Ask, Page, Redirect, Route
from ringout.web.session import Session
from ringout.web.snapshot import Snapshot

WIDE_V = 30.0  # the scale of a bar: 0 to 30 V holds every 24 V level with its tolerance
WEIGHTS = {Severity.ERROR: "error", Severity.WARNING: "warning", Severity.NOTE: "note"}
SIGNS = {"works": "✓", "marginal": "!", "fails": "✗", "undecided": "?"}


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of a bar: left edge and width in hundredths of its length."""

    x: float
    width: float


@dataclass(frozen=True, slots=True)
class Row:
    """One signal of the list.

    Args:
        name: its name.
        channel: controller and channel.
        verdict: works, marginal, fails or undecided.
        sign: a sign for it.
        url: its circuit, while it should be on.
        on: range while it should be on; None for an output without one.
        off: range while it should be off.
        on_from: limit, in hundredths of the bar.
        off_to: limit.
        margin: least margin in words.
        words: all of it in one sentence, for those who cannot see the bar.
    """

    name: str
    channel: str
    verdict: str
    sign: str
    url: str
    on: Span | None
    off: Span | None
    on_from: float | None
    off_to: float | None
    margin: str
    words: str


def show(session: Session, ask: Ask) -> Answer:
    """Return the overview; where there is no file yet, the page that makes one."""
    del ask
    if not session.exists:
        return Redirect("/new")
    now = session.now()
    problems = [
        {"code": p.code, "weight": str(p.severity), "text": p.message, "fix": p.fix or "",
         "line": p.span.line if p.span is not None else 1, "own": _own(session, p.span)}
        for p in now.loaded.problems
    ]  # fmt: skip
    cell = now.cell
    if cell is None:
        values = {"cell": None, "problems": problems}
        return Page("overview.html", session.name, values)
    judged = judgement_of(now)
    assert judged is not None
    counts = {v: sum(s.verdict == v for s in judged.signals) for v in SIGNS}
    return Page(
        "overview.html",
        cell.name,
        {
            "cell": cell,
            "problems": problems,
            "rows": [_row(s) for s in judged.signals],
            "counts": [(SIGNS[v], v, n) for v, n in counts.items() if n],
            "findings": [finding_values(session, f) for f in judged.findings],
            "branches": [branch_values(b) for b in judged.branches],
            "not_run": judged.not_run,
            "cures": now.cures,
            "states": judged.states,
            "expects": len(cell.expects),
        },
    )


def _own(session: Session, span: object) -> bool:
    """Return whether a place lies in the cell file itself, which can be opened here."""
    return span is not None and getattr(span, "file", "") == session.path


def judgement_of(now: Snapshot) -> Judgement | None:
    """Return the best judgement there is; cures are looked for meanwhile."""
    found: Judgement | None = now.judgement
    cured: Judgement | None = now.cures.result
    return cured or found


def _row(s: SignalResult) -> Row:
    return Row(
        s.name,
        s.channel,
        s.verdict,
        SIGNS.get(s.verdict, "?"),
        f"/circuit/{quote(s.name, safe='')}",
        _span(s.on),
        _span(s.off),
        _at(s.on_limit_v),
        _at(_off_limit_v(s)),
        _margin(s),
        _words(s),
    )


def _at(volts: float | None) -> float | None:
    return None if volts is None else round(100 * min(max(volts / WIDE_V, 0.0), 1.0), 2)


def _off_limit_v(s: SignalResult) -> float | None:
    """Return up to where it is off: for a lamp that is judged by its current, where it glows."""
    off = s.off
    if off is None or s.off_limit_v is None or math.isnan(off.v_high):
        return s.off_limit_v
    by_current = off.v_high > s.off_limit_v and off.margin_v >= 0
    return off.v_high + off.margin_v if by_current else s.off_limit_v


def _span(level: Level | None) -> Span | None:
    if level is None or math.isnan(level.v_low):  # not solved
        return None
    low, high = _at(level.v_low), _at(level.v_high)
    assert low is not None
    assert high is not None
    width = max(high - low, 1.2)  # never so thin that it cannot be seen
    return Span(round(min(low, 100 - width), 2), round(width, 2))


def _margin(s: SignalResult) -> str:
    margins = [level.margin_v for level in (s.on, s.off) if level is not None]
    margins = [m for m in margins if not math.isnan(m)]
    if not margins:
        return "—"
    return f"{min(margins):+.1f} V".replace("-", "\N{MINUS SIGN}")


def _words(s: SignalResult) -> str:
    parts = []
    for word, level, limit, side in (
        ("on", s.on, s.on_limit_v, "on from"),
        ("off", s.off, _off_limit_v(s), "off up to"),
    ):
        if level is not None:
            text = f"{word}: {level.v_low:.1f} to {level.v_high:.1f} V"
            text += f", {side} {limit:.1f} V" if limit is not None else ""
            text += "" if level.proven else " (not proven)"
            parts.append(text.replace("-0.0", "0.0"))
    return "; ".join(parts)


def finding_values(session: Session, f: Finding) -> dict[str, object]:
    """Return one finding for a template."""
    where = f.where[0] if f.where else None
    return {
        "code": f.code,
        "weight": WEIGHTS[f.severity],
        "message": f.message,
        "place": f.place,
        "line": where.line if where is not None else 0,
        "own": _own(session, where),
        "source": f.source,
        "signal": f.get("signal"),
        "remedies": [
            {"text": r.text, "proven": r.proven, "edit": [_both(o, n) for o, n in r.edit]}
            for r in f.remedies
        ],
    }


def _both(old: str, new: str) -> dict[str, str]:
    return {"old": old, "new": new}


def branch_values(b: BranchLoad) -> dict[str, object]:
    """Return the load of a supply or branch for a template."""
    top = max(b.limit_a, b.high_a, 1e-9)
    return {
        "name": b.name,
        "rest": f"{b.rest_a:.2f} A",
        "high": f"{b.high_a:.2f} A",
        "limit": f"{b.limit_a:.2f} A",
        "share": round(100 * min(b.high_a / top, 1.0), 1),
        "rest_share": round(100 * min(abs(b.rest_a) / top, 1.0), 1),
        "mark": round(100 * min(b.limit_a / top, 1.0), 1),
        "percent": round(100 * b.high_a / b.limit_a) if b.limit_a > 0 else 0,
        "over": b.in_limit or b.high_a > b.limit_a,
    }


ROUTES = (Route("/", show),)
