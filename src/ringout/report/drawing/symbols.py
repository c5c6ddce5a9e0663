"""Signs of elements after IEC 60617, drawn upright: current enters at the top or at the foot."""

from __future__ import annotations

from collections.abc import Callable

from ringout.report.drawing.paper import INK, PALE, Box, Paper
from ringout.report.drawing.slots import ACTION_MM, SIGN_HALF_MM, SIGN_HIGH_MM
from ringout.report.drawing.wires import INNER_MM

HALF = SIGN_HIGH_MM / 2
_THIN = 0.3


def draw_sign(
    paper: Paper,
    symbol: str,
    x_mm: float,
    y_mm: float,
    *,
    down: bool,
    live: bool,
    action: str = "",
) -> None:
    """Draw the sign of an element with its middle at a place.

    Args:
        paper: the sheet.
        symbol: name of the sign.
        x_mm: middle.
        y_mm: middle.
        down: positive current enters at the top.
        live: it carries current: lines the current takes are thick.
        action: what moves a contact.
    """
    line = INNER_MM[live]
    draw = _SIGNS.get(symbol, _load)
    left = SIGN_HALF_MM + (ACTION_MM if action else 0.0)
    box = Box(x_mm - left + 0.2, y_mm - HALF, left + SIGN_HALF_MM - 0.4, 2 * HALF)
    turn = "" if down else f' transform="rotate(180 {x_mm:.2f} {y_mm:.2f})"'
    body = "".join(draw(x_mm, y_mm, line))
    group = f'<g stroke="{INK}" stroke-width="{_THIN}"{turn}>{body}</g>'
    moved = "".join(_action(action, x_mm, y_mm, switch=symbol in ("make", "break")))
    paper.sign(box, [group, f'<g stroke="{INK}" stroke-width="{_THIN}">{moved}</g>'])


def _path(d: str, width: float | None = None, more: str = "") -> str:
    wide = f' stroke-width="{width:.2f}"' if width is not None else ""
    return f'<path d="{d}"{wide}{more}/>'


def _leads(x: float, y: float, half: float, line: float) -> list[str]:
    """Return the two ends of a sign whose body is `half` high above and below its middle."""
    return [
        _path(f"M{x:.2f} {y - HALF:.2f}V{y - half:.2f}", line),
        _path(f"M{x:.2f} {y + half:.2f}V{y + HALF:.2f}", line),
    ]


def _rect(x: float, y: float, wide: float, high: float, more: str = ' fill="#fff"') -> str:
    return (
        f'<rect x="{x - wide / 2:.2f}" y="{y - high / 2:.2f}" width="{wide:.2f}" '
        f'height="{high:.2f}"{more}/>'
    )


def _make(x: float, y: float, line: float) -> list[str]:
    return [
        *_leads(x, y, 2.2, line),
        _path(f"M{x:.2f} {y + 2.2:.2f}L{x - 2.0:.2f} {y - 2.0:.2f}", max(line, 0.4)),
    ]


def _break(x: float, y: float, line: float) -> list[str]:
    return [
        *_leads(x, y, 2.2, line),
        _path(f"M{x:.2f} {y - 2.2:.2f}h2.2", max(line, 0.3)),
        _path(f"M{x:.2f} {y + 2.2:.2f}L{x + 1.9:.2f} {y - 2.9:.2f}", max(line, 0.4)),
    ]


def _resistor(x: float, y: float, line: float) -> list[str]:
    return [*_leads(x, y, 2.6, line), _rect(x, y, 2.2, 5.2)]


def _input(x: float, y: float, line: float) -> list[str]:
    """Return a channel's input: a resistance with the arrow of something that is read."""
    return [
        *_leads(x, y, 2.6, line),
        _rect(x, y, 2.6, 5.2),
        _path(f"M{x - 0.7:.2f} {y - 0.9:.2f}L{x + 0.5:.2f} {y:.2f}L{x - 0.7:.2f} {y + 0.9:.2f}"),
    ]


def _coil(x: float, y: float, line: float) -> list[str]:
    return [*_leads(x, y, 1.6, line), _rect(x, y, 5.4, 3.2)]


def _lamp(x: float, y: float, line: float) -> list[str]:
    d = 1.7
    return [
        *_leads(x, y, 2.4, line),
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="2.4" fill="#fff"/>',
        _path(f"M{x - d:.2f} {y - d:.2f}l{2 * d} {2 * d}M{x - d:.2f} {y + d:.2f}l{2 * d} {-2 * d}"),
    ]


