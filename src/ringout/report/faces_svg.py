"""Pin faces as drawings to scale, readable in black and white: one view, or a card of four."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from ringout.report.faces_model import (
    MATING,
    SIDES,
    WIRING,
    Face,
    PlacedPin,
    connector_name,
    counterpart,
    placed_pins,
)
from ringout.report.faces_shape import Shape, shape_of
from ringout.report.faces_symbols import contact_svg, outline_svg, xml_text

TEXT_MM = 3.4  # height of the first line of a label
SMALL_MM = 2.7  # height of its second line
CHAR = 0.62  # width of a character in heights, a little more than usual sans fonts need
BOLD_CHAR = 0.7
LABEL_STEP_MM = 8.6  # least distance between labels of one side
GAP_MM = 4.0
HEAD_MM = 17.0  # room above the outline: two lines of title and the mark of the key
FOOT_MM = 7.0  # room below it: the scale


@dataclass(frozen=True, slots=True)
class Label:
    """What is written beside a contact, and where: anchored at `x_mm`, `y_mm` downwards."""

    pin: PlacedPin
    first: str
    second: str
    x_mm: float
    y_mm: float
    left: bool

    @property
    def width_mm(self) -> float:
        """Return the room the wider line takes."""
        return _text_width(self.first, self.second)


@dataclass(frozen=True, slots=True)
class View:
    """One view laid out: millimetres on paper, y downwards, origin at the left top corner.

    Args:
        face: the connector.
        side: side it is seen from.
        width_mm: width of the whole view.
        height_mm: height of the whole view.
        centre_mm: middle of the face.
        labels: what stands beside the contacts.
        title: lines above.
    """

    face: Face
    side: str
    width_mm: float
    height_mm: float
    centre_mm: tuple[float, float]
    labels: tuple[Label, ...]
    title: tuple[str, str]


def lay_out(face: Face, side: str, name: str = "") -> View:
    """Return a view of a `drawn` face with all its places worked out.

    Args:
        face: the connector.
        side: `mating` or `wiring`.
        name: words before the connector type in the title; the place unless given.
    """
    shape = shape_of(face.connector)
    pins = placed_pins(face, side)
    title = (
        f"{name or face.place} {connector_name(face.connector)} {face.gender}".strip(),
        f"seen from the {side} side",
    )
    left, right = _share_out(pins)
    half_mm = shape.body_mm * shape.magnify / 2
    rooms = [max((_width(p) for p in group), default=0.0) for group in (left, right)]
    heading_mm = max(map(len, title)) * TEXT_MM * BOLD_CHAR
    room_mm = max(*rooms, heading_mm / 2 - half_mm - GAP_MM)
    spread_mm = max(len(left), len(right)) * LABEL_STEP_MM
    tall_mm = max(2 * half_mm, spread_mm)
    centre = (room_mm + GAP_MM + half_mm, HEAD_MM + tall_mm / 2)
    labels = (
        *_labels(left, shape, centre, is_left=True),
        *_labels(right, shape, centre, is_left=False),
    )
    return View(face, side, 2 * centre[0], HEAD_MM + tall_mm + FOOT_MM, centre, labels, title)


def _first(pin: PlacedPin) -> str:
    return f"{pin.pin.pin}  {pin.pin.conductor}".strip()


def _second(pin: PlacedPin) -> str:
    here = pin.pin
    words = [here.carries]
    if here.channel and here.channel != here.carries:
        words.append(here.channel)
    if here.channel and not here.far:
        words.append("free")
    return " ".join(w for w in words if w)


def _width(pin: PlacedPin) -> float:
    return _text_width(_first(pin), _second(pin))


def _text_width(first: str, second: str) -> float:
    return max(len(first) * TEXT_MM * BOLD_CHAR, len(second) * SMALL_MM * CHAR)


def _share_out(pins: tuple[PlacedPin, ...]) -> tuple[list[PlacedPin], list[PlacedPin]]:
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
    pins: list[PlacedPin], shape: Shape, centre: tuple[float, float], *, is_left: bool
) -> list[Label]:
    """Return labels in one column, each as near to its contact's height as the others allow."""
    away = shape.body_mm * shape.magnify / 2 + GAP_MM
    x_mm = centre[0] + (-away if is_left else away)
    heights = [centre[1] - p.y_mm * shape.magnify for p in pins]
    for n in range(1, len(heights)):
        heights[n] = max(heights[n], heights[n - 1] + LABEL_STEP_MM)
    if heights:
        # What was pushed down is shared out evenly above and below.
        wanted = sum(centre[1] - p.y_mm * shape.magnify for p in pins) / len(pins)
        shift = wanted - sum(heights) / len(heights)
        heights = [h + shift for h in heights]
    return [
        Label(p, _first(p), _second(p), x_mm, y_mm, is_left)
        for p, y_mm in zip(pins, heights, strict=True)
    ]


