"""The map of a terminal strip, splitter or box, drawn: a line for each pair of pins."""

from __future__ import annotations

from ringout.cell.model import Cell, Terminal
from ringout.report.drawing.map_build import FREE, ItemMap, Landed, MapPin, MapRow, build_map
from ringout.report.drawing.metrics import shortened, text_width_mm, wrap
from ringout.report.drawing.paper import LINE_MM, TEXT_MM, TITLE_MM, Box, Paper, Sheet
from ringout.report.drawing.symbols import draw_pin
from ringout.report.drawing.wires import draw_core, draw_inner
from ringout.report.sheet_nets import Nets

WIDTH_MM, HEIGHT_MM = 182.0, 262.0
BOX_MM = 58.0
STUB_MM = 9.0  # coloured piece of each conductor
ROW_MM = 6.2
EDGE_MM = 0.6
PAD_MM = 1.6
JUMPER_MM = 1.6  # from one bridge to the next
LEGEND = "Lines inside the box are joined. Ring: clamp. Cup: female contact; bar: male."


def draw_map(
    cell: Cell, item: str, *, nets: Nets | None = None, height_mm: float = HEIGHT_MM
) -> tuple[Sheet, ...]:
    """Return the map of an item: who is on which pin, both sides, free ones and jumpers.

    Args:
        cell: the cell.
        item: one of its items.
        nets: nets of the cell, if at hand.
        height_mm: height of the paper inside its margins.
    """
    return _Drawer(build_map(cell, item, nets), height_mm).run()


