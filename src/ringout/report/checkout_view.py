"""The procedure for people and programs: phases, steps, what stays hidden."""

from __future__ import annotations

import hashlib
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

from ringout.cell.model import Cell
from ringout.checkout import PHASES, Checkout, Step, Unexposed
from ringout.report.prove_json import number, place
from ringout.report.prove_text import Paint, plain

_WIDTH = 96
_NAMED = 4
HASH_FIGURES = 8
PHASE_HEADS = {
    "dead": "DEAD: no power",
    "power": "POWER IN STAGES: everything at rest",
    "function": "FUNCTION: one thing moved at a time",
}
PHASE_CAUTIONS = {
    "dead": (
        "Switch off, lock off, and prove it dead with a tester that was just tried on a live "
        "part. Zero the leads."
    ),
    "power": (
        "Keep hands off what moves. Use a meter rated for it; local codes and licensed people "
        "decide."
    ),
    "function": "Loads move now: keep clear of valves, grippers and what they hold.",
}


def stages_of(cell: Cell) -> list[str]:
    """Return the supplies and then their protection, in the order they are switched on."""
    supplies = [n for n, i in cell.items.items() if i.part.family == "supply"]
    protection = [n for n, i in cell.items.items() if i.part.family == "protection"]
    return [*supplies, *(stage for name in protection for stage in _branches(cell, name))]


def _branches(cell: Cell, name: str) -> list[str]:
    """Return the branches of one protection item that lead anywhere."""
    fuses = [e for e in cell.items[name].part.elements if e.kind == "protection"]
    if len(fuses) < 2:
        return [name]
    used = {t.pin for t in cell.join_at if t.item == name}
    return [f"{name}:{e.head}" for e in fuses if e.head in used]


def file_digest(cell: Cell) -> str:
    """Return the content hash of everything that was read; empty when nothing was."""
    digests = [digest for _, digest in cell.files]
    if len(digests) > 1:
        return hashlib.sha256("\n".join(digests).encode()).hexdigest()
    return digests[0] if digests else ""


def file_mark(cell: Cell) -> str:
    """Return the first figures of the content hash of what was read."""
    return file_digest(cell)[:HASH_FIGURES]


def checkout_answer(
    cell: Cell, checkout: Checkout, chosen: Sequence[tuple[int, Step]]
) -> dict[str, Any]:
    """Return the procedure as JSON.

    Args:
        cell: the cell.
        checkout: its procedure.
        chosen: the numbered steps to show.
    """
    return {
        "cell": cell.name,
        "revision": cell.revision,
        "file_hash": file_mark(cell),
        "stages": stages_of(cell),
        "steps": [_step(n, s) for n, s in chosen],
        "coverage": {
            "faults": checkout.faults,
            "exposable": checkout.exposed,
            "exposed": checkout.exposed,
            "not_exposable": [_unexposed(u) for u in checkout.not_exposable],
            "unseen": [{"name": a, "word": w} for a, w in checkout.unseen],
        },
        "optimal": checkout.optimal,
        "seconds": number(checkout.cost_s, 1),
        "bound_s": number(checkout.bound_s, 1),
        "harm_before_power": [_unexposed(u) for u in checkout.harm_before_power],
        "states": checkout.solved,
        "not_run": [{"check": n.check, "why": n.why} for n in checkout.not_run],
    }


def _step(n: int, step: Step) -> dict[str, Any]:
    return {
        "number": n,
        "phase": step.phase,
        "kind": step.kind,
        "while": [f"{a} {p}" for a, p in step.state],
        "do": step.do,
        "red": str(step.a) if step.a is not None else None,
        "black": str(step.b) if step.b is not None else None,
        "expect": step.expect,
        "low": number(step.low) if step.unit else None,
        "high": number(step.high) if step.unit else None,
        "unit": step.unit,
        "levels": [{"name": a, "word": w} for a, w in step.levels],
        "if_not": step.if_not,
        "exposes": [f.id for f in step.exposes],
        "catches": step.catches,
        "seconds": number(step.seconds, 1),
    }


def _unexposed(found: Unexposed) -> dict[str, Any]:
    return {
        "fault": found.fault.id,
        "text": found.fault.text,
        "where": [place(s) for s in found.fault.where],
        "why": found.why,
        "step": found.step or None,
        "by_eye": found.by_eye or None,
    }


