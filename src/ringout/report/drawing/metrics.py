"""How wide text is, from the advance widths of a free font, so that overlaps can be measured."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

# The first family is the one measured; `textLength` holds the others to its widths.
FAMILIES = "'DejaVu Sans Condensed', 'Liberation Sans', Arial, Helvetica, sans-serif"
ASCENT = 0.76  # of the size: the tallest plain letters of that font stand 0.76 above the line
DESCENT = 0.24
POINT_MM = 25.4 / 72
_WIDE = 1.05  # a character the table does not hold: as wide as the widest common one


@cache
def _widths() -> dict[str, tuple[float, float]]:
    path = Path(__file__).parent / "data" / "text_widths.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return {
            chr(int(row["code_point"], 16)): (float(row["regular_ratio"]), float(row["bold_ratio"]))
            for row in csv.DictReader(file, strict=True)
        }


@cache
def text_width_mm(text: str, size_mm: float, *, bold: bool = False) -> float:
    """Return how wide a line of text is, by the advance widths of the font file, unkerned.

    Args:
        text: the line.
        size_mm: font size in millimetres.
        bold: the bold face.
    """
    table = _widths()
    face = 1 if bold else 0
    return size_mm * sum(table[c][face] if c in table else _WIDE for c in text)


def wrap(text: str, size_mm: float, room_mm: float, *, bold: bool = False) -> list[str]:
    """Return text as lines no wider than the room; a word too long for it is cut apart."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if text_width_mm(longer, size_mm, bold=bold) <= room_mm:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while text_width_mm(line, size_mm, bold=bold) > room_mm and len(line) > 1:
            cut = len(line) - 1
            while cut > 1 and text_width_mm(line[:cut], size_mm, bold=bold) > room_mm:
                cut -= 1
            lines.append(line[:cut])
            line = line[cut:]
    return [*lines, line] if line else lines


def shortened(text: str, size_mm: float, room_mm: float, *, bold: bool = False) -> str:
    """Return text cut to the room, with dots where something was left out."""
    if text_width_mm(text, size_mm, bold=bold) <= room_mm:
        return text
    cut = len(text)
    while cut > 1 and text_width_mm(text[:cut] + "…", size_mm, bold=bold) > room_mm:
        cut -= 1
    return text[:cut].rstrip() + "…"