def view_svg(view: View, x_mm: float = 0.0, y_mm: float = 0.0) -> list[str]:
    """Return the elements of a view, moved to a place on the sheet."""
    shape = shape_of(view.face.connector)
    cx, cy = view.centre_mm
    parts = [f'<g transform="translate({x_mm:.2f} {y_mm:.2f})">']
    for n, line in enumerate(view.title):
        weight = ' font-weight="bold"' if n == 0 else ""
        parts.append(
            f'<text x="{cx:.2f}" y="{TEXT_MM + n * 4.6:.2f}" font-size="{TEXT_MM}"{weight} '
            f'text-anchor="middle">{xml_text(line)}</text>'
        )
    parts += outline_svg(shape, view.face.gender, view.side, (cx, cy))
    for label in view.labels:
        pin_x = cx + label.pin.x_mm * shape.magnify
        pin_y = cy - label.pin.y_mm * shape.magnify
        near = label.x_mm + (1.0 if label.left else -1.0)
        parts.append(
            f'<path d="M{pin_x:.2f} {pin_y:.2f} L{near:.2f} {label.y_mm:.2f}" fill="none" '
            'stroke="#000" stroke-width="0.25"/>'
        )
    for label in view.labels:
        parts += contact_svg(label.pin, shape, view.face.gender, view.side, (cx, cy))
        parts += _label_svg(label)
    parts.append(
        f'<text x="{cx:.2f}" y="{view.height_mm - 2:.2f}" font-size="{SMALL_MM}" '
        f'text-anchor="middle">{shape.magnify:g} : 1; the moulded numbers decide</text>'
    )
    return [*parts, "</g>"]


def _label_svg(label: Label) -> list[str]:
    anchor = "end" if label.left else "start"
    at = f'x="{label.x_mm:.2f}" text-anchor="{anchor}"'
    first_y = label.y_mm + (TEXT_MM * 0.36 if not label.second else -0.2)
    parts = [
        (
            f'<text {at} y="{first_y:.2f}" font-size="{TEXT_MM}" font-weight="bold" '
            f'xml:space="preserve">{xml_text(label.first)}</text>'
        )
    ]
    if label.second:
        parts.append(
            f'<text {at} y="{label.y_mm + SMALL_MM + 0.5:.2f}" font-size="{SMALL_MM}">'
            f"{xml_text(label.second)}</text>"
        )
    return parts


def face_svg(face: Face, side: str = MATING) -> str:
    """Return one view of a connector as an SVG document; its units are millimetres on paper.

    Args:
        face: a face that is `drawn`.
        side: `mating` or `wiring`.

    Returns:
        The document; the title says gender and side.
    """
    view = lay_out(face, side)
    title = f"{view.title[0]}, {view.title[1]}"
    return _document(view.width_mm, view.height_mm, title, view_svg(view))


def face_card_svg(face: Face) -> str:
    """Return a card with four views: this connector and the one that goes in, from both sides.

    Args:
        face: a face that is `drawn`.
    """
    other = counterpart(face)
    into = f"into {face.place}:" if face.place else ""
    rows = [
        [lay_out(face, side) for side in SIDES],
        [lay_out(other, side, into) for side in SIDES],
    ]
    gap = 8.0
    head = 8.0 if face.note else 0.0
    wide = max(sum(v.width_mm for v in row) for row in rows) + 3 * gap
    parts: list[str] = []
    if face.note:
        parts.append(
            f'<text x="{wide / 2:.2f}" y="7" font-size="{TEXT_MM}" text-anchor="middle">'
            f"{xml_text(face.note)}</text>"
        )
    y_mm = head + gap / 2
    for row in rows:
        column_mm = (wide - 3 * gap) / 2
        for n, view in enumerate(row):
            x_mm = gap + n * (column_mm + gap) + (column_mm - view.width_mm) / 2
            parts += view_svg(view, x_mm, y_mm)
        y_mm += row[0].height_mm + gap / 2
    title = f"{face.place} {connector_name(face.connector)}, {MATING} and {WIRING} side".strip()
    return _document(wide, y_mm, title, parts)


def _document(width_mm: float, height_mm: float, title: str, parts: list[str]) -> str:
    size = f'width="{width_mm:.2f}mm" height="{height_mm:.2f}mm"'
    view = f'viewBox="0 0 {width_mm:.2f} {height_mm:.2f}"'
    return "\n".join(
        [
            (
                f'<svg xmlns="http://www.w3.org/2000/svg" {size} {view} role="img" '
                f'aria-label="{escape(xml_text(title), quote=True)}" font-family="sans-serif">'
            ),
            f"<title>{xml_text(title)}</title>",
            f'<rect width="{width_mm:.2f}" height="{height_mm:.2f}" fill="#fff"/>',
            *parts,
            "</svg>",
            "",
        ]
    )
