"""Pin faces to scale, readable in black and white: two views side by side, or a card of four."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ringout.report.drawing.metrics import text_width_mm
from ringout.report.drawing.paper import LINE_MM, TEXT_MM, Box, Paper, Sheet
from ringout.report.faces_model import (
    SIDES,
    Face,
    PlacedPin,
    blank_pins,
    connector_name,
    counterpart,
    counting_words,
    placed_pins,
)
from ringout.report.faces_symbols import blank_svg, contact_svg, outline_svg
from ringout.tables.faces import Outline, connector_outline

NAME_MM = 3.2
LABEL_MM = {False: NAME_MM, True: TEXT_MM}  # height of the first line of a label
STEP_MM = {False: 8.0, True: 3.4}  # least distance between labels of one side
GAP_MM = {False: 4.0, True: 1.8}
HEAD_MM = {False: 16.0, True: 8.4}  # room above the outline: title and the mark of the key
FOOT_MM = 1.6  # room below it, beside its lines
EDGE_MM = 0.2
MOST_MM = 16.0  # a longer conductor is told by its number alone
APART_MM = 4.0  # between two views


@dataclass(frozen=True, slots=True)
class Label:
    """What is written beside a contact, and where: anchored at `x_mm`, `y_mm` downwards."""

    pin: PlacedPin
    first: str
    second: str
    x_mm: float
    y_mm: float
    left: bool
    size_mm: float

    @property
    def width_mm(self) -> float:
        """Return the room the wider line takes."""
        return _width(self.first, self.second, self.size_mm)


@dataclass(frozen=True, slots=True)
class View:
    """One view laid out: millimetres on paper, y downwards, origin at the left top corner.

    Args:
        face: the connector.
        side: side it is seen from.
        brief: only conductors stand beside the contacts.
        width_mm: width of the whole view.
        height_mm: height of the whole view.
        centre_mm: middle of the face.
        labels: what stands beside the contacts.
        title: lines above.
        foot: lines below.
    """

    face: Face
    side: str
    brief: bool
    width_mm: float
    height_mm: float
    centre_mm: tuple[float, float]
    labels: tuple[Label, ...]
    title: tuple[str, ...]
    foot: tuple[str, ...]


def lay_out(face: Face, side: str, name: str = "", *, brief: bool = False) -> View:
    """Return a view of a `drawn` face with all its places worked out.

    Args:
        face: the connector.
        side: `mating` or `wiring`.
        name: words before the connector type in the title; the place unless given.
        brief: write conductors only; the rest stands in a table beside it.
    """
    shape = connector_outline(face.connector)
    pins = placed_pins(face, side)
    title = [f"seen from the {side} side"]
    if not brief:
        head = f"{name or face.place} {connector_name(face.connector)} {face.gender}"
        title.insert(0, head.strip())
    counting = counting_words(face.connector, face.gender, side)
    foot = [f"scale {shape.scale_x:g} : 1"]
    if counting:
        foot.append(counting)
    if not brief:
        foot.append("the moulded numbers decide")
    told = [p for p in pins if p.pin.conductor] if brief else list(pins)
    left, right = _share_out(told)
    half_mm = shape.body_mm * shape.scale_x / 2
    words = [(p, *_words(p, brief=brief)) for p in (*left, *right)]
    room_mm = max((_width(a, b, LABEL_MM[brief]) for _, a, b in words), default=0.0) + GAP_MM[brief]
    wide_mm = max(
        text_width_mm(t, NAME_MM if k == 0 and not brief else TEXT_MM, bold=True)
        for k, t in enumerate((*title, *foot))
    )
    middle_mm = max(room_mm + half_mm, wide_mm / 2) + EDGE_MM
    tall_mm = max(2 * half_mm, max(len(left), len(right)) * STEP_MM[brief])
    centre = (middle_mm, HEAD_MM[brief] + tall_mm / 2)
    labels = (
        *_labels(left, shape, centre, brief=brief, is_left=True),
        *_labels(right, shape, centre, brief=brief, is_left=False),
    )
    high_mm = HEAD_MM[brief] + tall_mm + FOOT_MM + len(foot) * LINE_MM
    return View(
        face, side, brief, 2 * middle_mm, high_mm, centre, labels, tuple(title), tuple(foot)
    )


def _words(pin: PlacedPin, *, brief: bool) -> tuple[str, str]:
    here = pin.pin
    if brief:
        return here.conductor, ""
    words = [here.carries]
    if here.channel and here.channel != here.carries:
        words.append(here.channel)
    if here.channel and not here.far:
        words.append("free")
    return f"{here.pin}  {here.conductor}".strip(), " ".join(w for w in words if w)


def _width(first: str, second: str, size_mm: float) -> float:
    return max(text_width_mm(first, size_mm, bold=True), text_width_mm(second, TEXT_MM))


def _share_out(pins: list[PlacedPin]) -> tuple[list[PlacedPin], list[PlacedPin]]:
    """Return the contacts labelled left and right, top first; those in the middle even it out."""
    left = [p for p in pins if p.x_mm < -0.01]
    right = [p for p in pins if p.x_mm > 0.01]
    for pin in pins:
        if abs(pin.x_mm) <= 0.01:
            (left if len(left) < len(right) else right).append(pin)
    for group in (left, right):
        group.sort(key=lambda p: -p.y_mm)
    return left, right


def _labels(
    pins: list[PlacedPin],
    shape: Outline,
    centre: tuple[float, float],
    *,
    brief: bool,
    is_left: bool,
) -> list[Label]:
    """Return labels in one column, each as near to its contact's height as the others allow."""
    away = shape.body_mm * shape.scale_x / 2 + GAP_MM[brief]
    x_mm = centre[0] + (-away if is_left else away)
    heights = [centre[1] - p.y_mm * shape.scale_x for p in pins]
    for n in range(1, len(heights)):
        heights[n] = max(heights[n], heights[n - 1] + STEP_MM[brief])
    if heights:
        # What was pushed down is shared out evenly above and below.
        wanted = sum(centre[1] - p.y_mm * shape.scale_x for p in pins) / len(pins)
        shift = wanted - sum(heights) / len(heights)
        heights = [h + shift for h in heights]
    return [
        Label(p, *_words(p, brief=brief), x_mm, y_mm, is_left, LABEL_MM[brief])
        for p, y_mm in zip(pins, heights, strict=True)
    ]


