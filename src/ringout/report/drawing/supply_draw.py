"""The supply tree on paper: boxes one behind the other, with what each carries and may carry."""

from __future__ import annotations

from collections.abc import Sequence

from ringout.base import Interval
from ringout.base.quantity import format_interval, format_quantity
from ringout.cell.model import Cell
from ringout.circuit.model import Circuit
from ringout.findings.model import BranchLoad
from ringout.report.drawing.metrics import shortened, text_width_mm, wrap
from ringout.report.drawing.paper import (
    INK,
    LINE_MM,
    NAME_MM,
    PALE,
    TEXT_MM,
    TITLE_MM,
    Box,
    Paper,
    Sheet,
)
from ringout.report.drawing.supply_build import (
    NO_LIMIT_A,
    SupplyRow,
    SupplyView,
    build_supply_view,
)

WIDTH_MM, HEIGHT_MM = 182.0, 262.0
STEP_MM = 6.0  # one step further from the supply
FIGURES_MM = 102.0  # width the figures take at the right
ROW_GAP_MM = 2.2
PAD_MM = 1.4
NAME_STEP_MM = 3.6  # from line to line of a long name
LEAST_A = 1e-5  # less is told as 0
FOLLOW_MM = 16.0  # a supply or branch stays on the sheet of what follows it
MOST_STEPS = 7  # deeper rows are drawn at this step and say so
# right edges of the columns, from the right edge of the paper
COLUMNS = (("allows", 89.0), ("at rest", 73.0), ("at most", 57.0))
BAR_MM, BAR_LONG_MM = 54.0, 13.0
VOLTS_MM, SHORT_MM = 33.0, 18.0
LEGEND = (
    "Currents: with all else at rest, and at most in any state. Bar: share of what is allowed. "
    "Lowest volts: guaranteed at the electronics of the item, or of the worst device behind it. "
    "Short: lowest and highest current of a short at the branch itself, at the item, or at the "
    "weakest device it feeds, and whether the protection opens."
)


def draw_supply(
    cell: Cell,
    branches: Sequence[BranchLoad] | None = None,
    *,
    circuit: Circuit | None = None,
    width_mm: float = WIDTH_MM,
    height_mm: float = HEIGHT_MM,
) -> tuple[Sheet, ...]:
    """Return the supply tree of a cell, drawn.

    Args:
        cell: the cell.
        branches: branch loads of its judgement, if at hand.
        circuit: the compiled cell, if at hand.
        width_mm: width of the paper inside its margins.
        height_mm: height of the paper inside its margins.
    """
    view = build_supply_view(cell, branches, circuit=circuit)
    return _Drawer(view, width_mm, height_mm).run()