def _load(x: float, y: float, line: float) -> list[str]:
    return [
        *_leads(x, y, 2.2, line),
        _rect(x, y, 4.4, 4.4),
        _path(f"M{x - 1.2:.2f} {y:.2f}h2.4M{x:.2f} {y - 1.2:.2f}v2.4"),
    ]


def _leak(x: float, y: float, line: float) -> list[str]:
    return [
        *_leads(x, y, 2.6, line),
        _rect(x, y, 2.2, 5.2, ' fill="#fff" stroke-dasharray="0.8 0.5"'),
    ]


def _diode(x: float, y: float, line: float) -> list[str]:
    return [
        *_leads(x, y, 1.7, line),
        _path(f"M{x - 1.9:.2f} {y - 1.7:.2f}h3.8L{x:.2f} {y + 1.7:.2f}Z", None, ' fill="#fff"'),
        _path(f"M{x - 1.9:.2f} {y + 1.7:.2f}h3.8", 0.45),
    ]


def _clamp(x: float, y: float, line: float) -> list[str]:
    return [*_diode(x, y, line), _path(f"M{x - 1.9:.2f} {y + 1.7:.2f}v0.9", 0.45)]


def _fuse(x: float, y: float, line: float) -> list[str]:
    return [
        *_leads(x, y, 2.6, line),
        _rect(x, y, 2.2, 5.2),
        _path(f"M{x:.2f} {y - 2.6:.2f}v5.2", line),
    ]


def _breaker(x: float, y: float, line: float) -> list[str]:
    return [
        *_make(x, y, line),
        _path(f"M{x - 0.8:.2f} {y - 3.0:.2f}l1.6 1.6m0 -1.6l-1.6 1.6", 0.35),
    ]


def _protection(x: float, y: float, line: float) -> list[str]:
    """Return electronic protection: a block that opens by current."""
    return [
        *_leads(x, y, 2.6, line),
        _rect(x, y, 5.2, 5.2),
        _path(f"M{x:.2f} {y + 2.6:.2f}v-1.0l-1.3 -2.4M{x:.2f} {y - 2.6:.2f}v1.2"),
        _path(f"M{x + 1.0:.2f} {y - 1.3:.2f}v2.4m-0.5 -2.4h1.0m-1.0 2.4h1.0", 0.25),
    ]


def _switch(x: float, y: float, line: float) -> list[str]:
    """Return a transistor output: a block with a contact and the sign of electronics."""
    return [
        *_leads(x, y, 2.8, line),
        _rect(x, y, 5.4, 5.6),
        _path(f"M{x:.2f} {y + 2.8:.2f}v-1.1l-1.5 -2.6M{x:.2f} {y - 2.8:.2f}v1.1"),
        _path(f"M{x + 0.8:.2f} {y - 0.8:.2f}h1.5l-0.75 1.3zm0 1.3h1.5", 0.25),
    ]


def _source(x: float, y: float, line: float) -> list[str]:
    return [
        *_leads(x, y, 2.6, line),
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="2.6" fill="#fff"/>',
        _path(f"M{x:.2f} {y - 1.8:.2f}v1.4m-0.7 -0.7h1.4M{x - 0.7:.2f} {y + 1.2:.2f}h1.4"),
    ]


def _link(x: float, y: float, line: float) -> list[str]:
    return [_path(f"M{x:.2f} {y - HALF:.2f}V{y + HALF:.2f}", line)]


_SIGNS: dict[str, Callable[[float, float, float], list[str]]] = {
    "make": _make,
    "break": _break,
    "resistor": _resistor,
    "input": _input,
    "coil": _coil,
    "lamp": _lamp,
    "load": _load,
    "leak": _leak,
    "diode": _diode,
    "clamp": _clamp,
    "fuse": _fuse,
    "breaker": _breaker,
    "protection": _protection,
    "switch": _switch,
    "source": _source,
    "link": _link,
}


def _action(action: str, x: float, y: float, *, switch: bool) -> list[str]:
    """Return what moves a contact or an electronic switch, left of it."""
    if not action:
        return []
    left, reach = x - SIGN_HALF_MM - 1.6, (x - 0.9 if switch else x - 2.7)
    dash = ' stroke-dasharray="0.8 0.5"'
    rod = _path(f"M{left:.2f} {y:.2f}H{reach:.2f}", 0.25, dash)
    if action == "push":
        head = _path(f"M{left - 0.0:.2f} {y - 1.5:.2f}h-1.2v3.0h1.2M{left:.2f} {y:.2f}h-1.2")
    elif action == "turn":
        head = _path(f"M{left - 1.3:.2f} {y - 1.6:.2f}h1.3v3.2h1.3")
    elif action == "cam":
        head = f'<circle cx="{left - 1.0:.2f}" cy="{y:.2f}" r="1.0"/>'
    elif action == "near":
        head = _path(f"M{left - 2.8:.2f} {y:.2f}l1.4 -1.6l1.4 1.6l-1.4 1.6z")
    elif action == "coil":
        head = _rect(left - 1.3, y, 2.6, 1.6)
    else:
        head = _path(f"M{left - 1.6:.2f} {y - 0.8:.2f}l1.6 0.8l-1.6 0.8")
    return [rod, head]


