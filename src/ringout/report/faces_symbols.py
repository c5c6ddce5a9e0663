"""The signs a face is drawn with: outline, key and contacts."""

from __future__ import annotations

from html import escape

from ringout.report.faces_model import WIRING, PlacedPin
from ringout.report.faces_shape import Shape
from ringout.tables.colours import RGB, wire_colour

_LIGHT = 140  # brightness from which black figures read better than white ones
_BODY = "#e8e8e8"


def xml_text(text: str) -> str:
    """Return text as XML holds it, without the control characters XML knows not."""
    return escape("".join(c for c in text if c >= " " and c not in "\ufffe\uffff"), quote=False)


def core_fills(code: str) -> tuple[str, str | None]:
    """Return the fill of a core colour, and the second one of a two-coloured core."""
    try:
        colour = wire_colour(code)
    except KeyError:
        return "#fff", None
    return _hex(colour.rgb), _hex(colour.second_rgb) if colour.second_rgb else None


def is_light(fill: str) -> bool:
    """Return whether black figures read better than white ones on a fill."""
    full = fill if len(fill) == 7 else "#" + "".join(c * 2 for c in fill[1:])
    red, green, blue = (int(full[n : n + 2], 16) for n in (1, 3, 5))
    return 0.299 * red + 0.587 * green + 0.114 * blue > _LIGHT


def _hex(rgb: RGB) -> str:
    return "#{:02x}{:02x}{:02x}".format(*rgb)


def outline_svg(shape: Shape, gender: str, side: str, centre: tuple[float, float]) -> list[str]:
    """Return housing, insert and key; the outline is dashed when seen from behind."""
    cx, cy = centre
    half = shape.body_mm * shape.magnify / 2
    dash = ' stroke-dasharray="1.6 1"' if side == WIRING else ""
    mark = (
        f'<path d="M{cx - 1.6:.2f} {cy - half - 3.4:.2f} h3.2 l-1.6 2.6 z" fill="#000"/>'
        f'<text x="{cx + 2.6:.2f}" y="{cy - half - 1.2:.2f}" font-size="2.7">key</text>'
    )
    if shape.square:
        return [
            (
                f'<rect x="{cx - half:.2f}" y="{cy - half:.2f}" width="{2 * half:.2f}" '
                f'height="{2 * half:.2f}" rx="3" fill="#fff" stroke="#000" '
                f'stroke-width="0.5"{dash}/>'
            ),
            (
                f'<text x="{cx:.2f}" y="{cy - half - 1.2:.2f}" font-size="2.7" '
                'text-anchor="middle">earth at the top</text>'
            ),
        ]
    insert = shape.insert_mm * shape.magnify / 2
    parts = [
        mark,
        (
            f'<circle cx="{cx:.2f}" cy="{cy:.2f}" r="{half:.2f}" fill="{_BODY}" stroke="#000" '
            f'stroke-width="0.5"{dash}/>'
        ),
        (
            f'<circle cx="{cx:.2f}" cy="{cy:.2f}" r="{insert:.2f}" fill="#fff" stroke="#000" '
            f'stroke-width="0.35"{dash}/>'
        ),
    ]
    wide, deep = 0.12 * 2 * insert, 0.055 * 2 * insert
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
    pin: PlacedPin, shape: Shape, gender: str, side: str, centre: tuple[float, float]
) -> list[str]:
    """Return one contact: male a full disc, female a ring, from behind a square clamp.

    The fill is the core's colour; a contact without a core is white and dashed.
    """
    x = centre[0] + pin.x_mm * shape.magnify
    y = centre[1] - pin.y_mm * shape.magnify
    first, second = core_fills(pin.pin.colour)
    dash = "" if pin.pin.far else ' stroke-dasharray="0.9 0.6"'
    line = f'stroke="#000" stroke-width="0.5"{dash}'
    radius = shape.pin_mm * shape.magnify / 2 * 1.15
    if shape.square:
        return _blade(pin, (x, y), (first, second), line, shape)
    if side == WIRING:
        radius *= 1.1
        box = (x - radius, y - radius, 2 * radius, 2 * radius)
        parts = [_rect(box, first, line)]
        if second:
            parts.append(_rect((x, y - radius, radius, 2 * radius), second, 'stroke="none"'))
            parts.append(_rect(box, "none", line))
        ring = False
    else:
        ring = gender == "female"
        radius *= 1.3 if ring else 1.0
        parts = [f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:.2f}" fill="{first}" {line}/>']
        if second:
            parts.append(
                f'<path d="M{x:.2f} {y - radius:.2f} a{radius:.2f} {radius:.2f} 0 0 1 0 '
                f'{2 * radius:.2f} z" fill="{second}"/>'
            )
    inner = radius * 0.62
    if ring or second:
        parts.append(
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{inner:.2f}" fill="#fff" stroke="#000" '
            'stroke-width="0.3"/>'
        )
    dark = ring or second is not None or is_light(first)
    size = min(
        2.6, inner * (2.0 if len(pin.pin.pin) == 1 else 1.5) * (1 if ring or second else 1.4)
    )
    return [*parts, _figure(pin.pin.pin, x, y, size, "#000" if dark else "#fff")]


def _blade(
    pin: PlacedPin,
    at: tuple[float, float],
    fills: tuple[str, str | None],
    line: str,
    shape: Shape,
) -> list[str]:
    """Return a flat blade, standing left and right, lying at the top for earth."""
    x, y = at
    long, short = shape.pin_mm * shape.magnify, 4.4
    wide, high = (short, long) if abs(pin.x_mm) > 0.01 else (long * 1.2, short)
    box = (x - wide / 2, y - high / 2, wide, high)
    parts = [_rect(box, fills[0], line)]
    if fills[1]:
        parts.append(_rect((x, y - high / 2, wide / 2, high), fills[1], 'stroke="none"'))
        parts.append(_rect(box, "none", line))
    halo = ' stroke="#fff" stroke-width="0.8" paint-order="stroke"' if fills[1] else ""
    dark = fills[1] is not None or is_light(fills[0])
    return [*parts, _figure(pin.pin.pin, x, y, 2.6, "#000" if dark else "#fff", halo)]


def _rect(box: tuple[float, float, float, float], fill: str, line: str) -> str:
    x, y, wide, high = box
    return (
        f'<rect x="{x:.2f}" y="{y:.2f}" width="{wide:.2f}" height="{high:.2f}" rx="0.4" '
        f'fill="{fill}" {line}/>'
    )


def _figure(text: str, x: float, y: float, size: float, fill: str, more: str = "") -> str:
    return (
        f'<text x="{x:.2f}" y="{y + size * 0.36:.2f}" font-size="{size:.2f}" font-weight="bold" '
        f'text-anchor="middle" fill="{fill}"{more}>{xml_text(text)}</text>'
    )
