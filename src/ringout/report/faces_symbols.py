"""The signs a face is drawn with: outline, key and contacts."""

from __future__ import annotations

import math
from html import escape

from ringout.report.faces_model import WIRING, PlacedPin
from ringout.tables.colours import RGB, wire_colour
from ringout.tables.faces import Outline

FIGURE_MM = 7.1 * 25.4 / 72  # no figure is smaller
SLEEVE = 1.6  # a female contact is so much wider than its bore
CLAMP = 1.5  # and a clamp than a contact; where it is counts, not its size
LINE_MM = 0.3
KEY_DEEP = 0.16  # depth of the key in radii of the insert
DASHED = 'stroke-dasharray="0.9 0.6"'
_LIGHT = 140  # brightness from which black figures read better than white ones
_BODY = "#e8e8e8"


def xml_text(text: str) -> str:
    """Return text as XML holds it, without the control characters XML knows not."""
    return escape("".join(c for c in text if c >= " " and c not in "\ufffe\uffff"), quote=False)


def core_fills(code: str) -> tuple[str, str | None]:
    """Return the colours of a core; `GYPK` is grey with pink, a number has no colour: white."""
    try:
        colour = wire_colour(code)
    except KeyError:
        if len(code) == 4 and code.isalpha():
            return core_fills(code[:2])[0], core_fills(code[2:])[0]
        return "#fff", None
    return _hex(colour.rgb), _hex(colour.second_rgb) if colour.second_rgb else None


def is_light(fill: str) -> bool:
    """Return whether black figures read better than white ones on a fill."""
    full = fill if len(fill) == 7 else "#" + "".join(c * 2 for c in fill[1:])
    red, green, blue = (int(full[n : n + 2], 16) for n in (1, 3, 5))
    return 0.299 * red + 0.587 * green + 0.114 * blue > _LIGHT


def _hex(rgb: RGB) -> str:
    return "#{:02x}{:02x}{:02x}".format(*rgb)


def outline_svg(shape: Outline, gender: str, side: str, centre: tuple[float, float]) -> list[str]:
    """Return housing, insert and key; the outline is dashed when seen from behind."""
    cx, cy = centre
    half = shape.body_mm * shape.scale_x / 2
    dash = ' stroke-dasharray="1.6 1"' if side == WIRING else ""
    if shape.square:
        return [
            (
                f'<rect x="{cx - half:.2f}" y="{cy - half:.2f}" width="{2 * half:.2f}" '
                f'height="{2 * half:.2f}" rx="3" fill="#fff" stroke="#000" '
                f'stroke-width="0.5"{dash}/>'
            )
        ]
    insert = shape.insert_mm * shape.scale_x / 2
    parts = [
        f'<path d="M{cx - 1.6:.2f} {cy - half - 3.4:.2f} h3.2 l-1.6 2.6 z" fill="#000"/>',
        (
            f'<circle cx="{cx:.2f}" cy="{cy:.2f}" r="{half:.2f}" fill="{_BODY}" stroke="#000" '
            f'stroke-width="0.5"{dash}/>'
        ),
        (
            f'<circle cx="{cx:.2f}" cy="{cy:.2f}" r="{insert:.2f}" fill="#fff" stroke="#000" '
            f'stroke-width="0.35"{dash}/>'
        ),
    ]
    wide, deep = 0.12 * 2 * insert, KEY_DEEP / 1.4 * insert
    has_slot = (gender == "female") != shape.slot_in_male
    top = cy - insert
    if has_slot:  # a slot in the insert: the housing shows through
        parts.append(
            f'<path d="M{cx - wide / 2:.2f} {top - 0.3:.2f} v{deep:.2f} '
            f'a{wide / 2:.2f} {wide / 2:.2f} 0 0 0 {wide:.2f} 0 v{-deep:.2f}" fill="{_BODY}" '
            'stroke="#000" stroke-width="0.35"/>'
        )
    else:  # a tongue of the housing stands into the opening
        parts.append(
            f'<rect x="{cx - wide / 2:.2f}" y="{top - 0.3:.2f}" width="{wide:.2f}" '
            f'height="{deep * 1.4:.2f}" fill="#444" stroke="#000" stroke-width="0.35"/>'
        )
    return parts


