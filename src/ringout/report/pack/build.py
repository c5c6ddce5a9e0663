"""A judged cell to its pack: everything that is printed, worked out before it is laid out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import PurePath

from ringout.base import Diagnostic, Severity
from ringout.cell.model import Cell
from ringout.checkout import Checkout
from ringout.findings.model import Judgement
from ringout.report.pack.bill import bill_of_materials
from ringout.report.pack.labels import labels_of
from ringout.report.pack.model import Pack, Procedure, RecordPage, SignalPage
from ringout.report.pack.pictures import (
    cable_pictures,
    face_pictures,
    map_pictures,
    overview_pictures,
    supply_pictures,
)
from ringout.report.pack.procedure import paper_procedure
from ringout.report.pack.signals import note, signal_pages
from ringout.report.sheet import build_sheet

CHECKOUT = "checkout"
# The most single faults of a cell whose checkout is worked out without being asked for.
MOST_FAULTS = 1200


def build_pack(
    cell: Cell,
    judgement: Judgement | None,
    checkout: Checkout | None = None,
    *,
    why_no_checkout: str = "it was not asked for",
    problems: Sequence[Diagnostic] = (),
    date: str = "",
    record: RecordPage | str | None = None,
) -> Pack:
    """Return everything a pack shows.

    Args:
        cell: the resolved cell.
        judgement: its judgement; None when it was not asked for.
        checkout: its procedure; None when it did not run.
        why_no_checkout: told in its place.
        problems: what is wrong with the file itself.
        date: date to print; nothing is printed unless it is given.
        record: the newest run on record, or the reason why it could not be read; None for none.
    """
    sheet = build_sheet(cell)
    procedure = paper_procedure(cell, checkout) if checkout is not None else None
    pages = signal_pages(cell, judgement, sheet) if judgement is not None else ()
    errors = [p for p in problems if p.severity is Severity.ERROR]
    ready = judgement is not None and not errors and _clean(judgement)
    return Pack(
        sheet=sheet,
        file=PurePath(cell.files[0][0]).name if cell.files else "",
        ambient=f"{cell.ambient_c.low:g} to {cell.ambient_c.high:g} °C",
        verdict=_verdict(judgement, len(errors)),
        ready=ready,
        problems=tuple(_problem(p) for p in problems),
        notes=tuple(note(f) for f in judgement.findings) if judgement else (),
        overview=overview_pictures(cell),
        supply=supply_pictures(cell, judgement.branches if judgement is not None else None),
        signals=tuple(_with_steps(page, procedure) for page in pages),
        cables=cable_pictures(sheet),
        faces=face_pictures(sheet),
        maps=map_pictures(cell),
        bill=bill_of_materials(cell, sheet),
        labels=labels_of(sheet),
        procedure=procedure,
        not_run=(
            *_not_run(judgement, checkout, why_no_checkout),
            *([("record", record)] if isinstance(record, str) else []),
        ),
        expects=tuple(e.text for e in cell.expects),
        items=tuple((n, i.note or i.part.title) for n, i in cell.items.items()),
        date=date,
        record=record if isinstance(record, RecordPage) else None,
    )


def _clean(judgement: Judgement) -> bool:
    bad = any(f.severity is Severity.ERROR and not f.accepted for f in judgement.findings)
    return not bad and not judgement.not_run


def _verdict(judgement: Judgement | None, errors: int) -> tuple[str, ...]:
    lines = []
    if errors:
        lines.append(f"{errors} statements of the file could not be used: this pack is not whole.")
    if judgement is None:
        return (*lines, "Not judged.")
    works = sum(s.verdict == "works" for s in judgement.signals)
    count = {s: sum(f.severity is s for f in judgement.findings) for s in Severity}
    lines.append(f"{works} of {len(judgement.signals)} signals work at guaranteed worst case.")
    lines.append(
        f"{count[Severity.ERROR]} errors, {count[Severity.WARNING]} warnings, "
        f"{count[Severity.NOTE]} notes."
    )
    lines.append(f"{judgement.states} states solved.")
    return tuple(lines)


def _problem(found: Diagnostic) -> str:
    line = f"line {found.span.line}: " if found.span is not None else ""
    fix = f" Fix: {found.fix}" if found.fix else ""
    return f"{line}{found.severity} {found.code}: {found.message}{fix}"


def _not_run(
    judgement: Judgement | None, checkout: Checkout | None, why: str
) -> tuple[tuple[str, str], ...]:
    rows = []
    if judgement is None:
        rows.append(("levels, margins and findings", "not asked for"))
    else:
        rows += [(n.check, n.why) for n in judgement.not_run]
        for result in judgement.signals:
            for word, level in (("on", result.on), ("off", result.off)):
                if level is not None and not level.proven:
                    told = "its range is solved at the likely worst corner, not proven"
                    rows.append((f"level of {result.name} while {word}", told))
                if level is None:
                    rows.append((f"level of {result.name} while {word}", "no such state is known"))
    if checkout is None:
        rows.append((CHECKOUT, why))
    else:
        rows += [(f"{CHECKOUT}: {n.check}", n.why) for n in checkout.not_run]
        told = "no step of the checkout shows it for certain"
        rows += [(f"{name} {word}", told) for name, word in checkout.unseen]
    return tuple(rows)


def _with_steps(page: SignalPage, procedure: Procedure | None) -> SignalPage:
    """Return a page with the numbers of the steps that look at the signal or at its channel."""
    if procedure is None:
        return page
    wanted = {page.name, page.channel, *(level.red for level in page.levels)} - {""}
    steps = tuple(s.number for s in procedure.steps if wanted & set(s.about))
    return replace(page, steps=steps)


def without_checkout(name: str, faults: int, most: int) -> str:
    """Return what is said where a cell is too large for a checkout within a pack."""
    return (
        f"{name} has {faults} plausible single faults. Above {most} a pack does not work the "
        "procedure out unasked, since that takes longer than all the rest together: minutes at "
        "first, hours for thousands. `ringout pack --checkout-within 30` stops after 30 minutes, "
        "`--checkout` never stops, and `ringout checkout` on the file gives it alone."
    )


def out_of_time(limit_s: float, cases: tuple[int, int]) -> str:
    """Return what is said where the time for the checkout was up."""
    done, of = cases
    far = f"{done} of {of} cases were solved" if of else "the first case was not solved yet"
    return f"it was stopped after {limit_s / 60:g} minutes, as was asked; {far}"
