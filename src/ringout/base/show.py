"""A diagnostic as text: place, message, the line with carets, other places, the cure."""

from __future__ import annotations

from collections.abc import Sequence

from ringout.base.diagnostic import Diagnostic
from ringout.base.span import ASKED, Span

_WIDEST = 160  # columns of a source line; longer lines are cut around the place


def render_diagnostic(diagnostic: Diagnostic, source_lines: Sequence[str] = ()) -> str:
    """Return a diagnostic as the lines a terminal shows.

    Args:
        diagnostic: what to show.
        source_lines: the lines of the file its span points into; empty where they are not at hand.
    """
    head = f"{diagnostic.severity.value}[{diagnostic.code}]: {diagnostic.message}"
    span = diagnostic.span
    if span is None:
        shown = [head]
    elif span.file == ASKED:  # typed on the command line or in a field: there is no line to name
        shown = [head, *(line.split("| ", 1)[-1] for line in _excerpt(span, source_lines))]
        shown[1:] = [f"  {line}" for line in shown[1:]]
    else:
        shown = [f"{span}: {head}", *_excerpt(span, source_lines)]
    notes = [
        (related.label, f"{related.span}, {related.message}" if related.span else related.message)
        for related in diagnostic.related
    ]
    if diagnostic.fix:
        notes.append(("fix", diagnostic.fix))
    width = max((len(label) for label, _ in notes), default=0) + 1
    shown += [f"  {label + ':':<{width}} {text}" for label, text in notes]
    return "\n".join(shown)


def _excerpt(span: Span, lines: Sequence[str]) -> list[str]:
    """Return the line of the file and carets under the place."""
    if not 1 <= span.line <= len(lines):
        return []
    line = "".join(c if c.isprintable() else " " for c in lines[span.line - 1].rstrip("\r\n"))
    start = min(span.column - 1, len(line))
    end = max(start + 1, min(span.end_column - 1, max(len(line), start + 1)))
    cut = max(0, start - _WIDEST // 2) if len(line) > _WIDEST else 0
    line, start, end = line[cut : cut + _WIDEST], start - cut, min(end - cut, _WIDEST)
    number = str(span.line)
    blank = " " * len(number)
    carets = "^" * max(1, end - start)
    return [f" {number} | {line}".rstrip(), f" {blank} | {' ' * start}{carets}"]