def draw_view(paper: Paper, view: View, x_mm: float, y_mm: float) -> None:
    """Draw a view with its left top corner at a place of the sheet."""
    shape = connector_outline(view.face.connector)
    cx, cy = view.centre_mm[0] + x_mm, view.centre_mm[1] + y_mm
    for n, line in enumerate(view.title):
        size = NAME_MM if n == 0 and not view.brief else TEXT_MM
        paper.text(cx, y_mm + NAME_MM + n * 4.2, line, size_mm=size, bold=n == 0, anchor="middle")
    half = shape.body_mm * shape.scale_x / 2
    if shape.square:
        paper.text(cx, cy - half - 1.2, "earth at the top", anchor="middle")
    else:
        paper.text(cx + 2.6, cy - half - 1.2, "key")
    for svg in outline_svg(shape, view.face.gender, view.side, (cx, cy)):
        paper.put(svg)
    for pin in placed_pins(blank_pins(view.face), view.side):
        at = (cx + pin.x_mm * shape.scale_x, cy - pin.y_mm * shape.scale_x)
        for svg in blank_svg(pin.pin.pin, shape, at):
            paper.put(svg)
    for label in view.labels:
        start = (cx + label.pin.x_mm * shape.scale_x, cy - label.pin.y_mm * shape.scale_x)
        near = x_mm + label.x_mm + (0.7 if label.left else -0.7)
        paper.line(*start, near, y_mm + label.y_mm, width_mm=0.2)
    for pin in placed_pins(view.face, view.side):
        reach = shape.contact_mm * shape.scale_x * 0.75
        at = (cx + pin.x_mm * shape.scale_x, cy - pin.y_mm * shape.scale_x)
        box = Box(at[0] - reach, at[1] - reach, 2 * reach, 2 * reach)
        paper.sign(box, contact_svg(pin, shape, view.face.gender, view.side, (cx, cy)))
    for label in view.labels:
        anchor = "end" if label.left else "start"
        x, y = x_mm + label.x_mm, y_mm + label.y_mm
        low = label.size_mm * 0.36 if not label.second else -0.2
        paper.text(x, y + low, label.first, size_mm=label.size_mm, bold=True, anchor=anchor)
        paper.text(x, y + TEXT_MM + 0.5, label.second, anchor=anchor)
    for n, line in enumerate(reversed(view.foot)):
        paper.text(cx, y_mm + view.height_mm - 1.0 - n * LINE_MM, line, anchor="middle")


