"""What everything that reads user text does with a problem: keep it, and go on."""

from __future__ import annotations

from ringout.base.diagnostic import Diagnostic, Related, Severity
from ringout.base.span import Span


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
