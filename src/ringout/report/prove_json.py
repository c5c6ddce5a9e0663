"""The `prove` answer as JSON: stable keys, documented in docs/json.md."""

from __future__ import annotations

import math
from typing import Any

from ringout.base import Diagnostic, Span
from ringout.base.collect import unused_lines
from ringout.findings.model import Finding, Judgement, Level, Remedy, SignalResult


def number(value: float | None, digits: int = 6) -> float | None:
    """Return a figure JSON can carry: None for what is missing or not a number."""
    if value is None or not math.isfinite(value):
        return None
    return round(value, digits)


def place(span: Span) -> dict[str, Any]:
    """Return a place in the user's file."""
    return {"file": span.file, "line": span.line, "column": span.column}


def level(found: Level | None) -> dict[str, Any] | None:
    """Return one level, or None when the signal has no such state."""
    if found is None:
        return None
    return {
        "v_low": number(found.v_low),
        "v_typ": number(found.v_typ),
        "v_high": number(found.v_high),
        "i_typ_ma": number(found.i_typ_ma),
        "margin_v": number(found.margin_v),
        "proven": found.proven,
        "worst_while": found.worst_while,
    }


def signal(result: SignalResult) -> dict[str, Any]:
    """Return one signal."""
    return {
        "name": result.name,
        "channel": result.channel,
        "kind": result.kind,
        "verdict": result.verdict,
        "on": level(result.on),
        "off": level(result.off),
        "on_limit_v": number(result.on_limit_v),
        "off_limit_v": number(result.off_limit_v),
        "where": place(result.span),
    }


def remedy(found: Remedy) -> dict[str, Any]:
    """Return one remedy with the margins it leads to."""
    return {
        "text": found.text,
        "proven": found.proven,
        "margins": [
            {
                "signal": m.signal,
                "on_before_v": number(m.on_before_v),
                "on_after_v": number(m.on_after_v),
                "off_before_v": number(m.off_before_v),
                "off_after_v": number(m.off_after_v),
            }
            for m in found.margins
        ],
        "edit": [{"old": old, "new": new} for old, new in found.edit],
    }


def finding(found: Finding) -> dict[str, Any]:
    """Return one finding."""
    return {
        "code": found.code,
        "severity": str(found.severity),
        "message": found.message,
        "place": found.place,
        "where": [place(s) for s in found.where],
        "numbers": [
            {"name": q.name, "value": number(q.value), "unit": q.unit} for q in found.numbers
        ],
        "source": found.source,
        "remedies": [remedy(r) for r in found.remedies],
        "accepted": found.accepted or None,
    }


def problem(diagnostic: Diagnostic) -> dict[str, Any]:
    """Return a problem of the file itself in the shape of a finding."""
    spans = [diagnostic.span] if diagnostic.span is not None else []
    spans += [r.span for r in diagnostic.related if r.span is not None]
    return {
        "code": diagnostic.code,
        "severity": str(diagnostic.severity),
        "message": diagnostic.message,
        "place": "",
        "where": [place(s) for s in spans],
        "numbers": [],
        "source": "",
        "remedies": [{"text": diagnostic.fix, "proven": False, "margins": [], "edit": []}]
        if diagnostic.fix
        else [],
        "accepted": None,
    }


def prove_answer(
    cell: str, judgement: Judgement | None, problems: tuple[Diagnostic, ...]
) -> dict[str, Any]:
    """Return the whole answer of `prove`.

    Args:
        cell: the cell's name.
        judgement: the judgement, or None when the file could not be read far enough.
        problems: what is wrong with the file itself.
    """
    findings = [problem(d) for d in problems]
    if judgement is None:
        return {
            "cell": cell,
            "signals": [],
            "findings": findings,
            "not_run": [{"check": "all of it", "why": "the file could not be read"}],
            "unused_lines": unused_lines(problems),
            "branches": [],
        }
    return {
        "cell": cell,
        "signals": [signal(s) for s in judgement.signals],
        "findings": findings + [finding(f) for f in judgement.findings],
        "not_run": [{"check": n.check, "why": n.why} for n in judgement.not_run],
        "unused_lines": unused_lines(problems),
        "branches": [
            {
                "name": b.name,
                "rest_a": number(b.rest_a),
                "high_a": number(b.high_a),
                "limit_a": number(b.limit_a),
            }
            for b in judgement.branches
        ],
        "states": judgement.states,
        "worst_residual_a": number(judgement.worst_residual_a, 15),
    }