def draw_side(face: Face, side: str) -> Sheet:
    """Return a face from one side with all that is said of its contacts.

    Args:
        face: a face that is `drawn`.
        side: `mating` or `wiring`.
    """
    view = lay_out(face, side)
    paper = Paper(view.width_mm)
    draw_view(paper, view, 0.0, 0.0)
    return paper.finish(face.place or face.connector, ", ".join(view.title), view.height_mm)


def with_codes(face: Face) -> Face:
    """Return a face whose conductors are told by colour code, by name where a number is none."""
    return replace(
        face,
        pins=tuple(
            replace(p, conductor=fitting(p.conductor, p.colour) if p.colour.isdigit() else p.colour)
            for p in face.pins
        ),
    )


def fitting(conductor: str, core: str) -> str:
    """Return a conductor as it is written in a brief view; a very long one by its core alone."""
    return conductor if text_width_mm(conductor, TEXT_MM, bold=True) <= MOST_MM else core


def draw_face(face: Face) -> Sheet:
    """Return a face from its mating side and from its wiring side, with colour codes only.

    Args:
        face: a face that is `drawn`.
    """
    views = [lay_out(with_codes(face), side, brief=True) for side in SIDES]
    paper = Paper(sum(v.width_mm for v in views) + APART_MM)
    x_mm = 0.0
    for view in views:
        draw_view(paper, view, x_mm, 0.0)
        x_mm += view.width_mm + APART_MM
    title = f"{face.place} {connector_name(face.connector)} {face.gender}, both sides".strip()
    return paper.finish(face.place, title, max(v.height_mm for v in views))


def draw_face_card(face: Face) -> Sheet:
    """Return a card with four views: this connector and the one that goes in, from both sides.

    Args:
        face: a face that is `drawn`.
    """
    into = f"into {face.place}:" if face.place else ""
    rows = [
        [lay_out(face, side) for side in SIDES],
        [lay_out(counterpart(face), side, into) for side in SIDES],
    ]
    gap = 8.0
    column_mm = max(v.width_mm for row in rows for v in row)
    wide = 2 * column_mm + 3 * gap
    wide = max(wide, text_width_mm(face.note, NAME_MM) + 2 * gap)
    paper = Paper(wide)
    paper.text(wide / 2, 7.0, face.note, size_mm=NAME_MM, anchor="middle")
    y_mm = (8.0 if face.note else 0.0) + gap / 2
    for row in rows:
        for n, view in enumerate(row):
            middle = wide / 2 + (-1 if n == 0 else 1) * (column_mm + gap) / 2
            draw_view(paper, view, middle - view.width_mm / 2, y_mm)
        y_mm += max(v.height_mm for v in row) + gap / 2
    title = f"{face.place} {connector_name(face.connector)}, {SIDES[0]} and {SIDES[1]} side".strip()
    return paper.finish(face.place or face.connector, title, y_mm)
