"""A cable with both its ends: pin to pin, core by core, and the connectors it carries."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from ringout.report.drawing.faces import View, draw_view, fitting, lay_out
from ringout.report.drawing.metrics import shortened, text_width_mm, wrap
from ringout.report.drawing.paper import LINE_MM, NAME_MM, TEXT_MM, TITLE_MM, Box, Paper, Sheet
from ringout.report.drawing.symbols import draw_pin
from ringout.report.drawing.wires import draw_core
from ringout.report.faces_model import OTHER_GENDER, SIDES, Face, FacePin, bare_face, fitted_name
from ringout.report.sheet_layout import area_words, length_words
from ringout.report.sheet_model import FIELD_PLUG, PLUGGED, CutRow, End, Row
from ringout.report.sheet_model import Sheet as Connections
from ringout.tables.faces import connectors

WIDTH_MM = 182.0
BOX_MM = 61.0  # width of the box of an end
ROW_MM = 7.4  # from core to core
PAD_MM = 1.6
PIN_MM = 3.4  # room of a connector's two halves at the edge of a box
VIEW_GAP_MM = 2.4
EDGE_MM = 0.6


@dataclass(frozen=True, slots=True)
class Lane:
    """One core with its row at either end; None where that end does not hold it."""

    core: str
    ends: tuple[tuple[End, Row] | None, tuple[End, Row] | None]

    @property
    def row(self) -> Row:
        """Return what is known of the core itself."""
        found = self.ends[0] or self.ends[1]
        assert found is not None
        return found[1]

    @property
    def spare(self) -> bool:
        """Return whether the core is joined at neither end."""
        return all(e is None or e[1].spare for e in self.ends)


def cable_names(sheet: Connections) -> tuple[str, ...]:
    """Return the cables that are drawn, in the order of work."""
    return tuple(dict.fromkeys(e.cable for e in sheet.ends if e.part))


def draw_cable(sheet: Connections, cable: str) -> Sheet:
    """Return a cable drawn: cores from pin to pin, below them the faces of its connectors.

    Args:
        sheet: the connection sheet of the cell.
        cable: one of `cable_names`.

    Raises:
        KeyError: the cable is joined nowhere.
    """
    ends = [e for e in sheet.ends if e.part and e.cable == cable]
    if not ends:
        raise KeyError(cable)
    cut = next((c for c in sheet.cut.cables if c.cable == cable), None)
    return _Drawer(sheet, ends, cut, cable).run()


def lanes_of(ends: list[End]) -> list[Lane]:
    """Return the cores of a cable in the order of its first end, spare ones last."""
    found: dict[str, list[tuple[End, Row] | None]] = {}
    for end in ends:
        for row in end.rows:
            found.setdefault(row.core, [None, None])[end.end - 1] = (end, row)
    lanes = [Lane(core, (pair[0], pair[1])) for core, pair in found.items()]
    return sorted(lanes, key=lambda lane: lane.spare)


def end_face(sheet: Connections, end: End) -> Face | None:
    """Return the connector a cable carries at an end, if it is known, with the cores on it.

    Cores of another cable in the same plug are told by their full name.
    """
    if end.connector not in connectors() or end.gender not in OTHER_GENDER:
        return None
    rows = {r.pin: r for r in end.rows if r.pin}
    socket = next((f for f in sheet.faces if f.place == end.place), None)
    beside = {p.pin: p for p in socket.pins} if socket is not None else {}
    names = [p.pin for p in bare_face(end.connector, end.gender).pins]
    if not set(rows) <= set(names):
        return None
    pins = []
    for name in names:
        row, other = rows.get(name), beside.get(name)
        if row is not None:
            pins.append(FacePin(name, row.carries, "", row.core, row.core, row.far))
        elif end.work == FIELD_PLUG and other is not None and other.colour:
            told = fitting(other.conductor, other.colour)
            pins.append(FacePin(name, other.carries, "", told, other.colour, other.far))
    return Face("", "", end.connector, end.gender, tuple(pins))


class _Drawer:
    def __init__(self, sheet: Connections, ends: list[End], cut: CutRow | None, cable: str) -> None:
        self.sheet = sheet
        self.ends, self.cut, self.cable = ends, cut, cable
        self.paper = Paper(WIDTH_MM)

    def run(self) -> Sheet:
        y = self._head()
        y = self._lanes(y)
        for caution in dict.fromkeys(c for e in self.ends for c in e.cautions):
            for line in wrap(f"! {caution}", TEXT_MM, WIDTH_MM - 2 * EDGE_MM, bold=True):
                y += LINE_MM + 0.6
                self.paper.text(EDGE_MM, y, line, bold=True)
        y = self._connectors(y + 3.0)
        first, last = self.ends[0], self.ends[-1]
        title = f"{self.cable}, {first.place} to {last.place}, both ends"
        return self.paper.finish(self.cable, title, y)

    def _head(self) -> float:
        wide = self.paper.text(EDGE_MM, 4.6, self.cable, size_mm=TITLE_MM, bold=True)
        words = [self.ends[0].part]
        if self.cut is not None:
            words = [length_words(self.cut.length_m), f"{self.cut.part}: {self.cut.title}"]
            words.append(f"{self.cut.used_cores} cores used, {self.cut.spare_cores} spare")
        y = 4.6
        room = WIDTH_MM - 2 * EDGE_MM - wide - 3.0
        for k, line in enumerate(wrap("; ".join(words), TEXT_MM, room)):
            y += LINE_MM if k else 0.0
            self.paper.text(EDGE_MM + wide + 3.0, y, line)
        return y + 2.6

    # -- cores -----------------------------------------------------------------------------

    def _lanes(self, top: float) -> float:
        lanes = lanes_of(self.ends)
        runs = [_runs(lanes, 0), _runs(lanes, 1)]
        heads = [[_head_lines(end) for end, _ in side] for side in runs]
        # a core is as far down as the taller side needs it
        y_of: list[float] = []
        y = top
        starts = [{members[0]: k for k, (_, members) in enumerate(side)} for side in runs]
        for n in range(len(lanes)):
            above = max(
                (
                    _head_mm(heads[side][starts[side][n]]) + (2.0 if n else 0.0)
                    for side in (0, 1)
                    if n in starts[side]
                ),
                default=0.0,
            )
            y += above + ROW_MM
            y_of.append(y - 2.4)
        for side in (0, 1):
            for (end, members), lines in zip(runs[side], heads[side], strict=True):
                first, last = y_of[members[0]], y_of[members[-1]]
                head_top = first - ROW_MM + 2.4 - _head_mm(lines) if members[0] else top
                self._box(side, end, lines, (head_top, last + 2.4))
        for lane, at in zip(lanes, y_of, strict=True):
            self._lane(lane, at)
        return y

    def _box(self, side: int, end: End, lines: list[str], span: tuple[float, float]) -> None:
        left = EDGE_MM if side == 0 else WIDTH_MM - EDGE_MM - BOX_MM
        box = Box(left, span[0], BOX_MM, span[1] - span[0])
        self.paper.frame(box, width_mm=0.35)
        name = shortened(end.place, NAME_MM, BOX_MM - 2 * PAD_MM - 11.0, bold=True)
        self.paper.text(left + PAD_MM, span[0] + 3.8, name, size_mm=NAME_MM, bold=True)
        right = left + BOX_MM - PAD_MM
        self.paper.text(right, span[0] + 3.8, f"end {end.end}", anchor="end")
        for k, line in enumerate(lines):
            self.paper.text(left + PAD_MM, span[0] + 7.0 + k * LINE_MM, line)

    def _lane(self, lane: Lane, y: float) -> None:
        edges = (EDGE_MM + BOX_MM, WIDTH_MM - EDGE_MM - BOX_MM)
        inner = [edges[0], edges[1]]
        for side, out in ((0, 1.0), (1, -1.0)):
            found = lane.ends[side]
            if found is None or not found[1].pin:
                inner[side] += out * 5.0
                if found is not None:
                    words = "carries nothing" if found[0].work == PLUGGED else "spare: insulate"
                    anchor = "end" if side == 0 else "start"
                    self.paper.text(edges[side] - out * PAD_MM, y + 0.9, words, anchor=anchor)
                continue
            end, row = found
            gender = OTHER_GENDER.get(end.gender, "") if end.connector else ""
            draw_pin(self.paper, edges[side], y, gender, box_is_left=side == 0)
            inner[side] += out * (2.6 if gender else 0.8)
            self._pin_words(side, row, y)
        draw_core(self.paper, (inner[0], y), (inner[1], y), lane.core, live=not lane.spare)
        row = lane.row
        core = row.colour if row.core.isdigit() else f"{row.core} {row.colour}".strip()
        size = f", {area_words(row.area_mm2)} mm²" if row.area_mm2 is not None else ""
        room = edges[1] - edges[0] - 2 * PIN_MM
        words = shortened(f"{self.cable}:{core}{size}", TEXT_MM, room, bold=True)
        self.paper.text((edges[0] + edges[1]) / 2, y - 1.5, words, bold=True, anchor="middle")

    def _pin_words(self, side: int, row: Row, y: float) -> None:
        inner = EDGE_MM + BOX_MM - PAD_MM if side == 0 else WIDTH_MM - EDGE_MM - BOX_MM + PAD_MM
        out = -1.0 if side == 0 else 1.0
        anchor = "end" if side == 0 else "start"
        wide = self.paper.text(inner, y + 1.1, row.pin, size_mm=NAME_MM, bold=True, anchor=anchor)
        room = BOX_MM - 2 * PAD_MM - wide - 3.0
        words = row.carries + (f" ({row.seen})" if row.seen else "")
        if text_width_mm(words, TEXT_MM) > room:
            words = row.carries
        words = shortened(words, TEXT_MM, room)
        self.paper.text(inner + out * (wide + 3.0), y + 0.9, words, anchor=anchor)

    # -- connectors ------------------------------------------------------------------------

    def _connectors(self, y: float) -> float:
        """Draw both sides of every connector of the cable, as many beside each other as fit."""
        groups: list[tuple[str, list[View]]] = []
        for end in self.ends:
            face = end_face(self.sheet, end)
            if face is not None:
                title = f"end {end.end} at {end.place}: {fitted_name(end.connector, end.gender)}"
                groups.append((title, [lay_out(face, side, brief=True) for side in SIDES]))
        x, high = EDGE_MM, 0.0
        for title, views in groups:
            wide = sum(v.width_mm for v in views) + VIEW_GAP_MM
            lines = wrap(title, TEXT_MM, wide, bold=True)
            if x > EDGE_MM and x + wide > WIDTH_MM - EDGE_MM:
                x, y, high = EDGE_MM, y + high + 2.0, 0.0
            for k, line in enumerate(lines):
                self.paper.text(x, y + (k + 1) * LINE_MM, line, bold=True)
            top = y + len(lines) * LINE_MM + 1.0
            at = x
            for view in views:
                draw_view(self.paper, view, at, top)
                at += view.width_mm + VIEW_GAP_MM
            x = at + 1.0
            high = max(high, top - y + max(v.height_mm for v in views))
        return y + high


def _runs(lanes: list[Lane], side: int) -> list[tuple[End, list[int]]]:
    """Return stretches of cores that go to one place, each with its cores by number."""
    out: list[tuple[End, list[int]]] = []
    known = [(n, found[0]) for n, lane in enumerate(lanes) if (found := lane.ends[side])]
    for _, group in groupby(known, key=lambda pair: id(pair[1])):
        members = list(group)
        out.append((members[0][1], [n for n, _ in members]))
    return out


def _head_lines(end: End) -> list[str]:
    return list(_head_words(end))


def _head_words(end: End) -> Iterator[str]:
    room = BOX_MM - 2 * PAD_MM
    yield from wrap(end.note, TEXT_MM, room)
    if end.connector:
        how = {PLUGGED: "plugged: ", FIELD_PLUG: "fit: "}.get(end.work, "")
        yield from wrap(how + fitted_name(end.connector, end.gender), TEXT_MM, room)
    else:
        yield "clamps"


def _head_mm(lines: list[str]) -> float:
    return 5.0 + len(lines) * LINE_MM
