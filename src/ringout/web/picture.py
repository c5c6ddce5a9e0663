"""The circuit on the screen: the drawing with places that can be clicked laid over it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape

from ringout.report.drawing.circuit_draw import Letters, draw_strip
from ringout.report.drawing.lanes import make_grid
from ringout.report.drawing.paper import Box, Paper
from ringout.report.drawing.path_model import CircuitView
from ringout.report.drawing.place import MARK_MM, Plan, Strip, label_column, link_room, make_plan
from ringout.web.hands import Bridge, conductor_of

STRIP_GAP_MM = 5.0
PIN_HIGH_MM = 6.4
PIN_WIDE_MM = 9.0
CORE_HIGH_MM = 6.4
TAG_MM = 3.0  # the tag of a probe stands in the free end of a gap, clear of the words in it
OVER_MM = 1.6  # how far the place of a pin reaches past the edge of its box
TOP_MM = 1.0
BULGE_MM = 9.0  # how far a bridge swings out
LEAST_MM = 165.0  # a narrower drawing is not blown up beyond this


@dataclass(frozen=True, slots=True)
class Spot:
    """A place of the drawing that can be clicked.

    Args:
        kind: `pin`, `core` or `item`.
        name: terminal, conductor or item, in the file's words.
        box: where it is.
        tip_mm: where a probe touches a pin, or the middle of all else.
    """

    kind: str
    name: str
    box: Box
    tip_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Target:
    """What clicking a place leads to.

    Args:
        url: where to; empty: it is only marked.
        label: what it does, in words.
        marks: classes such as `red`, `black`, `first`.
    """

    url: str
    label: str
    marks: tuple[str, ...] = ()


Aim = Callable[[Spot], Target | None]


def picture(view: CircuitView, width_mm: float, aim: Aim, bridges: Sequence[Bridge] = ()) -> str:
    """Return the circuit as SVG with links over pins, conductors and items.

    Args:
        view: the circuit in one state.
        width_mm: width it may take before it goes on in another strip.
        aim: gives for a place what a click on it does; None for nothing.
        bridges: wires laid over it; one is drawn where both its ends can be seen.
    """
    plan = make_plan(make_grid(view), width_mm)
    used_mm = max((s.gap_mm[s.last][1] for s in plan.strips), default=0.0) + MARK_MM
    paper = Paper(min(max(used_mm, LEAST_MM), width_mm))
    letters = Letters()
    spots: list[Spot] = []
    y = TOP_MM
    for strip in plan.strips:
        draw_strip(paper, plan, strip, y, letters)
        found = list(_spots(plan, strip, y))
        spots += found
        y += strip.height_mm + STRIP_GAP_MM
    for bridge in bridges:
        paper.put(_bridge(spots, bridge), "bridges")
    for spot in spots:
        target = aim(spot)
        if target is not None:
            paper.put(_link(spot, target), "spots")
    title = f"Circuit of {view.signal}"
    svg = paper.finish("circuit", title, y).svg
    over = "".join((*paper.layers.get("bridges", ()), *paper.layers.get("spots", ())))
    # the document prints at its own size; on a page the width follows the column
    svg = svg.replace("<svg ", '<svg class="circuit" role="group" ', 1)
    return svg.replace("</svg>", f"<g>{over}</g></svg>")


def _bridge(spots: Sequence[Spot], bridge: Bridge) -> str:
    """Return a wire between two pins, bulging out so that it is seen beside a core."""
    tips = {
        end: [s.tip_mm for s in spots if s.kind == "pin" and s.name == end]
        for end in (bridge.a, bridge.b)
    }
    pairs = [(one, two) for one in tips[bridge.a] for two in tips[bridge.b]]
    if not pairs:
        return ""
    # a pin may be seen on both sides of its box: the wire is laid the short way
    (x1, y1), (x2, y2) = min(pairs, key=lambda p: math.dist(*p))
    beside = abs(x1 - x2) < 1.0
    out, up = (BULGE_MM, 0.0) if beside else (0.0, BULGE_MM)
    middle = f"{(x1 + x2) / 2 + out:.2f} {(y1 + y2) / 2 - up:.2f}"
    x, y = (x1 + x2) / 2 + out / 2, (y1 + y2) / 2 - up / 2  # where the curve is farthest out
    words = f"bridge {bridge.words}".strip()
    return (
        f'<g class="bridge"><path d="M{x1:.2f} {y1:.2f}Q{middle} {x2:.2f} {y2:.2f}"/>'
        f'<text x="{x + 1.4:.2f}" y="{y + 1.0:.2f}" font-size="3">{escape(words)}</text>'
        f"<title>bridge {escape(bridge.a)} to {escape(bridge.b)}</title></g>"
    )


def _link(spot: Spot, target: Target) -> str:
    b = spot.box
    classes = " ".join(("spot", spot.kind, *target.marks))
    rect = (
        f'<rect x="{b.x_mm:.2f}" y="{b.y_mm:.2f}" width="{b.width_mm:.2f}" '
        f'height="{b.height_mm:.2f}" rx="0.8"/>'
    )
    flags = "".join(_flag(spot, m) for m in target.marks if m in _FLAGS)
    told = [_TOLD[m] for m in target.marks if m in _TOLD]
    label = escape(", ".join([target.label, *told]), quote=True)
    if not target.url:
        return f'<g class="{classes}" role="img" aria-label="{label}">{rect}{flags}</g>'
    key = escape(f"{spot.kind} {spot.name}", quote=True)
    return (
        f'<a href="{escape(target.url, quote=True)}" class="{classes}" data-swap="" '
        f'data-key="{key}" aria-label="{label}"><title>{label}</title>{rect}{flags}</a>'
    )


_FLAGS = {"red": "R", "black": "B", "first": "1", "opened": "opened"}
_TOLD = {"first": "marked 1", "opened": "has opened", "cut": "is cut"}


def _flag(spot: Spot, mark: str) -> str:
    """Return the tag at a place where a probe is held, or that was clicked first."""
    word = _FLAGS[mark]
    wide = TAG_MM if len(word) == 1 else 13.0
    x, y = spot.tip_mm[0] - wide / 2, spot.tip_mm[1] - 2.0
    return (
        f'<g class="flag {mark}" aria-hidden="true">'
        f'<rect x="{x:.2f}" y="{y:.2f}" width="{wide}" height="4" '
        f'rx="0.7"/><text x="{x + wide / 2:.2f}" y="{y + 3.05:.2f}" font-size="3" '
        f'text-anchor="middle">{word}</text></g>'
    )


def _spots(plan: Plan, strip: Strip, top_mm: float) -> Iterator[Spot]:
    """Yield the places of one strip: items first, so that pins lie above them."""
    grid = plan.grid
    y_mm = {lane: y + top_mm for lane, y in strip.y_mm.items()}
    names = [n for n, c in grid.column.items() if strip.first <= c <= strip.last]
    edges: Mapping[str, tuple[float, float]] = {
        n: (
            strip.x_mm[grid.column[n]],
            strip.x_mm[grid.column[n]] + plan.inside[n].width_mm,
        )
        for n in names
    }
    for name in names:
        left, right = edges[name]
        first, _ = grid.extent(name)
        inside = plan.inside[name]
        top = y_mm[first] - inside.head_mm + 0.8
        high = max(inside.head_mm - 5.0, 4.6)
        yield _spot("item", name, Box(left, top, right - left, high))
    for number, y in y_mm.items():
        lane = grid.lanes[number]
        for index, one, other in lane.wires:
            box = _core_box(plan, strip, one, other, y)
            if box is not None:
                yield _spot("core", conductor_of(grid.view.conductors[index]), box)
        for name, pin in lane.left.items():
            if name in edges:
                yield _pin(str(pin.terminal), edges[name][0], y, box_is_left=False)
        for name, pin in lane.right.items():
            if name in edges:
                yield _pin(str(pin.terminal), edges[name][1], y, box_is_left=True)
    yield from _links(plan, strip, edges, y_mm)


def _spot(kind: str, name: str, box: Box) -> Spot:
    # a tag on a core stands at its end, clear of the words in its middle
    x = box.x_mm + (box.width_mm - 1.4 if kind == "core" else box.width_mm / 2)
    if kind == "item":
        return Spot(kind, name, box, (box.x_mm + box.width_mm - 7.5, box.y_mm + 2.6))
    return Spot(kind, name, box, (x, box.y_mm + box.height_mm / 2))


def _pin(name: str, edge_mm: float, y_mm: float, *, box_is_left: bool) -> Spot:
    """Return the place of a pin: its label inside the box and the contact on its edge."""
    x = edge_mm + OVER_MM - PIN_WIDE_MM if box_is_left else edge_mm - OVER_MM
    box = Box(x, y_mm - PIN_HIGH_MM / 2, PIN_WIDE_MM, PIN_HIGH_MM)
    return Spot("pin", name, box, (edge_mm + (OVER_MM if box_is_left else -OVER_MM), y_mm))


def _core_box(plan: Plan, strip: Strip, left: str, right: str, y: float) -> Box | None:
    grid = plan.grid
    column = min(label_column(grid, left, right), strip.last)
    if column < strip.first or grid.column[left] > strip.last:
        return None
    start, end = strip.gap_mm[column]
    start += plan.link_mm.get(column, 0.0)
    return Box(start + 1.4, y - CORE_HIGH_MM / 2, max(end - start - 2.8, 3.0), CORE_HIGH_MM)


def _links(
    plan: Plan,
    strip: Strip,
    edges: Mapping[str, tuple[float, float]],
    y_mm: Mapping[int, float],
) -> Iterator[Spot]:
    """Yield jumpers between two pins of one item, beside its box."""
    used: dict[int, float] = {}
    for index, a, b in plan.grid.links:
        c = plan.grid.view.conductors[index]
        name = c.a.terminal.item
        if name not in edges or a == b:
            continue
        column = plan.grid.column[name]
        room = link_room(c)
        start = strip.gap_mm[column][0] + used.get(column, 1.5)
        used[column] = used.get(column, 1.5) + room
        low, high = sorted((y_mm[a], y_mm[b]))
        yield _spot(
            "core", conductor_of(c), Box(start, low + 1.0, room, max(high - low - 2.0, 3.0))
        )
        for lane in (a, b):
            pin = plan.grid.lanes[lane].right.get(name)
            if pin is not None:
                yield _pin(str(pin.terminal), edges[name][1], y_mm[lane], box_is_left=True)
