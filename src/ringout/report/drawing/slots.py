"""The inside of an item on a circuit drawing: signs side by side, each between two lanes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ringout.report.drawing.lanes import Grid
from ringout.report.drawing.metrics import text_width_mm
from ringout.report.drawing.paper import LINE_MM, NAME_MM, TEXT_MM
from ringout.report.drawing.path_model import PathElement, PathItem
from ringout.report.drawing.path_words import volts_text

SIGN_HALF_MM = 3.0  # half the width kept free for a sign
SIGN_HIGH_MM = 8.0
ACTION_MM = 5.2  # room left of a contact for what moves it
TRUNK_MM = 3.4
MOST_NAME_MM = 76.0  # of an item, 40 plain characters are narrower; the foot has it in full
PAD_MM = 1.4
LEAST_MM = 13.0
NOTE_LINES = 3
EARTH_MM = 4.6  # room for the sign of earth where nothing else stands on its lane
FREE = "free"  # below a terminal that nothing is landed on
NOTE_MM = 24.0  # a note may make a box this wide


@dataclass(frozen=True, slots=True)
class Slot:
    """One upright of a box: an element, or a trunk that joins lanes of one net.

    Args:
        element: the element; None for a trunk.
        top: upper lane.
        bottom: lower lane.
        x_mm: from the left edge of the box to the upright.
        taps: lanes of a trunk that it joins, with a dot.
    """

    element: PathElement | None
    top: int
    bottom: int
    x_mm: float
    taps: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Inside:
    """An item laid out.

    Args:
        item: the item.
        slots: its uprights.
        width_mm: width of the box.
        left_mm: room for labels at the left edge.
        right_mm: room at the right edge.
        title: lines of its note.
        head_mm: height of name and note.
    """

    item: PathItem
    slots: tuple[Slot, ...]
    width_mm: float
    left_mm: float
    right_mm: float
    title: tuple[str, ...]
    head_mm: float


def lay_out_item(grid: Grid, item: PathItem) -> Inside:
    """Return the inside of an item with the places of its uprights.

    Args:
        grid: the lanes.
        item: one of its items.
    """
    from ringout.report.drawing.metrics import wrap

    left_mm, right_mm = _zones(grid, item)
    uprights = [*_trunks(grid, item), *_elements(grid, item)]
    columns = _stacked(uprights)
    earth = any(n.earth for n in item.nets)
    x = left_mm + (EARTH_MM if earth and not uprights else 0.0)
    placed: list[Slot] = []
    for column in columns:
        before = max(_before(s) for s in column)
        after = max(_after(s) for s in column)
        placed += [Slot(s.element, s.top, s.bottom, x + before, s.taps) for s in column]
        x += before + after
    name_mm = min(text_width_mm(item.name, NAME_MM, bold=True), MOST_NAME_MM)
    wide = max(x + right_mm, LEAST_MM, name_mm + 2 * PAD_MM)
    note = item.note
    full = text_width_mm(note, TEXT_MM) + 2 * PAD_MM
    wide = max(wide, min(full, NOTE_MM))
    lines = wrap(note, TEXT_MM, wide - 2 * PAD_MM)
    if len(lines) > NOTE_LINES:
        lines = [*lines[: NOTE_LINES - 1], "…"]
    head_mm = 4.6 + LINE_MM * len(lines) + 4.2
    return Inside(item, tuple(placed), wide, left_mm, right_mm, tuple(lines), head_mm)


def _bare(grid: Grid, item: str, net: str) -> bool:
    """Return whether no conductor of the drawing reaches a net of an item."""
    lanes = [grid.lanes[k] for k in grid.lanes_of(item, net)]
    return not any(item in lane.left or item in lane.right for lane in lanes)


def _zones(grid: Grid, item: PathItem) -> tuple[float, float]:
    volts = {n.net: volts_text(n.volts) for n in item.nets}
    left = right = 0.0
    for lane in grid.lanes:
        net = lane.net.get(item.name)
        if net is None:
            continue
        figure = text_width_mm(volts[net], TEXT_MM)
        if item.name in lane.left:
            label = text_width_mm(lane.left[item.name].label, TEXT_MM, bold=True)
            left = max(left, label, figure)
            figure = 0.0
        if item.name in lane.right:
            label = text_width_mm(lane.right[item.name].label, TEXT_MM, bold=True)
            right = max(right, label, figure)
    for inner in item.nets:
        if inner.free and _bare(grid, item.name, inner.net):
            words = text_width_mm(inner.free, TEXT_MM, bold=True)
            right = max(right, words, text_width_mm(FREE, TEXT_MM))
    return (left + PAD_MM + 0.8 if left else PAD_MM), (right + PAD_MM + 0.8 if right else PAD_MM)


def _trunks(grid: Grid, item: PathItem) -> list[Slot]:
    out = []
    for net in item.nets:
        lanes = grid.lanes_of(item.name, net.net)
        if len(lanes) > 1:
            out.append(Slot(None, lanes[0], lanes[-1], 0.0, tuple(lanes)))
    return out


def _elements(grid: Grid, item: PathItem) -> list[Slot]:
    out = []
    for element in grid.view.elements:
        if element.item != item.name:
            continue
        pairs = [
            (a, b)
            for a in grid.lanes_of(item.name, element.tail)
            for b in grid.lanes_of(item.name, element.head)
            if a != b
        ]
        if pairs:
            a, b = min(pairs, key=lambda p: (abs(p[0] - p[1]), p))
            out.append(Slot(element, min(a, b), max(a, b), 0.0))
    return out


def _stacked(uprights: Sequence[Slot]) -> list[list[Slot]]:
    """Return uprights in columns; those of one column follow each other downwards."""
    columns: list[list[Slot]] = []
    for slot in sorted(uprights, key=lambda s: (s.element is not None, s.top, s.bottom)):
        trunk = slot.element is None
        for column in columns:
            same = (column[0].element is None) == trunk
            if same and all(s.bottom <= slot.top if not trunk else s.bottom < slot.top
                            for s in column):  # fmt: skip
                column.append(slot)
                break
        else:
            columns.append([slot])
    return columns


def _before(slot: Slot) -> float:
    if slot.element is None:
        return TRUNK_MM / 2
    return SIGN_HALF_MM + (ACTION_MM if slot.element.action else 0.0)


def _after(slot: Slot) -> float:
    if slot.element is None:
        return TRUNK_MM / 2
    words = max((text_width_mm(w, TEXT_MM) for w in slot.element.words), default=0.0)
    return SIGN_HALF_MM + 0.8 + words + 1.2


def sign_height(element: PathElement) -> float:
    """Return the height a sign and its words need between two lanes."""
    return max(SIGN_HIGH_MM + 2.4, LINE_MM * len(element.words) + 2.4)
