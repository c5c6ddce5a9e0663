"""Pictures of where the two probes of a meter go: a connector's face, or a row of clamps."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from ringout.cell.model import Cell, Terminal
from ringout.report.drawing.faces import draw_side, lay_out
from ringout.report.faces_model import MATING, Face, FacePin
from ringout.report.sheet_nets import Nets
from ringout.tables.faces import connector_outline

RED, BLACK = "red", "black"
TAGS = {RED: "R", BLACK: "B"}
CLAMP_MM = 17.0
NEIGHBOURS = 2  # clamps shown on each side of the one that is meant
RING_MM, BESIDE_MM = 2.4, 8.2  # around a contact, and from it to the letter
_TOP_MM, _HIGH_MM = 9.0, 11.0


def probe_pictures(cell: Cell, red: Terminal | str, black: Terminal | str) -> list[str]:
    """Return a picture for each place a probe goes to, as SVG; one when both are in one place.

    Args:
        cell: the cell.
        red: where the red probe goes: a terminal, or a core end that is taken off.
        black: where the black one goes.
    """
    nets = Nets(cell)
    places: dict[tuple[str, str], list[tuple[str, Terminal]]] = {}
    out = []
    for tag, place in ((RED, red), (BLACK, black)):
        if isinstance(place, Terminal):
            places.setdefault((place.item, place.socket), []).append((tag, place))
        else:
            out.append(_loose_end(tag, place))
    pictures = [_picture(cell, nets, item, socket, p) for (item, socket), p in places.items()]
    return [*pictures, *out]


def _picture(
    cell: Cell, nets: Nets, item: str, socket: str, probes: Sequence[tuple[str, Terminal]]
) -> str:
    own = cell.items[item].part.sockets.get(socket)
    if own is not None:
        pins = tuple(FacePin(p, carries=nets.carries(Terminal(item, socket, p))) for p in own.pins)
        name = f"{item}-{socket}"
        face = Face(name, cell.items[item].note, own.connector, own.gender, pins)
        if face.drawn:
            return _on_face(face, probes)
    return _on_clamps(cell, nets, item, socket, probes)


def _on_face(face: Face, probes: Sequence[tuple[str, Terminal]]) -> str:
    view = lay_out(face, MATING)
    grow = connector_outline(face.connector).scale_x
    at = {
        label.pin.pin.pin: (
            view.centre_mm[0] + label.pin.x_mm * grow,
            view.centre_mm[1] - label.pin.y_mm * grow,
        )
        for label in view.labels
    }
    middle = view.centre_mm[0]
    marks = "".join(
        _mark(tag, *at[t.pin], side=-1 if at[t.pin][0] < middle - 0.5 else 1)
        for tag, t in probes
        if t.pin in at
    )
    return draw_side(face, MATING).svg.replace("</svg>", f"{marks}</svg>")


def _on_clamps(
    cell: Cell, nets: Nets, item: str, socket: str, probes: Sequence[tuple[str, Terminal]]
) -> str:
    row = [t for t in cell.items[item].terminals() if t.socket == socket]
    places = [row.index(t) for _, t in probes if t in row]
    first = max(0, min(places, default=0) - NEIGHBOURS)
    last = min(len(row), max(places, default=0) + NEIGHBOURS + 1)
    shown = row[first:last]
    note = cell.items[item].note or cell.items[item].part.title
    title = f"{item}{f'-{socket}' if socket else ''}: {note}"
    wide = max(len(shown) * CLAMP_MM + 4, len(title) * 2.3 + 4, 40.0)
    parts = [
        f'<text x="2" y="5" font-size="3.6" font-weight="bold">{escape(title)}</text>',
    ]
    for k, terminal in enumerate(shown):
        x = 2 + k * CLAMP_MM
        parts.append(
            f'<rect x="{x:.1f}" y="{_TOP_MM}" width="{CLAMP_MM - 1:.1f}" height="{_HIGH_MM}" '
            f'rx="1" fill="#fff" stroke="#16211f" stroke-width="0.4"/>'
            f'<text x="{x + (CLAMP_MM - 1) / 2:.1f}" y="{_TOP_MM + 5.4:.1f}" font-size="4.4" '
            f'font-weight="bold" text-anchor="middle">{escape(terminal.pin)}</text>'
        )
        carries = nets.carries(terminal)
        if carries:
            parts.append(
                f'<text x="{x + (CLAMP_MM - 1) / 2:.1f}" y="{_TOP_MM + _HIGH_MM - 1.6:.1f}" '
                f'font-size="2.3" text-anchor="middle">{escape(carries[:13])}</text>'
            )
        parts += [
            _mark(tag, x + (CLAMP_MM - 1) / 2, _TOP_MM + _HIGH_MM, above=True)
            for tag, t in probes
            if t == terminal
        ]
    dots = ("… " if first else "") + ("…" if last < len(row) else "")
    if dots:
        parts.append(f'<text x="{wide - 8:.1f}" y="5" font-size="3.6">{dots}</text>')
    return _document(wide, _TOP_MM + _HIGH_MM + 10, title, probes, parts)


def _loose_end(tag: str, word: str) -> str:
    """Return the picture of a core end that is taken off and held free."""
    conductor, _, item = word.rpartition("@")
    title = f"{conductor}, taken off at {item}"
    parts = [
        f'<text x="2" y="5" font-size="3.6" font-weight="bold">{escape(title)}</text>',
        '<path d="M2 16H34" stroke="#16211f" stroke-width="1.4" fill="none"/>',
        '<path d="M34 16H40" stroke="#16211f" stroke-width="0.6" fill="none"/>',
        _mark(tag, 37, 16),
    ]
    return _document(max(44.0, len(title) * 2.3 + 4), 30, title, (), parts)


def _mark(tag: str, x: float, y: float, *, above: bool = False, side: int = 1) -> str:
    """Return a ring around a contact with the letter of its probe; red is round, black square.

    The letter stands beside, away from the middle, so that the number at the contact can be read.
    """
    ring = "" if above else f'<circle class="ring" cx="{x:.2f}" cy="{y:.2f}" r="{RING_MM}"/>'
    ty = y + 6 if above else y
    tx = x if above else x + side * BESIDE_MM
    shape = (
        f'<circle cx="{tx:.2f}" cy="{ty:.2f}" r="2.9"/>'
        if tag == RED
        else f'<rect x="{tx - 2.6:.2f}" y="{ty - 2.6:.2f}" width="5.2" height="5.2"/>'
    )
    way = f"M{x:.2f} {y:.2f}V{ty:.2f}" if above else f"M{x + side * RING_MM:.2f} {y:.2f}H{tx:.2f}"
    line = f'<path class="lead" d="{way}"/>'
    return (
        f'<g class="held {tag}">{ring}{line}{shape}<text x="{tx:.2f}" y="{ty + 1.4:.2f}" '
        f'font-size="4" font-weight="bold" text-anchor="middle">{TAGS[tag]}</text></g>'
    )


def _document(
    wide: float, high: float, title: str, probes: Sequence[tuple[str, Terminal]], parts: list[str]
) -> str:
    told = ", ".join(f"{tag} probe on {t}" for tag, t in probes)
    label = escape(f"{title}. {told}", quote=True)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.1f} {high:.1f}" '
        f'role="img" aria-label="{label}" font-family="sans-serif"><title>{label}</title>'
        f"{''.join(parts)}</svg>"
    )