class _Drawer:
    def __init__(self, found: ItemMap, height_mm: float) -> None:
        self.map, self.height_mm = found, height_mm
        self.left = (WIDTH_MM - BOX_MM) / 2
        self.right = self.left + BOX_MM
        self.room = self.left - STUB_MM - EDGE_MM - 1.0

    def run(self) -> tuple[Sheet, ...]:
        done: list[tuple[Paper, float]] = []
        rows = list(self.map.rows)
        while rows or not done:
            paper = Paper(WIDTH_MM)
            top = self._head(paper)
            taken, y = 0, top + 1.5
            foot = LINE_MM * (len(self.map.ports) + len(self.map.inside) + 3)
            for row in rows:
                high = self._high(row)
                if taken and y + high + foot > self.height_mm:
                    break
                y += high
                taken += 1
            self._page(paper, rows[:taken], top)
            rows = rows[taken:]
            done.append((paper, y + 1.0 if rows else self._foot(paper, y + 2.0)))
        count = len(done)
        name = f"map-{self.map.item}"
        title = f"Map of {self.map.item}"
        return tuple(
            p.finish(
                name if count == 1 else f"{name}-{k}",
                title if count == 1 else f"{title}, sheet {k} of {count}",
                high,
            )
            for k, (p, high) in enumerate(done, start=1)
        )

    def _head(self, paper: Paper) -> float:
        name = shortened(self.map.item, TITLE_MM, WIDTH_MM / 2, bold=True)
        wide = paper.text(EDGE_MM, 4.6, name, size_mm=TITLE_MM, bold=True)
        words = self.map.title + (f" ({self.map.note})" if self.map.note else "")
        y = 4.6
        for k, line in enumerate(wrap(words, TEXT_MM, WIDTH_MM - 2 * EDGE_MM - wide - 3.0)):
            y += LINE_MM if k else 0.0
            paper.text(EDGE_MM + wide + 3.0, y, line)
        return y + 2.4

    def _lines(self, pin: MapPin | None) -> list[tuple[Landed | None, str]]:
        """Return what is written beside a pin, line by line; the first of each conductor has it."""
        if pin is None:
            return []
        out: list[tuple[Landed | None, str]] = []
        for landed in pin.landed:
            words = f"{landed.conductor} {landed.far}"
            if landed.note:
                words += f" ({landed.note})"
            for k, line in enumerate(wrap(words, TEXT_MM, self.room)):
                out.append((landed if k == 0 else None, line))
        return out or [(None, FREE)]

    def _high(self, row: MapRow) -> float:
        most = max(len(self._lines(row.left)), len(self._lines(row.right)), 1)
        return max(ROW_MM, most * LINE_MM + 2.0)

    def _page(self, paper: Paper, rows: list[MapRow], top: float) -> None:
        y = top + 1.5
        places: dict[Terminal, float] = {}
        stretches: dict[str, list[float]] = {}
        middle = (self.left + self.right) / 2
        for row in rows:
            high = self._high(row)
            at = y + min(high, ROW_MM) / 2 + 0.6
            stretches.setdefault(row.net, []).append(at)
            for side, pin in ((0, row.left), (1, row.right)):
                if pin is not None:
                    places[pin.terminal] = at
                    self._pin(paper, pin, side, at)
            self._inner(paper, row, middle, at)
            y += high
        for ys in stretches.values():
            if len(ys) > 1:
                draw_inner(paper, (middle, ys[0]), (middle, ys[-1]), live=True)
                for at in ys:
                    paper.dot(middle, at)
        paper.frame(Box(self.left, top, BOX_MM, y - top + 0.5), width_mm=0.35)
        self._jumpers(paper, places, rows)

    def _inner(self, paper: Paper, row: MapRow, middle: float, at: float) -> None:
        """Draw what a row joins inside the item, and what it carries."""
        wide = [
            text_width_mm(p.label, TEXT_MM, bold=True) + 2 * PAD_MM if p is not None else 0.0
            for p in (row.left, row.right)
        ]
        inner = (self.left + wide[0], self.right - wide[1])
        if row.through:
            words = row.through
            half = text_width_mm(words, TEXT_MM) / 2 + 1.2
            draw_inner(paper, (inner[0], at), (middle - half, at), live=True)
            draw_inner(paper, (middle + half, at), (inner[1], at), live=True)
            paper.put(
                f'<rect x="{middle - half:.2f}" y="{at - 1.9:.2f}" width="{2 * half:.2f}" '
                f'height="3.8" fill="#fff" stroke="#000" stroke-width="0.3"/>'
            )
            paper.text(middle, at + 0.9, words, anchor="middle")
            return
        ends = [
            edge if pin is not None else middle
            for pin, edge in ((row.left, inner[0]), (row.right, inner[1]))
        ]
        draw_inner(paper, (ends[0], at), (ends[1], at), live=True)
        if row.carries:
            start = middle + 1.0 if row.right is not None or row.left is None else inner[0]
            room = abs((inner[1] if start > middle else middle - 1.0) - start)
            words = shortened(row.carries, TEXT_MM, room)
            paper.text(start, at - 1.0, words)

    def _pin(self, paper: Paper, pin: MapPin, side: int, at: float) -> None:
        edge = self.left if side == 0 else self.right
        out = -1.0 if side == 0 else 1.0
        draw_pin(paper, edge, at, pin.gender, box_is_left=side == 1, alone=not pin.landed)
        inside = "start" if side == 0 else "end"
        paper.text(edge - out * PAD_MM, at + 0.9, pin.label, bold=True, anchor=inside)
        start = edge + out * (2.6 if pin.gender else 0.8)
        anchor = "end" if side == 0 else "start"
        free = not pin.landed
        y = at
        for landed, line in self._lines(pin):
            if landed is not None:
                end = (edge + out * STUB_MM, y)
                draw_core(paper, (start, y), end, landed.colour, live=True)
                if y > at:  # a further conductor on the same pin
                    paper.line(start, at, start, y, width_mm=0.3)
            words_at = edge + out * ((2.6 if pin.gender else 0.8) + 1.0 if free else STUB_MM + 1.0)
            paper.text(words_at, y + 0.9, line, anchor=anchor)
            y += LINE_MM

    def _jumpers(self, paper: Paper, places: dict[Terminal, float], rows: list[MapRow]) -> None:
        """Draw the bridges between pins of one side as bars within the box."""
        side = {p.terminal: k for r in rows for k, p in enumerate((r.left, r.right)) if p}
        labels = [text_width_mm(p.label, TEXT_MM, bold=True) for r in rows
                  for p in (r.left, r.right) if p]  # fmt: skip
        base = max(labels, default=0.0) + 2 * PAD_MM + 1.0
        for k, (a, b) in enumerate(self.map.jumpers):
            if a in places and b in places and side[a] == side[b]:
                off = base + k * JUMPER_MM
                x = self.left + off if side[a] == 0 else self.right - off
                paper.line(x, places[a], x, places[b], width_mm=0.9)
                for t in (a, b):
                    paper.dot(x, places[t])

    def _foot(self, paper: Paper, y: float) -> float:
        names = [text_width_mm(n, TEXT_MM, bold=True) for n, _ in self.map.ports]
        indent = max(names, default=0.0) + 2.0
        for name, words in self.map.ports:
            for k, line in enumerate(wrap(words, TEXT_MM, WIDTH_MM - indent - 2 * EDGE_MM)):
                y += LINE_MM
                if k == 0:
                    paper.text(EDGE_MM, y, name, bold=True)
                paper.text(EDGE_MM + indent, y, line)
        inside = f"Inside: {'; '.join(self.map.inside)}." if self.map.inside else ""
        for words in (inside, LEGEND):
            for line in wrap(words, TEXT_MM, WIDTH_MM - 2 * EDGE_MM):
                y += LINE_MM
                paper.text(EDGE_MM, y, line)
        return y + 1.4