def contact_svg(
    pin: PlacedPin, shape: Outline, gender: str, side: str, centre: tuple[float, float]
) -> list[str]:
    """Return one contact to scale: male a disc, female a sleeve, from behind a square clamp.

    The fill is the core's colour; a contact without a conductor is white and dashed.
    """
    x = centre[0] + pin.x_mm * shape.scale_x
    y = centre[1] - pin.y_mm * shape.scale_x
    fills = core_fills(pin.pin.colour)
    line = f'stroke="#000" stroke-width="{LINE_MM}"' + ("" if pin.pin.far else f" {DASHED}")
    wide = shape.contact_mm * shape.scale_x
    name = pin.pin.pin
    if shape.square:
        return _blade(pin, (x, y), fills, line, shape)
    if side == WIRING:
        half = wide / 2 * CLAMP
        box = (x - half, y - half, 2 * half, 2 * half)
        parts = [_rect(box, fills[0], line)]
        if fills[1]:
            parts.append(_rect((x, y - half, half, 2 * half), fills[1], 'stroke="none"'))
            parts.append(_rect(box, "none", line))
        return [*parts, _figure(name, x, y, fills)]
    if gender == "male":
        out = _beside(pin, shape, wide / 2)
        figure = _figure(name, x + out[0], y - out[1], ("#fff", None), rim=True)
        return [*_disc(x, y, wide / 2, fills, line), figure]
    bore = (
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{wide / 2:.2f}" fill="#fff" stroke="#000" '
        f'stroke-width="{LINE_MM}"/>'
    )
    return [*_disc(x, y, wide / 2 * SLEEVE, fills, line), bore, _figure(name, x, y, ("#fff", None))]


def blank_svg(name: str, shape: Outline, at: tuple[float, float]) -> list[str]:
    """Return a contact of the connector type that the device does not use: small and grey."""
    x, y = at
    half = (shape.thick_mm or shape.contact_mm) * shape.scale_x / 2
    grey = f'<text x="{x:.2f}" y="{y + FIGURE_MM * 0.36:.2f}" font-size="{FIGURE_MM:.3f}"'
    return [
        (
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{half:.2f}" fill="#fff" stroke="#888" '
            'stroke-width="0.2" stroke-dasharray="0.3 0.5"/>'
        ),
        f'{grey} text-anchor="middle" fill="#666">{xml_text(name)}</text>',
    ]


def _beside(pin: PlacedPin, shape: Outline, radius: float) -> tuple[float, float]:
    """Return where the number of a pin stands from its middle, to the right and upwards.

    Outwards from the middle of the face, but inwards under the key and below a pin in the centre.
    """
    away = math.hypot(pin.x_mm, pin.y_mm)
    reach = radius + FIGURE_MM * 0.62
    if away < 0.01:
        return 0.0, -reach
    edge = (shape.insert_mm / 2 * (1 - KEY_DEEP) - away) * shape.scale_x
    if abs(pin.x_mm) < 0.1 * away and pin.y_mm > 0 and edge < reach + FIGURE_MM / 2:
        reach = -reach
    return reach * pin.x_mm / away, reach * pin.y_mm / away


def _disc(x: float, y: float, radius: float, fills: tuple[str, str | None], line: str) -> list[str]:
    parts = [f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:.2f}" fill="{fills[0]}" {line}/>']
    if fills[1]:
        parts.append(
            f'<path d="M{x:.2f} {y - radius:.2f} a{radius:.2f} {radius:.2f} 0 0 1 0 '
            f'{2 * radius:.2f} z" fill="{fills[1]}"/>'
        )
    return parts


def _blade(
    pin: PlacedPin,
    at: tuple[float, float],
    fills: tuple[str, str | None],
    line: str,
    shape: Outline,
) -> list[str]:
    """Return a flat blade, standing left and right, lying at the top for earth."""
    x, y = at
    long, short = shape.contact_mm * shape.scale_x, shape.thick_mm * shape.scale_x
    stands = abs(pin.x_mm) > 0.01
    wide, high = (short, long) if stands else (long, short)
    box = (x - wide / 2, y - high / 2, wide, high)
    parts = [_rect(box, fills[0], line)]
    if fills[1]:
        half = (x, y - high / 2, wide / 2, high) if not stands else (box[0], y, wide, high / 2)
        parts.append(_rect(half, fills[1], 'stroke="none"'))
        parts.append(_rect(box, "none", line))
    # the figure stands beside the blade, towards the middle
    if stands:
        x -= (1 if pin.x_mm > 0 else -1) * (short / 2 + FIGURE_MM * 0.6)
    else:
        y += (1 if pin.y_mm > 0 else -1) * (short / 2 + FIGURE_MM * 0.7)
    return [*parts, _figure(pin.pin.pin, x, y, ("#fff", None))]


def _rect(box: tuple[float, float, float, float], fill: str, line: str) -> str:
    x, y, wide, high = box
    return (
        f'<rect x="{x:.2f}" y="{y:.2f}" width="{wide:.2f}" height="{high:.2f}" rx="0.3" '
        f'fill="{fill}" {line}/>'
    )


def _figure(
    text: str, x: float, y: float, fills: tuple[str, str | None], *, rim: bool = False
) -> str:
    """Return the number of a contact; on two colours and on lines it gets a white rim."""
    fill = "#000" if fills[1] or is_light(fills[0]) else "#fff"
    white = ' stroke="#fff" stroke-width="0.7" paint-order="stroke"' if fills[1] or rim else ""
    return (
        f'<text x="{x:.2f}" y="{y + FIGURE_MM * 0.36:.2f}" font-size="{FIGURE_MM:.3f}" '
        f'font-weight="bold" text-anchor="middle" fill="{fill}"{white}>{xml_text(text)}</text>'
    )
