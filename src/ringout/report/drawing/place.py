"""From lanes and boxes to millimetres: strips of columns that fit the width of the paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ringout.report.drawing.lanes import Grid
from ringout.report.drawing.metrics import shortened, text_width_mm
from ringout.report.drawing.paper import TEXT_MM
from ringout.report.drawing.path_model import PathConductor
from ringout.report.drawing.path_words import amps_text
from ringout.report.drawing.slots import Inside, Slot, lay_out_item, sign_height

PITCH_MM = 7.6  # two lines of labels between lanes
FOOT_MM = 4.4  # from the last lane of a box to its lower edge
BOX_GAP_MM = 1.6  # between boxes that stand above each other
EDGE_MM = 0.6
MARK_MM = 8.0  # for the sign that a lane goes on elsewhere
LABEL_PAD_MM = 6.6
PLAIN_GAP_MM = 7.0
MOST_NAME_MM = 58.0  # of a conductor; 40 plain characters are narrower
ARROW_MM = 3.2


@dataclass(frozen=True, slots=True)
class Strip:
    """Some columns of a drawing, placed.

    Args:
        first: first column.
        last: last column.
        x_mm: left edge of each column.
        gap_mm: (start, end) of the gap after each column.
        y_mm: lane to height, for lanes that appear in the strip.
        gap_of: element name to the lane its sign stands below.
        height_mm: height of the strip.
        before: it continues a strip.
        after: it is continued.
    """

    first: int
    last: int
    x_mm: Mapping[int, float]
    gap_mm: Mapping[int, tuple[float, float]]
    y_mm: Mapping[int, float]
    gap_of: Mapping[str, int]
    height_mm: float
    before: bool
    after: bool


@dataclass(frozen=True)
class Plan:
    """A drawing laid out: boxes and strips."""

    grid: Grid
    inside: Mapping[str, Inside]
    strips: tuple[Strip, ...]
    link_mm: Mapping[int, float]


def conductor_words(c: PathConductor) -> tuple[str, str]:
    """Return what is written above and below a conductor; a very long name is cut, not its core."""
    cable, colon, core = c.name.rpartition(":")
    room = MOST_NAME_MM - text_width_mm(colon + core, TEXT_MM, bold=True)
    name = shortened(cable, TEXT_MM, room, bold=True) + colon + core if cable else c.name
    name = shortened(name, TEXT_MM, MOST_NAME_MM, bold=True)
    return name, c.text or amps_text(c.amps)


def conductor_room(c: PathConductor) -> float:
    """Return the width of the words on a conductor."""
    above, below = conductor_words(c)
    return max(
        text_width_mm(above, TEXT_MM, bold=True),
        text_width_mm(below, TEXT_MM) + (0.0 if c.text else ARROW_MM),
    )


def make_plan(grid: Grid, width_mm: float) -> Plan:
    """Return a drawing laid out on paper of a width.

    Args:
        grid: columns and lanes.
        width_mm: width of the paper.
    """
    inside = {i.name: lay_out_item(grid, i) for i in grid.view.items}
    box_mm = [
        max((inside[n].width_mm for n, k in grid.column.items() if k == c), default=0.0)
        for c in range(grid.columns)
    ]
    link_mm = _link_zones(grid)
    gap_mm = _gaps(grid, link_mm)
    end_mm = _ends(grid, link_mm, gap_mm)
    strips = []
    for cut in _cuts(box_mm, gap_mm, end_mm, width_mm - 2 * EDGE_MM):
        gaps = [*gap_mm[: cut[1]], end_mm[cut[1]], *gap_mm[cut[1] + 1 :]]
        strips.append(_strip(grid, inside, cut, box_mm, gaps))
    return Plan(grid, inside, tuple(strips), link_mm)


def _link_zones(grid: Grid) -> dict[int, float]:
    """Return, by column, the room right of it for links between pins of one item."""
    zones: dict[int, float] = {}
    for number, a, _ in grid.links:
        item = next(iter(grid.lanes[a].right))
        c = grid.view.conductors[number]
        item = c.a.terminal.item
        zones[grid.column[item]] = zones.get(grid.column[item], 1.5) + link_room(c)
    return zones


def link_room(c: PathConductor) -> float:
    """Return the width one link takes beside its box."""
    return conductor_room(c) + 3.0


def _gaps(grid: Grid, link_mm: Mapping[int, float]) -> list[float]:
    gaps = []
    for column in range(grid.columns):
        room = 0.0
        passing = False
        for lane in grid.lanes:
            for number, left, right in lane.wires:
                if label_column(grid, left, right) == column:
                    room = max(room, conductor_room(grid.view.conductors[number]))
                passing |= grid.column[left] <= column < grid.column[right]
        wide = room + LABEL_PAD_MM if room else (PLAIN_GAP_MM if passing else 0.0)
        gaps.append(wide + link_mm.get(column, 0.0))
    return gaps


def _ends(grid: Grid, link_mm: Mapping[int, float], gap_mm: Sequence[float]) -> list[float]:
    """Return the gap after each column where a strip ends behind it: all that pass are named."""
    ends = list(gap_mm)
    for lane in grid.lanes:
        for number, left, right in lane.wires:
            room = conductor_room(grid.view.conductors[number]) + LABEL_PAD_MM
            for column in range(grid.column[left], grid.column[right]):
                ends[column] = max(ends[column], room + link_mm.get(column, 0.0))
    return ends


def label_column(grid: Grid, left: str, right: str) -> int:
    """Return the column behind which a conductor is named."""
    return grid.column[right] - 1 if left else grid.column[right]


def _cuts(
    box_mm: Sequence[float],
    gap_mm: Sequence[float],
    end_mm: Sequence[float],
    room_mm: float,
) -> list[tuple[int, int]]:
    """Return (first, last) columns of each strip: few strips, none much wider than the others."""
    count = len(box_mm)

    def wide(first: int, last: int) -> float:
        inner = sum(box_mm[first : last + 1]) + sum(gap_mm[first:last])
        before = MARK_MM if first else 0.0
        after = end_mm[last] + (MARK_MM if last < count - 1 else 0.0)
        return inner + before + after

    best: list[tuple[int, float, list[tuple[int, int]]]] = [(0, 0.0, [])]
    for last in range(count):
        options = []
        for first in range(last + 1):
            size = wide(first, last)
            if size > room_mm and first < last:
                continue
            strips, most, cuts = best[first]
            options.append((strips + 1, max(most, size), [*cuts, (first, last)]))
        best.append(min(options, key=lambda o: (o[0], o[1])))
    return best[count][2]


def _strip(
    grid: Grid,
    inside: Mapping[str, Inside],
    cut: tuple[int, int],
    box_mm: Sequence[float],
    gap_mm: Sequence[float],
) -> Strip:
    first, last = cut
    x = EDGE_MM + (MARK_MM if first else 0.0)
    x_mm: dict[int, float] = {}
    gaps: dict[int, tuple[float, float]] = {}
    for column in range(first, last + 1):
        x_mm[column] = x
        x += box_mm[column]
        gaps[column] = (x, x + gap_mm[column])
        x += gap_mm[column]
    names = [n for n, c in grid.column.items() if first <= c <= last]
    seen = [i for i, lane in enumerate(grid.lanes) if _appears(grid, lane.net, lane.wires, cut)]
    y_mm, gap_of, height = _heights(grid, inside, names, seen)
    return Strip(first, last, x_mm, gaps, y_mm, gap_of, height, first > 0, last < grid.columns - 1)


def _appears(
    grid: Grid,
    net: Mapping[str, str],
    wires: Sequence[tuple[int, str, str]],
    cut: tuple[int, int],
) -> bool:
    first, last = cut
    if any(first <= grid.column[n] <= last for n in net):
        return True
    return any(grid.column[a] <= last and grid.column[b] >= first for _, a, b in wires)


def _heights(
    grid: Grid, inside: Mapping[str, Inside], names: Sequence[str], seen: Sequence[int]
) -> tuple[dict[int, float], dict[str, int], float]:
    """Return the height of every lane, the lane above each sign, and the height in all."""
    place = {lane: k for k, lane in enumerate(seen)}
    above = [PITCH_MM] * len(seen)  # room above each lane
    above[0] = 0.0
    ends: dict[int, list[tuple[int, int, float]]] = {}
    for name in names:
        top, bottom = grid.extent(name)
        ends.setdefault(grid.column[name], []).append(
            (place[top], place[bottom], inside[name].head_mm)
        )
    for boxes in ends.values():
        boxes.sort()
        last = -1
        for top, bottom, head in boxes:
            extra = FOOT_MM + BOX_GAP_MM if last >= 0 and last == top - 1 else 0.0
            above[top] = max(above[top], head + max(extra, BOX_GAP_MM))
            last = bottom
    gap_of: dict[str, int] = {}
    slots: list[Slot] = [s for n in names for s in inside[n].slots if s.element is not None]
    for slot in sorted(slots, key=lambda s: (place[s.bottom] - place[s.top], s.top)):
        assert slot.element is not None
        need = sign_height(slot.element)
        inner = range(place[slot.top] + 1, place[slot.bottom] + 1)
        # a box may begin in a gap: its head stands elsewhere, so only this gap's height counts
        chosen = max(inner, key=lambda k: (min(above[k], need), k))
        above[chosen] = max(above[chosen], need)
        gap_of[slot.element.name] = seen[chosen - 1]
    y = 0.0
    y_mm = {}
    for k, lane in enumerate(seen):
        y += above[k]
        y_mm[lane] = y
    return y_mm, gap_of, y + FOOT_MM + BOX_GAP_MM
