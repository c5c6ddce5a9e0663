"""Counting patterns of part files: `X1..X8` stands for eight, `{n+8}` counts with it."""

from __future__ import annotations

import re

_RANGE = re.compile(r"^([A-Za-z_+\-]*?)(\d+)\.\.([A-Za-z_+\-]*?)(\d+)([A-Za-z_+\-]*)$")
_SLOT = re.compile(r"\{(\d*)n([+-]\d+)?\}")
LARGEST_COUNT = 4096


def expand_name(name: str) -> list[tuple[str, int | None]]:
    """Return every name a pattern stands for with its number; plain names have None."""
    found = _RANGE.match(name)
    if found is None or (found[3] and found[3] != found[1]):
        return [(name, None)]
    first, last = int(found[2]), int(found[4])
    if last < first or last - first >= LARGEST_COUNT:
        return [(name, None)]
    return [(f"{found[1]}{n}{found[5]}", n) for n in range(first, last + 1)]


def fill_slots(text: str, n: int | None) -> str:
    """Return `text` with every `{2n-1}` and the like replaced by its number."""
    if n is None or "{" not in text:
        return text

    def number(found: re.Match[str]) -> str:
        factor = int(found[1]) if found[1] else 1
        offset = int(found[2]) if found[2] else 0
        return str(factor * n + offset)

    return _SLOT.sub(number, text)
