"""Records as one CSV table, a line for each reading, remark and photo."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

from ringout.records.model import Reading, Run, StepState
from ringout.records.store import Store
from ringout.report.sheet_files import guarded

# Columns are only ever added, at the end.
COLUMNS = (
    "record", "kind", "cell", "run", "run_at", "run_by", "source", "file", "file_hash", "revision",
    "step", "phase", "key", "do", "expect", "low", "high", "unit", "turn", "counts", "text",
    "value", "verdict", "at", "who", "meter", "carried_from_run", "photo", "photo_hash", "hash",
)  # fmt: skip


def export_csv(store: Store, run: int | None = None) -> bytes:
    """Return readings, open steps, remarks and photos as CSV, spreadsheet-proof, UTF-8.

    The last line is the end of the chain: its record number and hash.

    Args:
        store: the records.
        run: only this run; None for all.

    Raises:
        StoreError: they could not be read, or there is no such run.
    """
    runs = [store.state_of(run).run] if run is not None else [s.run for s in store.runs()]
    hashes = {e.number: e.hash for e in store.since()}
    lines: list[dict[str, Any]] = []
    for one in runs:
        for state in store.steps_of(one.number):
            lines += _step_lines(one, state)
    for remark in store.remarks(run):
        lines.append(
            {
                "record": remark.record, "kind": "remark", "run": remark.run or None,
                "step": remark.step or None, "text": remark.text, "at": remark.at,
                "who": remark.who,
            }
        )  # fmt: skip
    for photo in store.photos(run):
        lines.append(
            {
                "record": photo.record, "kind": "photo", "run": photo.run or None,
                "step": photo.step or None, "text": photo.text, "at": photo.at, "who": photo.who,
                "photo": photo.name, "photo_hash": photo.digest,
            }
        )  # fmt: skip
    head = store.head()
    lines.append({"record": head.number, "kind": "end of chain", "hash": head.hash})
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for line in lines:
        line["cell"] = store.cell
        line.setdefault("hash", hashes.get(line.get("record") or 0))
        writer.writerow([_cell(line.get(name)) for name in COLUMNS])
    return out.getvalue().encode("utf-8-sig")


def _step_lines(run: Run, state: StepState) -> list[dict[str, Any]]:
    step = state.step
    planned = {
        "run": run.number, "run_at": run.at, "run_by": run.who, "source": run.source,
        "file": run.file, "file_hash": run.file_hash, "revision": run.revision,
        "step": step.number, "phase": step.phase, "key": step.key, "do": step.do,
        "expect": step.expect, "low": step.low, "high": step.high, "unit": step.unit,
    }  # fmt: skip
    if not state.readings:
        return [{**planned, "kind": "open step"}]
    return [{**planned, **_reading_line(run, r, r is state.last)} for r in state.readings]


def _reading_line(run: Run, reading: Reading, counts: bool) -> dict[str, Any]:  # noqa: FBT001
    return {
        "record": reading.record,
        "kind": "reading",
        "turn": reading.turn,
        "counts": "yes" if counts else "no",
        "text": reading.text,
        "value": reading.value,
        "verdict": reading.verdict,
        "at": reading.at,
        "who": reading.who,
        "meter": reading.meter or run.meter,
        "carried_from_run": reading.carried or None,
    }


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return "open" if math.isinf(value) else f"{value:g}"
    return guarded(value) if isinstance(value, str) else str(value)