def draw_pin(
    paper: Paper,
    x_mm: float,
    y_mm: float,
    gender: str,
    *,
    box_is_left: bool,
    alone: bool = False,
) -> None:
    """Draw where a conductor meets the edge of a box: clamp, or the two halves of a connector.

    Args:
        paper: the sheet.
        x_mm: edge of the box.
        y_mm: lane.
        gender: gender of the box's contact; empty for a clamp.
        box_is_left: the box is left of the edge.
        alone: nothing is plugged: only the box's half is drawn.
    """
    out = 1.0 if box_is_left else -1.0
    if not gender:
        svg = (
            f'<circle cx="{x_mm:.2f}" cy="{y_mm:.2f}" r="0.8" fill="#fff" stroke="{INK}" '
            f'stroke-width="0.3"/>'
        )
        paper.sign(Box(x_mm - 0.8, y_mm - 0.8, 1.6, 1.6), [svg])
        return
    # the cup opens towards the pin that goes into it
    left = min(x_mm, x_mm + out * 2.6)
    at_edge = gender == "female"
    cup_at = x_mm + out * (0.2 if at_edge else 2.2)
    opens = out if at_edge else -out
    bend = 0 if opens > 0 else 1
    bar_at = x_mm + out * (1.5 if at_edge else 0.8)
    cup = (
        f'<path d="M{cup_at + opens * 1.0:.2f} {y_mm - 1.1:.2f}'
        f'A1.1 1.1 0 0 {bend} {cup_at + opens * 1.0:.2f} {y_mm + 1.1:.2f}" '
        f'stroke="{INK}" stroke-width="0.4"/>'
    )
    bar = (
        f'<rect x="{bar_at - 0.8:.2f}" y="{y_mm - 0.5:.2f}" width="1.6" height="1.0" fill="{INK}"/>'
    )
    parts = [
        (
            f'<rect x="{left:.2f}" y="{y_mm - 1.3:.2f}" width="2.6" height="2.6" fill="#fff"/>'
            f'<path d="M{x_mm:.2f} {y_mm:.2f}H{x_mm + out * (0.4 if alone else 2.6):.2f}" '
            f'stroke="{INK}" stroke-width="0.25"/>'
        )
    ]
    if at_edge or not alone:
        parts.append(cup)
    if not (at_edge and alone):
        parts.append(bar)
    paper.sign(Box(left, y_mm - 1.1, 2.6, 2.2), parts)


def draw_earth(paper: Paper, x_mm: float, y_mm: float) -> None:
    """Draw the sign of protective earth below a lane."""
    svg = (
        f'<g stroke="{INK}" stroke-width="0.3"><circle cx="{x_mm:.2f}" cy="{y_mm + 2.2:.2f}" '
        f'r="2.0" fill="#fff"/><path d="M{x_mm:.2f} {y_mm:.2f}v2.4m-1.3 0h2.6m-2.1 0.6h1.6'
        f'm-1.2 0.6h0.8"/></g>'
    )
    paper.sign(Box(x_mm - 2.0, y_mm + 0.1, 4.0, 4.1), [svg])


def draw_mark(paper: Paper, x_mm: float, y_mm: float, letter: str, *, goes_out: bool) -> None:
    """Draw the flag on which a lane leaves a strip, or comes back on the next one."""
    from ringout.report.drawing.paper import TEXT_MM

    x = x_mm
    if goes_out:
        d = f"M{x:.2f} {y_mm - 2:.2f}h3.6l1.6 2l-1.6 2h-3.6z"
    else:
        d = f"M{x + 1.6:.2f} {y_mm - 2:.2f}h3.6v4h-3.6l-1.6 -2z"
    paper.put(f'<path d="{d}" fill="#fff" stroke="{PALE}" stroke-width="0.3"/>', layer="lines")
    paper.text(
        x + (2.0 if goes_out else 3.2), y_mm + 0.9, letter, size_mm=TEXT_MM, bold=True,
        anchor="middle",
    )  # fmt: skip
