"""Culprits and the next measurement, for people and programs."""

from __future__ import annotations

import textwrap
from typing import Any

from ringout.circuit.faults import Fault
from ringout.find import Culprit, Found, NextLook
from ringout.report.prove_json import number, place
from ringout.report.prove_text import Paint, plain

_WIDTH = 96
_SHOWN = 8
_LEAST = 0.03  # a share below that is worth a name, not a reason
_ALIKE_SHOWN = 4
_SUSPECTS_SHOWN = 3


def find_answer(found: Found) -> dict[str, Any]:
    """Return the answer as JSON."""
    return {
        "observations": [
            {"text": o.text, "understood": o.understood, "kind": o.kind, "when": o.when}
            for o in found.observations
        ],
        "healthy": found.healthy,
        "contradictions": list(found.contradictions),
        "culprits": [_culprit(c) for c in found.culprits],
        "next": None if found.next is None else _next(found.next),
        "notes": list(found.notes),
    }


def _culprit(culprit: Culprit) -> dict[str, Any]:
    first = culprit.faults[0]
    return {
        "fault": first.id,
        "kind": first.kind,
        "text": first.text,
        "where": [place(s) for s in first.where],
        "alike": [f.id for f in culprit.faults[1:]],
        "probability": number(culprit.probability, 4),
        "why": culprit.why,
        "against": list(culprit.against),
        "undecided": list(culprit.undecided),
    }


def _next(look: NextLook) -> dict[str, Any]:
    return {
        "do": look.do,
        "expect": [{"seen": seen, "culprits": list(ids)} for seen, ids in look.expect],
        "seconds": number(look.seconds, 1),
        "bits": number(look.bits, 3),
    }


def find_lines(found: Found, paint: Paint = plain) -> list[str]:
    """Return the answer as lines: contradictions first, then culprits, then what to do next."""
    lines: list[str] = []
    if found.observations:
        lines.append(paint("UNDERSTOOD", "head"))
        lines += [f"  {o.understood}" for o in found.observations] + [""]
    if found.contradictions:
        lines.append(paint("DOES NOT GO TOGETHER", "error"))
        for text in found.contradictions:
            lines += _wrap(text, "  ")
        lines.append("")
    if found.healthy:
        lines += [
            *_wrap(
                "All this is what a healthy cell shows. Say what is wrong, or where it was "
                "different.",
                "",
            ),
            "",
        ]
    if found.culprits and not found.healthy:
        lines.append(paint("CULPRITS", "head"))
        likely = [c for c in found.culprits[:_SHOWN] if c.probability >= _LEAST]
        likely = likely or list(found.culprits[:1])
        for culprit in likely:
            lines += _culprit_lines(culprit)
        rest = found.culprits[len(likely) :]
        if rest:
            names = ", ".join(c.faults[0].id for c in rest[:_ALIKE_SHOWN])
            more = f" and {len(rest) - _ALIKE_SHOWN} more" if len(rest) > _ALIKE_SHOWN else ""
            lines += _wrap(f"less likely: {names}{more}", "  ")
        lines.append("")
    lines += [line for note in found.notes for line in _wrap(note, "")]
    if found.next is not None:
        lines += [paint("NEXT", "head"), *_wrap(f"{found.next.do}.", "  ")]
        for seen, ids in found.next.expect:
            more = f" and {len(ids) - _SUSPECTS_SHOWN} more" if len(ids) > _SUSPECTS_SHOWN else ""
            lines += _wrap(f"{seen}: {'; '.join(ids[:_SUSPECTS_SHOWN])}{more}", "    ")
    return lines


def _culprit_lines(culprit: Culprit) -> list[str]:
    first = culprit.faults[0]
    where = f"  ({first.where[0]})" if first.where else ""
    lines = [f"  {culprit.probability:4.0%}  {first.id}{where}"]
    lines += _wrap(culprit.why, "        ")
    if len(culprit.faults) > 1:
        lines += _wrap(f"No reading tells it from: {_alike(culprit.faults[1:])}.", "        ")
    if culprit.undecided:
        names = ", ".join(culprit.undecided[:_ALIKE_SHOWN])
        lines += _wrap(f"Only hand and eye tell it from: {names}.", "        ")
    for text in culprit.against:
        lines += _wrap(f"Does not explain: {text}", "        ")
    return lines


def _alike(faults: tuple[Fault, ...]) -> str:
    more = len(faults) - _ALIKE_SHOWN
    named = ", ".join(f.id for f in faults[:_ALIKE_SHOWN])
    return f"{named} and {more} more" if more > 0 else named


def _wrap(text: str, indent: str) -> list[str]:
    return textwrap.wrap(
        text,
        _WIDTH,
        initial_indent=indent,
        subsequent_indent=f"{indent}  ",
        break_long_words=False,
        break_on_hyphens=False,
    )
