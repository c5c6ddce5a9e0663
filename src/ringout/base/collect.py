"""What everything that reads user text does with a problem: keep it, and go on."""

from __future__ import annotations

from collections.abc import Iterable

from ringout.base.diagnostic import Diagnostic, Related, Severity
from ringout.base.span import Span


def unused_lines(problems: Iterable[Diagnostic]) -> int:
    """Return how many lines of the user's files could not be used, or not as they stand."""
    spans = [p.span for p in problems if p.severity is Severity.ERROR]
    return len({(s.file, s.line) if s is not None else ("", 0) for s in spans})


class Collector:
    """Keeps diagnostics in `problems`, which the class that uses it sets up."""

    problems: list[Diagnostic]

    def _error(
        self,
        code: str,
        message: str,
        span: Span,
        fix: str | None = None,
        related: tuple[Related, ...] = (),
    ) -> None:
        self.problems.append(Diagnostic(code, Severity.ERROR, message, span, related, fix))
