"""Draw a circuit that was laid out: boxes, lanes, signs and words, strip below strip."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

from ringout.report.drawing.lanes import Lane
from ringout.report.drawing.metrics import shortened
from ringout.report.drawing.paper import (
    LINE_MM,
    NAME_MM,
    TEXT_MM,
    Box,
    Paper,
)
from ringout.report.drawing.path_model import PathConductor, PathNet
from ringout.report.drawing.path_words import amps_text, volts_text
from ringout.report.drawing.place import (
    ARROW_MM,
    BOX_GAP_MM,
    FOOT_MM,
    MARK_MM,
    Plan,
    Strip,
    conductor_words,
    label_column,
    link_room,
)
from ringout.report.drawing.slots import EARTH_MM, FREE, PAD_MM, Inside, Slot
from ringout.report.drawing.symbols import HALF, draw_earth, draw_mark, draw_pin, draw_sign
from ringout.report.drawing.wires import arrow, draw_core, draw_inner

ABOVE_MM = 1.1  # foot of a label above its lane
BELOW_MM = 3.0  # foot of a label below it


def draw_strip(paper: Paper, plan: Plan, strip: Strip, top_mm: float, letters: Letters) -> None:
    """Draw one strip.

    Args:
        paper: the sheet.
        plan: the drawing.
        strip: the strip.
        top_mm: where it begins.
        letters: names of lanes that go on in another strip.
    """
    _Strip(paper, plan, strip, top_mm, letters).run()


class Letters:
    """Letters for lanes that cross from strip to strip: the same on both sides."""

    def __init__(self) -> None:
        self._known: dict[tuple[int, int], str] = {}

    def of(self, lane: int, column: int) -> str:
        """Return the letter of a lane where it crosses the gap behind a column."""
        number = len(self._known)
        word = ""
        while True:
            word = chr(ord("a") + number % 26) + word
            number = number // 26 - 1
            if number < 0:
                break
        return self._known.setdefault((lane, column), word)


class _Strip:
    def __init__(
        self, paper: Paper, plan: Plan, strip: Strip, top_mm: float, letters: Letters
    ) -> None:
        self.paper, self.plan, self.strip, self.letters = paper, plan, strip, letters
        self.grid, self.view = plan.grid, plan.grid.view
        self.y = {lane: y + top_mm for lane, y in strip.y_mm.items()}
        self.names = [n for n, c in self.grid.column.items() if strip.first <= c <= strip.last]
        self.used: dict[int, float] = {}

    def run(self) -> None:
        for name in self.names:
            self._box(self.plan.inside[name])
        for number in self.strip.y_mm:
            self._wires(number, self.grid.lanes[number])
        self._links()
        for name in self.names:
            self._inside(self.plan.inside[name])

    def _edges(self, name: str) -> tuple[float, float]:
        left = self.strip.x_mm[self.grid.column[name]]
        return left, left + self.plan.inside[name].width_mm

    def _box(self, inside: Inside) -> None:
        item = inside.item
        left, right = self._edges(item.name)
        first, last = self.grid.extent(item.name)
        top = self.y[first] - inside.head_mm + BOX_GAP_MM / 2
        frame = Box(left, top, right - left, self.y[last] + FOOT_MM - top)
        thick = 0.5 if item.family == "controller" else 0.25
        dash = "1.4 0.8" if item.family in ("connector", "terminal") else ""
        self.paper.frame(frame, width_mm=thick, dash=dash)
        name = shortened(item.name, NAME_MM, right - left - 2 * PAD_MM + 0.01, bold=True)
        self.paper.text(left + PAD_MM, top + 3.6, name, size_mm=NAME_MM, bold=True)
        for k, line in enumerate(inside.title):
            self.paper.text(left + PAD_MM, top + 6.6 + k * LINE_MM, line)

    # -- conductors ------------------------------------------------------------------------

    def _wires(self, number: int, lane: Lane) -> None:
        for index, left, right in lane.wires:
            c = self.view.conductors[index]
            here, there = self.grid.column[left], self.grid.column[right]
            if there < self.strip.first or here > self.strip.last:
                continue
            self._wire(number, c, left, right)

    def _wire(self, number: int, c: PathConductor, left: str, right: str) -> None:
        strip, y = self.strip, self.y[number]
        here, there = self.grid.column[left], self.grid.column[right]
        lane = self.grid.lanes[number]
        if here >= strip.first:
            start = self._edges(left)[1]
        else:
            start = strip.x_mm[strip.first] - MARK_MM + 5.2
            letter = self.letters.of(number, strip.first - 1)
            draw_mark(self.paper, start - 5.2, y, letter, goes_out=False)
        if there <= strip.last:
            end = self._edges(right)[0]
        else:
            end = strip.gap_mm[strip.last][1] + 0.6
            letter = self.letters.of(number, strip.last)
            draw_mark(self.paper, end, y, letter, goes_out=True)
        draw_core(self.paper, (start, y), (end, y), c.colour, live=c.live, bare=c.kind == "fault")
        if here >= strip.first:
            draw_pin(self.paper, start, y, lane.right[left].gender, box_is_left=True)
        if there <= strip.last:
            draw_pin(self.paper, end, y, lane.left[right].gender, box_is_left=False)
        column = min(label_column(self.grid, left, right), strip.last)
        if column < strip.first:
            return
        gap = strip.gap_mm[column]
        middle = (gap[0] + self.plan.link_mm.get(column, 0.0) + gap[1]) / 2
        rightwards = (c.a.terminal.item == left) == ((c.amps or 0.0) >= 0.0)
        self._words(c, middle, y, rightwards=rightwards)

    def _words(self, c: PathConductor, middle: float, y: float, *, rightwards: bool) -> None:
        above, below = conductor_words(c)
        flows = c.live and not c.text
        self.paper.text(middle, y - ABOVE_MM, above, bold=True, anchor="middle")
        wide = self.paper.text(middle + (ARROW_MM / 2 if flows else 0.0), y + BELOW_MM, below,
                               anchor="middle")  # fmt: skip
        if flows:
            arrow(self.paper, middle - wide / 2, y + BELOW_MM - 0.9, right=rightwards)

    def _links(self) -> None:
        for index, a, b in self.grid.links:
            c = self.view.conductors[index]
            name = c.a.terminal.item
            if name not in self.names or a == b:
                continue
            _, edge = self._edges(name)
            column = self.grid.column[name]
            room = link_room(c)
            start = self.strip.gap_mm[column][0] + self.used.get(column, 1.5)
            self.used[column] = self.used.get(column, 1.5) + room
            x = start + 1.4
            ya, yb = self.y[a], self.y[b]
            bare = c.kind == "fault"
            for one, other in (((edge, ya), (x, ya)), ((x, ya), (x, yb)), ((x, yb), (edge, yb))):
                draw_core(self.paper, one, other, c.colour, live=c.live, bare=bare)
            for y, pin in (
                (ya, self.grid.lanes[a].right[name]),
                (yb, self.grid.lanes[b].right[name]),
            ):
                draw_pin(self.paper, edge, y, pin.gender, box_is_left=True)
            above, below = conductor_words(c)
            low = max(ya, yb)
            self.paper.text(x + 1.0, low - 3.3, above, bold=True)
            self.paper.text(x + 1.0, low - 0.5, below)

    # -- insides ---------------------------------------------------------------------------

    def _inside(self, inside: Inside) -> None:
        name = inside.item.name
        left, right = self._edges(name)
        nets = {n.net: n for n in inside.item.nets}
        spread: dict[int, list[float]] = {}
        for slot in inside.slots:
            x = left + slot.x_mm
            for tap in slot.taps or (slot.top, slot.bottom):
                spread.setdefault(tap, []).append(x)
        for number, lane in enumerate(self.grid.lanes):
            net = lane.net.get(name)
            if net is not None:
                self._inner_lane(inside, number, nets[net], spread.get(number, []))
        for slot in inside.slots:
            if slot.element is None:
                self._trunk(left, slot, live=self._net_live(name, slot))
            else:
                self._element(left, slot)
        del right

    def _net_live(self, name: str, slot: Slot) -> bool:
        net = self.grid.lanes[slot.top].net[name]
        return self._lives(name, net)

    def _lives(self, item: str, net: str) -> bool:
        return any(
            p.terminal.item == item and p.net == net and c.live
            for c in self.view.conductors
            for p in (c.a, c.b)
        ) or any(e.live and e.item == item and net in (e.tail, e.head) for e in self.view.elements)

    def _inner_lane(self, inside: Inside, number: int, net: PathNet, taps: list[float]) -> None:
        name = inside.item.name
        left, right = self._edges(name)
        lane, y = self.grid.lanes[number], self.y[number]
        pins: Mapping[str, float] = {
            side: at
            for side, at in (("left", left), ("right", right))
            if name in getattr(lane, side)
        }
        if net.free and not pins and taps:
            self.paper.text(right - PAD_MM, y - ABOVE_MM, net.free, bold=True, anchor="end")
            self.paper.text(right - PAD_MM, y + BELOW_MM, FREE, anchor="end")
            draw_pin(self.paper, right, y, "", box_is_left=True)
            pins = {"open": right}
        xs = [*taps, *pins.values()]
        if xs:
            start, end = min(xs), max(xs)
            if end > start:
                draw_inner(self.paper, (start, y), (end, y), live=self._lives(name, net.net))
            for x in taps:
                inner = start < x < end
                if inner or taps.count(x) > 1:
                    self.paper.dot(x, y)
        if net.earth:
            x = taps[0] if taps else left + inside.left_mm + EARTH_MM / 2
            draw_earth(self.paper, x, y)
            xs = [*xs, x]
            draw_inner(self.paper, (min(xs), y), (max(xs), y), live=self._lives(name, net.net))
        if "left" in pins:
            self.paper.text(left + PAD_MM, y - ABOVE_MM, lane.left[name].label, bold=True)
            self.paper.text(left + PAD_MM, y + BELOW_MM, volts_text(net.volts))
        if "right" in pins:
            label = lane.right[name].label
            self.paper.text(right - PAD_MM, y - ABOVE_MM, label, bold=True, anchor="end")
            if "left" not in pins:
                self.paper.text(right - PAD_MM, y + BELOW_MM, volts_text(net.volts), anchor="end")

    def _trunk(self, left: float, slot: Slot, *, live: bool) -> None:
        x = left + slot.x_mm
        for a, b in pairwise(slot.taps):
            draw_inner(self.paper, (x, self.y[a]), (x, self.y[b]), live=live)

    def _element(self, left: float, slot: Slot) -> None:
        element = slot.element
        assert element is not None
        x = left + slot.x_mm
        above = self.strip.gap_of[element.name]
        order = sorted(self.y)
        below = order[order.index(above) + 1]
        # the room of the gap that no head of a box and no label takes
        high = self.y[below] - self.y[above]
        middle = self.y[below] - min(high, 2 * HALF + 2.6) / 2
        words = element.words
        tall = max(2 * HALF, LINE_MM * len(words))
        middle = min(middle, self.y[below] - tall / 2 - 0.8)
        draw_inner(self.paper, (x, self.y[slot.top]), (x, middle - HALF), live=element.live)
        draw_inner(self.paper, (x, middle + HALF), (x, self.y[slot.bottom]), live=element.live)
        lanes_top = self.grid.lanes[slot.top].net[element.item] == element.tail
        draw_sign(
            self.paper, element.symbol, x, middle, down=lanes_top, live=element.live,
            action=element.action,
        )  # fmt: skip
        y = middle - LINE_MM * len(words) / 2 + 2.2
        for k, word in enumerate(words):
            last = k == len(words) - 1
            self.paper.text(x + 3.8, y + k * LINE_MM, word, bold=element.main and not last)


def caption_amps(amps: float | None) -> str:
    """Return a current for a caption."""
    return amps_text(amps)


__all__ = ["TEXT_MM", "Letters", "caption_amps", "draw_strip"]
