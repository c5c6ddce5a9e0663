"""Our own drawings taken apart into lines, circles and texts, for programs that read no SVG."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree import ElementTree as ET

Point = tuple[float, float]
Matrix = tuple[float, float, float, float, float, float]  # as SVG writes it: a b c d e f

SAME: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
ARC_STEP = math.pi / 12
_COMMAND = re.compile(r"([MLHVAZmlhvaz])([^A-Za-z]*)")
_NUMBER = re.compile(r"-?(?:\d+\.?\d*|\.\d+)(?:e-?\d+)?")
_ARGUMENTS = {"M": 2, "L": 2, "H": 1, "V": 1, "A": 7}


@dataclass(frozen=True, slots=True)
class Line:
    """A stroke through points, in millimetres, y downwards."""

    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle, in millimetres."""

    centre: Point
    radius_mm: float


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text: `anchor` is start, middle or end; `angle_deg` counts clockwise."""

    text: str
    at: Point
    size_mm: float
    anchor: str
    angle_deg: float


def svg_shapes(svg: str) -> Iterator[Line | Circle | Words]:
    """Yield what an SVG made by this project shows.

    Args:
        svg: a document of straight lines, arcs, rectangles, circles and texts.
    """
    root = ET.fromstring(svg)  # noqa: S314  # our own drawing; user text in it is escaped
    yield from _walk(root, SAME, {})


def _walk(
    node: ET.Element, outer: Matrix, inherited: dict[str, str]
) -> Iterator[Line | Circle | Words]:
    matrix = _times(outer, _matrix(node.get("transform", "")))
    facts = {**inherited, **{k: v for k, v in node.attrib.items() if k in ("stroke", "fill")}}
    tag = node.tag.rpartition("}")[2]
    if tag in ("svg", "g"):
        for child in node:
            yield from _walk(child, matrix, facts)
    elif tag == "text":
        yield _words(node, matrix)
    elif facts.get("stroke", "none") != "none" or (tag == "path" and facts.get("fill") != "none"):
        yield from _outline(tag, node, matrix)


def _words(node: ET.Element, matrix: Matrix) -> Words:
    at = _apply(matrix, (_float(node, "x"), _float(node, "y")))
    size_mm = _float(node, "font-size", 2.5) * math.hypot(matrix[0], matrix[1])
    angle = math.degrees(math.atan2(matrix[1], matrix[0]))
    return Words("".join(node.itertext()), at, size_mm, node.get("text-anchor", "start"), angle)


def _outline(tag: str, node: ET.Element, matrix: Matrix) -> Iterator[Line | Circle]:
    if tag == "circle":
        radius = _float(node, "r") * math.hypot(matrix[0], matrix[1])
        yield Circle(_apply(matrix, (_float(node, "cx"), _float(node, "cy"))), radius)
    elif tag == "rect" and "%" not in node.get("width", ""):
        x, y = _float(node, "x"), _float(node, "y")
        x2, y2 = x + _float(node, "width"), y + _float(node, "height")
        corners = ((x, y), (x2, y), (x2, y2), (x, y2), (x, y))
        yield Line(tuple(_apply(matrix, p) for p in corners))
    elif tag == "path":
        for points in _path(node.get("d", "")):
            if len(points) > 1:
                yield Line(tuple(_apply(matrix, p) for p in points))


def _path(text: str) -> Iterator[list[Point]]:
    """Yield the strokes of a path as points."""
    points: list[Point] = []
    here: Point = (0.0, 0.0)
    for letter, rest in _COMMAND.findall(text):
        kind = letter.upper()
        if kind == "Z":
            if points:
                points.append(points[0])
                here = points[0]
            continue
        numbers = [float(n) for n in _NUMBER.findall(rest)]
        step = _ARGUMENTS[kind]
        for k in range(0, len(numbers) - step + 1, step):
            there = _there(kind, numbers[k : k + step], here, relative=letter.islower())
            if kind == "M" and k == 0:
                if points:
                    yield points
                points = [there]
            elif kind == "A":
                points += _arc(here, there, numbers[k : k + step])
            else:
                points.append(there)
            here = there
    if points:
        yield points


def _there(kind: str, numbers: list[float], here: Point, *, relative: bool) -> Point:
    x, y = here if relative else (0.0, 0.0)
    if kind == "H":
        return x + numbers[0], here[1]
    if kind == "V":
        return here[0], y + numbers[0]
    return x + numbers[-2], y + numbers[-1]


def _arc(a: Point, b: Point, numbers: list[float]) -> list[Point]:
    """Return points along a circular arc, its start left out."""
    chord = math.dist(a, b)
    radius = max(numbers[0], chord / 2)
    if chord == 0.0 or radius == 0.0:
        return [b]
    large, sweep = bool(numbers[3]), bool(numbers[4])
    rise = math.sqrt(max(radius**2 - (chord / 2) ** 2, 0.0)) * (-1.0 if large == sweep else 1.0)
    ux, uy = (b[0] - a[0]) / chord, (b[1] - a[1]) / chord
    cx, cy = (a[0] + b[0]) / 2 - uy * rise, (a[1] + b[1]) / 2 + ux * rise
    first, last = math.atan2(a[1] - cy, a[0] - cx), math.atan2(b[1] - cy, b[0] - cx)
    if sweep and last <= first:
        last += 2 * math.pi
    if not sweep and last >= first:
        last -= 2 * math.pi
    count = max(2, math.ceil(abs(last - first) / ARC_STEP))
    turns = (first + (last - first) * k / count for k in range(1, count))
    return [*((cx + radius * math.cos(t), cy + radius * math.sin(t)) for t in turns), b]


def _matrix(text: str) -> Matrix:
    matrix = SAME
    for name, inside in re.findall(r"(\w+)\(([^)]*)\)", text):
        n = [float(v) for v in _NUMBER.findall(inside)]
        if name == "translate":
            matrix = _times(matrix, (1.0, 0.0, 0.0, 1.0, n[0], n[1] if len(n) > 1 else 0.0))
        elif name == "scale":
            matrix = _times(matrix, (n[0], 0.0, 0.0, n[-1], 0.0, 0.0))
        elif name == "rotate":
            cos, sin = math.cos(math.radians(n[0])), math.sin(math.radians(n[0]))
            x, y = (n[1], n[2]) if len(n) > 2 else (0.0, 0.0)
            turned = (cos, sin, -sin, cos, x - cos * x + sin * y, y - sin * x - cos * y)
            matrix = _times(matrix, turned)
    return matrix


def _times(m: Matrix, n: Matrix) -> Matrix:
    return (
        m[0] * n[0] + m[2] * n[1],
        m[1] * n[0] + m[3] * n[1],
        m[0] * n[2] + m[2] * n[3],
        m[1] * n[2] + m[3] * n[3],
        m[0] * n[4] + m[2] * n[5] + m[4],
        m[1] * n[4] + m[3] * n[5] + m[5],
    )


def _apply(m: Matrix, p: Point) -> Point:
    return m[0] * p[0] + m[2] * p[1] + m[4], m[1] * p[0] + m[3] * p[1] + m[5]


def _float(node: ET.Element, name: str, otherwise: float = 0.0) -> float:
    return float(node.get(name, otherwise))