def checkout_lines(
    cell: Cell, checkout: Checkout, chosen: Sequence[tuple[int, Step]], paint: Paint = plain
) -> list[str]:
    """Return the procedure as lines to work through with a meter."""
    mark = f", file {file_mark(cell)}" if cell.files else ""
    head = f"CHECKOUT of {cell.name}, revision {cell.revision or '-'}{mark}"
    lines = [paint(head, "head")]
    lines += [
        length_words(checkout),
        f"{checkout.exposed} of {checkout.faults} single wiring faults are exposed.",
        "",
        *_harm(checkout, paint),
    ]
    for phase in PHASES:
        steps = [(n, s) for n, s in chosen if s.phase == phase]
        if not steps:
            continue
        lines += [paint(PHASE_HEADS[phase], "head"), *_wrap(PHASE_CAUTIONS[phase], "  ", "  ")]
        if phase == "power":
            names = ", then ".join(stages_of(cell))
            lines += _wrap(
                f"Switch on one after the other: {names}. Stop at the first that trips or hums.",
                "  ",
                "  ",
            )
        lines.append("")
        for n, step in steps:
            lines += _step_lines(n, step, paint)
    lines += _hidden(checkout, paint)
    if checkout.unseen:
        head = f"WHAT NO STATE SHOWS FOR CERTAIN ({len(checkout.unseen)})"
        lines.append(paint(head, "head"))
        lines += _wrap(unseen_words(checkout), "  ")
    lines += [f"not run: {n.check}: {n.why}" for n in checkout.not_run]
    return lines


def length_words(checkout: Checkout) -> str:
    """Return how long a procedure is, and whether a shorter one may exist."""
    gap_s = checkout.cost_s - checkout.bound_s
    proof = (
        "no procedure of these looks is shorter (proven)"
        if checkout.optimal
        else f"a shorter one may exist, by {gap_s / 60:.0f} minutes at most"
    )
    return f"{len(checkout.steps)} steps, about {checkout.cost_s / 60:.0f} minutes; {proof}."


def _step_lines(n: int, step: Step, paint: Paint) -> list[str]:
    head = f"{n:4d}  "
    return [
        *_wrap(f"{step.do}.", head, " " * 6),
        *(paint(line, "good") for line in _wrap(f"expect: {step.expect}", " " * 6)),
        *(paint(line, "dim") for line in _wrap(f"else: {step.if_not}", " " * 6)),
    ]


def _harm(checkout: Checkout, paint: Paint) -> list[str]:
    if not checkout.harm_before_power:
        return [
            "No fault that can damage something is still possible when power goes on.",
            "",
        ]
    lines = []
    bare = checkout.unguarded
    seen = [u for u in checkout.harm_before_power if u.by_eye]
    for text, style, found in (
        ("CAN DO HARM AT POWER-ON, AND NOTHING SHOWS IT BEFORE", "error", bare),
        ("LOOK AT THESE BEFORE POWER: no ohm reading shows them", "warning", seen),
    ):
        if not found:
            continue
        lines.append(paint(text, style))
        for one in found:
            lines += _wrap(f"{one.fault.id}: {one.why}", "  ")
        lines.append("")
    return lines


def _hidden(checkout: Checkout, paint: Paint) -> list[str]:
    """Return what nothing exposes, by reason."""
    if not checkout.not_exposable:
        return []
    count = len(checkout.not_exposable)
    lines = [paint(f"WHAT NO STEP CAN SHOW ({count})", "head")]
    for why, ids in hidden_reasons(checkout):
        more = f" and {len(ids) - _NAMED} more" if len(ids) > _NAMED else ""
        lines += _wrap(f"{', '.join(ids[:_NAMED])}{more}", "  ")
        lines += _wrap(why, "      ")
    return lines


def unseen_words(checkout: Checkout) -> str:
    """Return which levels of signals no step shows."""
    return ", ".join(f"{name} {word}" for name, word in checkout.unseen)


def hidden_reasons(checkout: Checkout) -> list[tuple[str, tuple[str, ...]]]:
    """Return what no step shows: each reason with its faults, those of one kind together."""
    reasons: dict[tuple[str, str], list[str]] = {}
    for found in checkout.not_exposable:
        reasons.setdefault((found.fault.kind, _bare(found.why)), []).append(found.fault.id)
    return [(why, tuple(ids)) for (_, why), ids in reasons.items()]


def _bare(why: str) -> str:
    """Return a reason without the figures of one fault, so that like ones stand together."""
    first, _, rest = why.partition(". ")
    return rest if first.startswith(("Voltages move", "No voltage moves")) and rest else why


def _wrap(text: str, first: str, rest: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        _WIDTH,
        initial_indent=first,
        subsequent_indent=rest or f"{first}  ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def numbered(checkout: Checkout, phases: Iterable[str]) -> list[tuple[int, Step]]:
    """Return the steps of some phases with their numbers."""
    wanted = set(phases)
    return [(n, s) for n, s in enumerate(checkout.steps, 1) if s.phase in wanted]