class _Drawer:
    def __init__(self, view: SupplyView, width_mm: float, height_mm: float) -> None:
        self.view, self.width_mm, self.height_mm = view, width_mm, height_mm
        self.papers: list[Paper] = []
        self.heights: list[float] = []
        self.paper = Paper(width_mm)
        self.y = 0.0
        self.above: dict[int, float] = {}  # depth to the foot of the last box of that depth

    def run(self) -> tuple[Sheet, ...]:
        self._begin()
        for row in self.view.rows:
            self._row(row)
        notes = []
        if self.view.unfed:
            notes.append(f"No supply reaches: {', '.join(self.view.unfed)}.")
        lines = [
            line for text in (*notes, LEGEND) for line in wrap(text, TEXT_MM, self.width_mm - 2.0)
        ]
        self._room(LINE_MM * (len(lines) + 1))
        self.y += LINE_MM
        for line in lines:
            self.paper.text(1.0, self.y, line)
            self.y += LINE_MM
        self.papers.append(self.paper)
        self.heights.append(self.y)
        count = len(self.papers)
        return tuple(
            p.finish(
                "supply" if count == 1 else f"supply-{k}",
                f"Supply of {self.view.cell}" + ("" if count == 1 else f", sheet {k} of {count}"),
                h,
            )
            for k, (p, h) in enumerate(zip(self.papers, self.heights, strict=True), start=1)
        )

    def _begin(self) -> None:
        paper, right = self.paper, self.width_mm - 0.6
        paper.text(0.6, 5.0, "Supply", size_mm=TITLE_MM, bold=True)
        room = right - FIGURES_MM - 22.0
        name = f"{self.view.cell}, revision {self.view.revision}"
        paper.text(22.0, 5.0, shortened(name, TEXT_MM, room))
        for word, at in COLUMNS:
            paper.text(right - at, 5.0, word, anchor="end", bold=True)
        paper.text(right - VOLTS_MM, 2.2, "lowest", anchor="middle", bold=True)
        paper.text(right - VOLTS_MM, 5.0, "volts", anchor="middle", bold=True)
        paper.text(right - 1.0, 2.2, "short, and", anchor="end", bold=True)
        paper.text(right - 1.0, 5.0, "does it open", anchor="end", bold=True)
        paper.line(0.6, 6.4, right, 6.4, width_mm=0.3)
        self.y = 8.4
        self.above = {}

    def _room(self, need_mm: float) -> None:
        if self.y + need_mm > self.height_mm and self.y > 20.0:
            self.papers.append(self.paper)
            self.heights.append(self.y)
            self.paper = Paper(self.width_mm)
            self._begin()

    def _row(self, row: SupplyRow) -> None:
        step = min(row.depth, MOST_STEPS)
        left = 0.6 + step * STEP_MM
        wide = self.width_mm - FIGURES_MM - left
        lines = self._lines(row, wide - 2 * PAD_MM)
        names = wrap(row.name, NAME_MM, wide - 2 * PAD_MM, bold=True)
        head = 5.2 + (len(names) - 1) * NAME_STEP_MM
        high = max(head + LINE_MM * len(lines), 8.4)
        self._room(high + ROW_GAP_MM + (0.0 if row.kind == "item" else FOLLOW_MM))
        box = Box(left, self.y, wide, high)
        self._branch(step, high)
        thick = {"supply": 0.5, "branch": 0.25}.get(row.kind, 0.35)
        self.paper.frame(box, width_mm=thick, dash="1.4 0.8" if row.kind == "branch" else "")
        used, y = 0.0, self.y + 3.9
        for k, name in enumerate(names):
            y = self.y + 3.9 + k * NAME_STEP_MM
            used = self.paper.text(left + PAD_MM, y, name, size_mm=NAME_MM, bold=True)
        room = wide - used - 2 * PAD_MM - 2.0
        if row.about and room > 8.0:
            self.paper.text(left + PAD_MM + used + 2.0, y, shortened(row.about, TEXT_MM, room))
        for k, (word, line) in enumerate(lines):
            y = self.y + head + 1.8 + k * LINE_MM
            at = self.paper.text(left + PAD_MM, y, word, bold=True)
            self.paper.text(left + PAD_MM + (at + 1.4 if word else 0.0), y, line)
        self._figures(row, self.y + 3.9)
        self.above = {d: y for d, y in self.above.items() if d < step}
        self.above[step] = self.y + high
        self.y += high + ROW_GAP_MM

    def _lines(self, row: SupplyRow, room_mm: float) -> list[tuple[str, str]]:
        out: list[tuple[str, str]] = []
        for word, text in (("over", row.over), ("feeds", " ".join(row.feeds))):
            if not text:
                continue
            indent = text_width_mm(word, TEXT_MM, bold=True) + 1.4
            for k, line in enumerate(wrap(text, TEXT_MM, room_mm - indent)):
                out.append((word if k == 0 else "", line))
        return out

    def _branch(self, step: int, high_mm: float) -> None:
        """Draw the line from the box before this one."""
        if step == 0:
            return
        x = 0.6 + (step - 1) * STEP_MM + STEP_MM / 2
        parent = max((d for d in self.above if d < step), default=None)
        top = self.above[parent] if parent is not None else 7.4
        middle = self.y + min(high_mm / 2, 4.2)
        self.paper.line(x, top, x, middle, width_mm=0.5)
        self.paper.line(x - 0.25, middle, 0.6 + step * STEP_MM, middle, width_mm=0.5)

    def _figures(self, row: SupplyRow, y: float) -> None:
        right, paper = self.width_mm - 0.6, self.paper
        if row.load is not None:
            limited = row.load.limit_a < NO_LIMIT_A
            limit = format_quantity(row.load.limit_a, "amps") if limited else "no limit"
            figures = (limit, _amps(row.load.rest_a), _amps(row.load.high_a))
            for (_, at), text in zip(COLUMNS, figures, strict=True):
                paper.text(right - at, y, text, anchor="end")
            if limited and row.load.limit_a > 0:
                self._bar(right - BAR_MM, y, row.load)
        if row.lowest_v is not None:
            volts = f"{row.lowest_v:.1f} V".replace("-", "−")
            paper.text(right - VOLTS_MM, y, volts, anchor="middle")
            if row.lowest_at and row.lowest_at != _item_of(row):
                where = shortened(f"at {row.lowest_at}", TEXT_MM, 14.0)
                paper.text(right - VOLTS_MM, y + LINE_MM, where, anchor="middle")
        if row.short is not None:
            span = Interval(row.short.low_a, row.short.low_a, row.short.high_a)
            amps = shortened(format_interval(span, "amps"), TEXT_MM, SHORT_MM + 4.0)
            paper.text(right - 1.0, y, amps, anchor="end")
            own = _item_of(row) == row.short.item
            text = row.short.verdict + ("" if own else f", {row.short.item}")
            text = shortened(text, TEXT_MM, SHORT_MM + 5.0, bold=True)
            bold = row.short.verdict != "at once"
            paper.text(right - 1.0, y + LINE_MM, text, anchor="end", bold=bold)

    def _bar(self, x: float, y: float, load: BranchLoad) -> None:
        """Draw how much of what is allowed is used, at rest and at most."""
        top, high = y - 1.9, 2.2
        share = load.high_a / load.limit_a
        most = min(share, 1.0) * BAR_LONG_MM
        rest = min(load.rest_a / load.limit_a, 1.0) * BAR_LONG_MM
        over = share > 1.0
        frame = f'stroke="{INK}" stroke-width="0.25"'
        bars = (
            (BAR_LONG_MM, 'fill="#fff"'),
            (most, f'fill="{INK if over else "#bbb"}"'),
            (rest, f'fill="{PALE}"'),
            (BAR_LONG_MM, frame),
        )
        svg = [
            f'<rect x="{x:.2f}" y="{top:.2f}" width="{wide:.2f}" height="{high}" {how}/>'
            for wide, how in bars
        ]
        self.paper.sign(Box(x, top, BAR_LONG_MM, high), svg)
        self.paper.text(x, y + LINE_MM, f"{share:.0%}", bold=over)


def _item_of(row: SupplyRow) -> str:
    return row.name.partition("-")[0].partition(":")[0].partition(".")[0]


def _amps(amps: float) -> str:
    return "0" if abs(amps) < LEAST_A else format_quantity(amps, "amps")
