"""Pin faces as plain characters, for a terminal and for paper."""

from __future__ import annotations

from ringout.report.faces_model import (
    SIDES,
    Face,
    connector_name,
    placed_pins,
)
from ringout.report.sheet_layout import beside, columns
from ringout.tables.faces import connector_outline

_HALF_WIDE = 8  # characters from the middle to the outermost pin
_HALF_HIGH = 2  # lines from the middle to the outermost pin, for up to five pins
_MANY = 5


def face_text(face: Face, side: str) -> list[str]:
    """Return one view of a face as lines: pin and core colour where the pin is, key at the top.

    Args:
        face: a face; one that is not `drawn` gives no lines.
        side: `mating` or `wiring`.
    """
    if not face.drawn:
        return []
    pins = placed_pins(face, side)
    half_high = _HALF_HIGH if len(pins) <= _MANY else 5
    radius = connector_outline(face.connector).circle_mm / 2
    words = {p.pin.pin: f"{p.pin.pin} {p.pin.colour}".strip() for p in pins}
    inner = 2 * _HALF_WIDE + 1 + max(map(len, words.values()))
    grid = [[" "] * inner for _ in range(2 * half_high + 1)]
    for p in pins:
        word = words[p.pin.pin]
        line = round(half_high - p.y_mm / radius * half_high)
        middle = inner / 2 + p.x_mm / radius * _HALF_WIDE
        start = min(max(round(middle - len(word) / 2), 0), inner - len(word))
        grid[line][start : start + len(word)] = word
    lid = list("." + "-" * (inner + 2) + ".")
    key = len(lid) // 2
    lid[key - 2 : key + 3] = "[key]"
    while len(grid) > 1 and not any("".join(grid[0] + grid[-1]).split()):
        grid = grid[1:-1]
    body = [f"| {''.join(line)} |" for line in grid]
    return ["".join(lid), *body, "'" + "-" * (inner + 2) + "'"]


def face_pair_text(face: Face) -> list[str]:
    """Return both sides of a face beside each other, each under its title."""
    views = [
        [f"{face.gender}, {side} side", *drawing]
        for side in SIDES
        if (drawing := face_text(face, side))
    ]
    return beside(views[0], views[1]) if len(views) == len(SIDES) else []


def face_lines(face: Face) -> list[str]:
    """Return a face with what is on each pin, as text.

    Args:
        face: the face; without a known place for its pins it is a list only.
    """
    name = f"{connector_name(face.connector)} {face.gender}"
    head = f"{face.place}  {name}  ({face.note})" if face.note else f"{face.place}  {name}"
    rows = [
        [p.pin, p.colour, p.carries or ("-" if p.far else "free"), p.channel, p.far]
        for p in face.pins
    ]
    table = columns(["pin", "core", "carries", "channel", "to"], rows)
    return [head.strip(), *(f"  {line}" for line in beside(face_pair_text(face), table))]
