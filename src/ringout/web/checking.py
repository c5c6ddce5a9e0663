"""What is wrong with a text that need not be on disk yet."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.base import Diagnostic, Severity
from ringout.cell.model import Cell
from ringout.cell.resolve import resolve_cell
from ringout.cellfile import parse_cell_text
from ringout.web.session import Session

MOST_TOLD = 200


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong with a line: where, how grave, what, and how to mend it."""

    line: int
    column: int
    severity: str
    code: str
    message: str
    fix: str


def check_text(session: Session, text: str) -> tuple[Cell | None, list[Problem]]:
    """Return what can be made of a text in the place of the cell file, and what is wrong with it.

    Args:
        session: the bench; files the text includes are looked for beside its file.
        text: the text.
    """
    made, problems = parse_cell_text(text, session.path)
    if made is None:
        return None, told(session, problems)
    cell, more = resolve_cell(made, folder=str(session.folder))
    return cell, told(session, (*problems, *more))


def told(session: Session, problems: tuple[Diagnostic, ...]) -> list[Problem]:
    """Return diagnostics as problems, by line; those of other files come first, at line 0."""
    out = []
    for p in problems[: 5 * MOST_TOLD]:
        own = p.span is None or p.span.file == session.path
        line = p.span.line if own and p.span is not None else 0 if not own else 1
        column = p.span.column if own and p.span is not None else 1
        message = p.message
        if not own and p.span is not None:
            message = f"{p.span.file.rpartition('/')[2]}, line {p.span.line}: {message}"
        out.append(Problem(line, column, str(p.severity), p.code, message, p.fix or ""))
    out.sort(key=lambda q: (q.line, q.column))
    return out[:MOST_TOLD]


def fresh_errors(before: list[Problem], after: list[Problem]) -> list[Problem]:
    """Return the errors that an edit brings: those that were not there before."""
    old = [(p.code, p.message) for p in before]
    out = []
    for p in after:
        if (p.code, p.message) in old:
            old.remove((p.code, p.message))
        elif p.severity == str(Severity.ERROR):
            out.append(p)
    return out
