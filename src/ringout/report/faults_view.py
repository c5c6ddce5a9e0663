"""The fault table for people and programs: every fault, gravest effect first."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from ringout.findings.effects import EFFECT_KINDS, Effect, FaultEffects, FaultTable
from ringout.report.prove_json import number, place
from ringout.report.prove_text import Paint, plain

LATENT = "latent"
HEADS = {
    "harm": "CAN DAMAGE SOMETHING",
    "trips": "PROTECTION OPENS, OR A SUPPLY OR OUTPUT GOES TO ITS LIMIT",
    "level": "A SIGNAL READS OTHERWISE",
    "moves": "A LOAD WORKS, GLOWS OR RESTS THOUGH IT SHOULD NOT",
    LATENT: "NOTHING TELLS",
}
STYLES = {"harm": "error", "trips": "warning", "level": "note", "moves": "note", LATENT: "dim"}
KINDS = (*EFFECT_KINDS, LATENT)
_WIDTH = 96
_SHOWN = 3


def chosen_rows(
    table: FaultTable, *, item: str = "", cable: str = "", signal: str = "", effect: str = ""
) -> tuple[FaultEffects, ...]:
    """Return the rows that concern an item, a cable, a signal or have an effect."""
    return tuple(
        row
        for row in table.rows
        if (not item or item in row.fault.items)
        and (not cable or cable in row.fault.cables)
        and (not signal or _concerns(row, signal))
        and (not effect or effect == row.kind or any(e.kind == effect for e in row.effects))
    )


def _concerns(row: FaultEffects, signal: str) -> bool:
    """Return whether a fault lies in a signal's own circuit or changes how it reads."""
    return signal in row.fault.signals or any(e.what == signal for e in row.effects)


def _effect(effect: Effect) -> dict[str, Any]:
    return {
        "kind": effect.kind,
        "what": effect.what,
        "while": effect.state,
        "before": effect.before,
        "after": effect.after,
        "text": effect.text,
        "numbers": [
            {"name": q.name, "value": number(q.value), "unit": q.unit} for q in effect.numbers
        ],
    }


def faults_answer(table: FaultTable, rows: Sequence[FaultEffects]) -> dict[str, Any]:
    """Return the table as JSON."""
    return {
        "count": len(rows),
        "faults": [
            {
                "id": row.fault.id,
                "kind": row.fault.kind,
                "text": row.fault.text,
                "where": [place(s) for s in row.fault.where],
                "likelihood": row.fault.likelihood,
                "effects": [_effect(e) for e in row.effects],
                "harm": row.harm,
                "latent": row.latent,
                "why": row.why,
            }
            for row in rows
        ],
        "pairs_left": table.pairs_left,
        "pairs_excluded": table.pairs_excluded,
        "states": table.solved,
        "worst_residual_a": number(table.worst_residual_a, 15),
        "not_run": [{"check": n.check, "why": n.why} for n in table.not_run],
    }


def faults_lines(
    table: FaultTable, rows: Sequence[FaultEffects], paint: Paint = plain
) -> list[str]:
    """Return the table as lines, by gravest effect."""
    lines: list[str] = []
    for kind in KINDS:
        mine = [r for r in rows if r.kind == kind]
        if not mine:
            continue
        lines += [paint(f"{HEADS[kind]} ({len(mine)})", STYLES[kind]), ""]
        for row in mine:
            lines += _row_lines(row)
        lines.append("")
    count = {kind: sum(r.kind == kind for r in rows) for kind in KINDS}
    words = ", ".join(f"{n} {kind}" for kind, n in count.items() if n)
    lines.append(f"{len(rows)} faults by gravest effect: {words or 'none'}")
    lines.append(f"{table.solved} states solved")
    if table.pairs_left:
        lines.append(f"{table.pairs_left} pairs of different neighbourhoods were not tried")
    if table.pairs_excluded:
        lines.append(f"{table.pairs_excluded} pairs act on the same conductor or part: no pairs")
    lines += [f"not run: {n.check}: {n.why}" for n in table.not_run]
    return lines


def _row_lines(row: FaultEffects) -> list[str]:
    where = f"  ({row.fault.where[0]})" if row.fault.where else ""
    lines = [f"  {row.fault.id}{where}"]
    texts = [e.text for e in row.effects[:_SHOWN]] or [row.why]
    if len(row.effects) > _SHOWN:
        texts.append(f"and {len(row.effects) - _SHOWN} effects more")
    for text in texts:
        lines += textwrap.wrap(
            text, _WIDTH, initial_indent="      ", subsequent_indent="        ",
            break_long_words=False, break_on_hyphens=False,
        )  # fmt: skip
    return lines
