"""One thing worth telling the user, as data: doors render it, nothing parses prose."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ringout.base.span import Span


class Severity(StrEnum):
    """How much a diagnostic matters: an error must be cured before power goes on."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Related:
    """A second place that belongs to the same diagnostic (`label` is two or three words)."""

    label: str
    message: str
    span: Span | None = None


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """A fact about the user's file, with its place and, where one is known, its cure.

    Args:
        code: letter and three digits, from `ringout.base.codes`.
        severity: error, warning or note.
        message: plain words, user identifiers only.
        span: the place in the user's file; None when the file as a whole is meant.
        related: other places involved.
        fix: what to do, one sentence.
    """

    code: str
    severity: Severity
    message: str
    span: Span | None = None
    related: tuple[Related, ...] = ()
    fix: str | None = None
