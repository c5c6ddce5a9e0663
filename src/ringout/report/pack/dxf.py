"""A drawing as DXF of release R12: the oldest form, which every drawing program reads."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

from ringout.report.pack.svg_lines import Circle, Line, Words, svg_shapes

LINES, TEXT = "LINES", "TEXT"
CAP = 0.73  # height of a capital in font sizes; a text is measured by its capitals
_ALIGN = {"start": 0, "middle": 1, "end": 2}

Pair = tuple[int, str | float | int]


def svg_to_dxf(svg: str, height_mm: float) -> str:
    r"""Return a drawing as DXF text, one unit to the millimetre.

    Args:
        svg: a drawing of this project.
        height_mm: its height; y counts upwards in the answer.

    Returns:
        ASCII text with lines on the layer `LINES` and texts on the layer `TEXT`; letters
        beyond ASCII are written as `\U+xxxx`, which drawing programs know.
    """
    pairs: list[Pair] = [
        (0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1009"), (0, "ENDSEC"),
        (0, "SECTION"), (2, "TABLES"), (0, "TABLE"), (2, "LAYER"), (70, 2),
    ]  # fmt: skip
    for name in (LINES, TEXT):
        pairs += [(0, "LAYER"), (2, name), (70, 0), (62, 7), (6, "CONTINUOUS")]
    pairs += [(0, "ENDTAB"), (0, "ENDSEC"), (0, "SECTION"), (2, "ENTITIES")]
    for shape in svg_shapes(svg):
        if isinstance(shape, Words):
            pairs += _text(shape, height_mm)
        elif isinstance(shape, Circle):
            x, y = shape.centre
            pairs += [(0, "CIRCLE"), (8, LINES), *_at(x, height_mm - y), (40, shape.radius_mm)]
        else:
            pairs += _lines(shape, height_mm)
    pairs += [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code}\n{_value(value)}\n" for code, value in pairs)


def _lines(line: Line, height_mm: float) -> Iterable[Pair]:
    for (x1, y1), (x2, y2) in pairwise(line.points):
        yield 0, "LINE"
        yield 8, LINES
        yield from _at(x1, height_mm - y1)
        yield from _at(x2, height_mm - y2, 1)


def _text(words: Words, height_mm: float) -> Iterable[Pair]:
    at = (words.at[0], height_mm - words.at[1])
    yield 0, "TEXT"
    yield 8, TEXT
    yield from _at(*at)
    yield 40, words.size_mm * CAP
    yield 1, _ascii(words.text)
    if words.angle_deg:
        yield 50, -words.angle_deg
    align = _ALIGN[words.anchor]
    if align:
        yield 72, align
        yield from _at(*at, 1)


def _at(x: float, y: float, second: int = 0) -> list[Pair]:
    return [(10 + second, x), (20 + second, y), (30 + second, 0.0)]


def _value(value: str | float) -> str:
    return f"{value:.4f}" if isinstance(value, float) else str(value)


def _ascii(text: str) -> str:
    r"""Return text in ASCII on one line; `%%` and `\\U` would be taken for signs."""
    plain = " ".join(text.split()).replace("%%", "% %").replace("\\", "/")
    return "".join(c if " " <= c <= "~" else _escape(c) for c in plain)


def _escape(char: str) -> str:
    code = ord(char)
    return f"\\U+{code:04X}" if code <= 0xFFFF else "?"
