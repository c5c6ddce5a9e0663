"""Room 0: places, diagnostics, codes, quantities and tolerances."""

from ringout.base.diagnostic import Diagnostic, Related, Severity
from ringout.base.interval import Interval
from ringout.base.span import Span

__all__ = ["Diagnostic", "Interval", "Related", "Severity", "Span"]
