"""Records for people and programs: lines to read, and the same as JSON."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from ringout.records.changes import Changes
from ringout.records.evidence import RunStep
from ringout.records.folder import CellEntry
from ringout.records.model import Head, Photo, Reading, Remark, RunState, StepState
from ringout.records.paper import minute
from ringout.records.verify import Verified
from ringout.report.checkout_view import HASH_FIGURES
from ringout.report.prove_text import Paint, plain

_STYLE = {"right": "good", "passed": "good", "wrong": "error", "failed": "error", "open": "dim"}
NONE_YET = "There are no records of {} yet. `ringout records enter` begins a run."


def run_json(state: RunState) -> dict[str, Any]:
    """Return a run and how far it is as JSON."""
    run = state.run
    return {
        "run": run.number,
        "state": state.state,
        "source": run.source,
        "who": run.who,
        "meter": run.meter,
        "started": run.at,
        "last": state.last_at or None,
        "file": run.file,
        "file_hash": run.file_hash,
        "revision": run.revision,
        "program": run.program,
        "steps": run.steps,
        "right": state.right,
        "wrong": state.wrong,
        "open": state.open,
        "base": run.base or None,
    }


def head_json(head: Head) -> dict[str, Any]:
    """Return the end of a chain as JSON."""
    return {"records": head.number, "head": head.hash}


def reading_json(reading: Reading) -> dict[str, Any]:
    """Return a reading as JSON; an open circuit has the value `open`."""
    value = reading.value
    return {
        "record": reading.record,
        "run": reading.run,
        "step": reading.step,
        "turn": reading.turn,
        "text": reading.text,
        "value": "open" if value is not None and math.isinf(value) else value,
        "verdict": reading.verdict,
        "who": reading.who,
        "at": reading.at,
        "meter": reading.meter,
        "carried_from_run": reading.carried or None,
        "detail": json.loads(reading.detail) if reading.detail else None,
    }


def step_json(step: RunStep) -> dict[str, Any]:
    """Return a step as it was planned as JSON."""

    def limit(value: float | None) -> float | str | None:
        return "open" if value is not None and math.isinf(value) else value

    return {
        "step": step.number,
        "key": step.key,
        "phase": step.phase,
        "kind": step.kind,
        "do": step.do,
        "expect": step.expect,
        "low": limit(step.low),
        "high": limit(step.high),
        "unit": step.unit,
        "levels": [{"name": n, "word": w} for n, w in step.levels],
        "if_not": step.if_not,
    }


def state_json(state: StepState) -> dict[str, Any]:
    """Return a step with its readings as JSON."""
    return {
        **step_json(state.step),
        "state": state.state,
        "kept": state.step.kept,
        "disputed": state.disputed,
        "readings": [reading_json(r) for r in state.readings],
    }


def remark_json(remark: Remark) -> dict[str, Any]:
    """Return a remark as JSON."""
    return {**asdict(remark), "run": remark.run or None, "step": remark.step or None}


def photo_json(photo: Photo) -> dict[str, Any]:
    """Return a photo, without its bytes, as JSON."""
    return {**asdict(photo), "run": photo.run or None, "step": photo.step or None}


def verified_json(found: Verified) -> dict[str, Any]:
    """Return what a check of the chain found as JSON."""
    return {
        "cell": found.cell,
        "records": found.records,
        "head": found.head,
        "holds": found.holds,
        "broken": [{"record": b.number, "kind": b.kind, "text": b.text} for b in found.broken],
        "notes": list(found.notes),
        "found_at": found.found_at or None,
    }


def changes_json(cell: str, found: Changes) -> dict[str, Any]:
    """Return what changed, and what it asks for, as JSON."""
    made = found.checkout
    return {
        "cell": cell,
        "base": run_json(found.base) if found.base is not None else None,
        "same_file": found.same_file,
        "changes": [asdict(c) for c in found.changes],
        "again": [{**step_json(a.step), "why": a.why, "new": a.was is None} for a in found.again],
        "kept": len(found.kept),
        "seconds": round(made.cost_s, 1) if made is not None else 0.0,
        "not_run": [{"check": n.check, "why": n.why} for n in made.not_run] if made else [],
    }


def entry_json(entry: CellEntry) -> dict[str, Any]:
    """Return a cell of a folder as JSON."""
    return {
        "path": entry.path,
        "cell": entry.name,
        "revision": entry.revision,
        "file_hash": entry.file_hash,
        "verdict": entry.verdict,
        "errors": entry.problems,
        "runs": entry.runs,
        "last": run_json(entry.last) if entry.last is not None else None,
        "same_file": entry.same_file,
        "open": entry.open,
        "wrong": entry.wrong,
        "trouble": entry.trouble or None,
    }


# -- lines ---------------------------------------------------------------------------------


def run_line(state: RunState, paint: Paint = plain) -> str:
    """Return one line about a run."""
    run = state.run
    done = f"{state.right} right"
    done += f", {state.wrong} wrong" if state.wrong else ""
    done += f", {state.open} open" if state.open else ""
    parts = [
        f"run {run.number}",
        paint(state.state, _STYLE[state.state]),
        f"{done} of {run.steps}",
        f"{minute(run.at)}, {run.who}",
        f"revision {run.revision or '-'}, file {run.file_hash[:HASH_FIGURES]}",
    ]
    parts += [run.meter] if run.meter else []
    parts += ["live"] if run.source == "live" else []
    parts += [f"goes on from run {run.base}"] if run.base else []
    return "; ".join(parts)


def head_line(head: Head) -> str:
    """Return one line about the end of a chain, to be written down."""
    if not head.number:
        return "no records"
    return f"{head.number} records; the chain ends in {head.hash}"


def list_lines(cell: str, states: Sequence[RunState], head: Head, paint: Paint) -> list[str]:
    """Return the runs of a cell as lines."""
    if not states:
        return [NONE_YET.format(cell)]
    return [paint(cell, "head"), *(run_line(s, paint) for s in states), head_line(head)]


def show_lines(
    cell: str,
    state: RunState,
    steps: Sequence[StepState],
    remarks: Sequence[Remark],
    photos: Sequence[Photo],
    paint: Paint,
) -> list[str]:
    """Return one run with its steps, remarks and photos as lines."""
    lines = [paint(cell, "head"), run_line(state, paint)]
    for one in steps:
        lines.append(f"{one.step.number:4d}  {one.step.do}")
        lines.append(f"      expect: {one.step.expect}")
        lines += [f"      {reading_line(r, paint)}" for r in one.readings]
        if not one.readings:
            lines.append(f"      {paint('open', 'dim')}")
        if one.disputed:
            lines.append(paint("      two people did not see the same here", "warning"))
    for remark in remarks:
        lines.append(f"remark{_at(remark.step)}: {remark.text} ({remark.who}, {minute(remark.at)})")
    for photo in photos:
        told = f" {photo.text}" if photo.text else ""
        size = f"{photo.kind}, {photo.size / 1000:.0f} kB, {photo.digest[:12]}"
        lines.append(f"photo{_at(photo.step)}: {photo.name}{told} ({size}; {photo.who})")
    return lines


def _at(step: int) -> str:
    return f" at step {step}" if step else ""


def reading_line(reading: Reading, paint: Paint = plain) -> str:
    """Return one line about a reading."""
    again = f", reading {reading.turn}" if reading.turn > 1 else ""
    from_run = f", from run {reading.carried}" if reading.carried else ""
    verdict = paint(reading.verdict, _STYLE.get(reading.verdict, "dim"))
    return f"{verdict}: {reading.text} ({reading.who}, {minute(reading.at)}{again}{from_run})"


def verified_lines(found: Verified, paint: Paint) -> list[str]:
    """Return what a check of the chain found as lines."""
    if found.holds and not found.records:
        return [NONE_YET.format(found.cell)]
    lines = [paint(b.text, "error") for b in found.broken]
    if found.holds:
        lines.append(f"{found.cell}: {found.records} records, each as it was written.")
    else:
        lines.append(f"{found.cell}: the records are NOT as they were written.")
    lines += [f"note: {n}" for n in found.notes]
    if found.found_at:
        later = found.records - found.found_at
        lines.append(f"The hash is that of record {found.found_at}; {later} came after it.")
    if found.head:
        lines.append(f"The chain ends in {found.head}")
    return lines


def changes_lines(cell: str, found: Changes, paint: Paint) -> list[str]:
    """Return what changed, and what it asks for, as lines."""
    base = found.base
    if base is None:
        return [f"No checkout of {cell} has passed yet: all {len(found.again)} steps are to do."]
    lines = [paint(f"{cell}: since run {base.run.number}, {minute(base.run.at)}", "head")]
    if found.same_file and not found.again:
        return [*lines, "The file is the same, byte for byte. Nothing is to be done again."]
    for change in found.changes:
        name = f" {change.name}" if change.name else ""
        told = " -> ".join(w for w in (change.was, change.now) if w)
        lines.append(f"{change.how}: {change.kind}{name}: {told}")
    if not found.changes:
        lines.append("Nothing changed that makes a difference to the circuit.")
    if not found.again:
        return [*lines, f"Nothing is to be done again; {len(found.kept)} steps hold."]
    made = found.checkout
    minutes = f", about {max(made.cost_s, 60.0) / 60:.0f} minutes" if made is not None else ""
    held = f"{len(found.kept)} steps hold as they were read"
    lines += ["", f"To do: {len(found.again)} steps{minutes}; {held}."]
    for one in found.again:
        lines.append(f"{one.step.number:4d}  {one.step.do}")
        lines.append(f"      expect: {one.step.expect}")
        lines.append(f"      why: {one.why}")
    return lines


def cells_lines(entries: Sequence[CellEntry], paint: Paint) -> list[str]:
    """Return the cells of a folder as lines."""
    if not entries:
        return ["There is no cell file here."]
    lines = []
    for one in entries:
        bad = f" ({one.problems})" if one.problems else ""
        style = "good" if one.verdict == "clean" else "error"
        verdict = paint(f"{one.verdict}{bad}", style)
        lines.append(f"{one.path}: {one.name or '-'}, revision {one.revision or '-'}: {verdict}")
        if one.last is not None:
            other = "" if one.same_file else "; the file has changed since"
            lines.append(f"  {run_line(one.last, paint)}{other}")
        elif one.trouble:
            lines.append(f"  {one.trouble}")
        else:
            lines.append("  no run on record")
    return lines
