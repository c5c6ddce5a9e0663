"""Columns and wrapping for text that must fit 100 characters, on a terminal and on paper."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

WIDTH = 100
NARROW = 24  # a column narrower than this is not worth wrapping in


def wrapped(text: str, first: str = "", indent: str | None = None) -> list[str]:
    """Return text wrapped to the width; words that are longer stand alone."""
    later = " " * len(first) if indent is None else indent
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=True,
        break_on_hyphens=False,
    )


def area_words(area_mm2: float) -> str:
    """Return a cross-section as the trade writes it: 0.34, 1.0, 2.5, 4; of an AWG, 1.31."""
    return "1.0" if area_mm2 == 1 else f"{area_mm2:.3g}"


def length_words(length_m: float) -> str:
    """Return a length to the centimetre, as in `9.14 m`."""
    return f"{round(length_m, 2):g} m"


def beside(left: Sequence[str], right: Sequence[str], gap: str = "   ") -> list[str]:
    """Return two blocks of lines side by side, or one below the other where they do not fit."""
    wide = max(map(len, left), default=0)
    if wide + len(gap) + max(map(len, right), default=0) > WIDTH:
        return [*left, *right]
    lines = max(len(left), len(right))
    blocks = [[*block, *[""] * (lines - len(block))] for block in (left, right)]
    return [f"{a.ljust(wide)}{gap}{b}".rstrip() for a, b in zip(*blocks, strict=True)]


def columns(
    head: Sequence[str], rows: Sequence[Sequence[str]], *, indent: str = "", prose: bool = True
) -> list[str]:
    """Return a table as lines; columns with nothing in them are left out, the last one wraps.

    Args:
        head: one heading per column.
        rows: cells as text.
        indent: put before each line.
        prose: the last column is prose that may wrap; otherwise it gets a line of its own.
    """
    kept = [c for c in range(len(head)) if any(r[c] for r in rows)]
    if not kept:
        return []
    widths = [max(len(head[c]), *(len(r[c]) for r in rows)) for c in kept]
    lines: list[str] = []
    for row in [head, *rows]:
        start = indent + "  ".join(
            row[c].ljust(w) for c, w in zip(kept[:-1], widths[:-1], strict=True)
        )
        start += "  " if len(kept) > 1 else ""
        last = row[kept[-1]]
        room = WIDTH - len(start)
        if len(last) <= room:
            lines.append((start + last).rstrip())
            continue
        if not prose or room < NARROW:
            lines += [start.rstrip(), *wrapped(last, indent + " " * 6)]
            continue
        pieces = textwrap.wrap(last, room, break_on_hyphens=False)
        lines.append(start + pieces[0])
        lines += [" " * len(start) + p for p in pieces[1:]]
    return lines
