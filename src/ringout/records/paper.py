"""The record as the pack prints it."""

from __future__ import annotations

from ringout.cell.model import Cell
from ringout.records.model import StepState
from ringout.records.store import Store
from ringout.report.checkout_view import file_digest
from ringout.report.pack.model import RecordPage, RecordRow

_MARK = 12  # figures of a file hash, as on the pack's cover


def paper_record(store: Store, cell: Cell) -> RecordPage | None:
    """Return the newest run of a cell for print; None when there is no run.

    Args:
        store: the records.
        cell: the cell as its file is now.
    """
    states = store.runs()
    if not states:
        return None
    last = states[-1]
    run = last.run
    head = store.head()
    return RecordPage(
        run=run.number,
        runs=len(states),
        state=last.state,
        who=run.who,
        at=minute(run.at),
        last_at=minute(last.last_at),
        meter=run.meter,
        source=run.source,
        file=run.file,
        file_hash=run.file_hash[:_MARK],
        revision=run.revision or "-",
        same_file=run.file_hash == file_digest(cell),
        base=run.base,
        right=last.right,
        wrong=last.wrong,
        open=last.open,
        steps=tuple(_row(s) for s in store.steps_of(run.number)),
        remarks=tuple(
            (f"step {r.step}" if r.step else "", r.text, r.who, minute(r.at))
            for r in store.remarks()
            if r.run in (0, run.number)
        ),
        photos=tuple(
            (p.name, p.text, p.digest[:_MARK]) for p in store.photos() if p.run in (0, run.number)
        ),
        records=head.number,
        head=head.hash,
    )


def minute(at: str) -> str:
    """Return a time for people, as in `2026-05-04 10:31 UTC`; empty for none."""
    return f"{at[:10]} {at[11:16]} UTC" if at else ""


def _row(state: StepState) -> RecordRow:
    last = state.last
    return RecordRow(
        number=state.step.number,
        do=state.step.do,
        expect=state.step.expect,
        read=last.text if last is not None else "",
        verdict=state.state,
        who=last.who if last is not None else "",
        at=minute(last.at) if last is not None else "",
        turns=len(state.readings),
        carried=last.carried if last is not None else 0,
    )
