"""The circuit of a signal as sheets: heading, strips of the drawing, and what is drawn."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from ringout.cell.model import Cell, Signal
from ringout.circuit.faults import Fault
from ringout.circuit.model import Circuit
from ringout.report.drawing.circuit_draw import Letters, draw_strip
from ringout.report.drawing.lanes import make_grid
from ringout.report.drawing.metrics import shortened, text_width_mm, wrap
from ringout.report.drawing.paper import (
    LINE_MM,
    TEXT_MM,
    TITLE_MM,
    Paper,
    Sheet,
)
from ringout.report.drawing.path_build import build_circuit_view
from ringout.report.drawing.path_model import CircuitView
from ringout.report.drawing.place import EDGE_MM, make_plan

WIDTH_MM = 182.0  # an A4 sheet with 14 mm on either side
HEIGHT_MM = 262.0  # and what is left of its height
STRIP_GAP_MM = 5.0
LEGEND = (
    "Thick: carries 0.1 mA or more. Contacts stand as at rest. Ring: clamp. Cup: female contact; "
    "bar: male. Conductors: cable:colour."
)


def draw_signal(
    cell: Cell,
    signal: Signal,
    state: Mapping[str, str] | None = None,
    *,
    fault: Fault | None = None,
    circuit: Circuit | None = None,
    width_mm: float = WIDTH_MM,
    height_mm: float = HEIGHT_MM,
) -> tuple[Sheet, ...]:
    """Return the circuit of a signal, drawn.

    Args:
        cell: the cell.
        signal: one of its signals.
        state: actor to position; all else at rest. None: the state in which it is on.
        fault: a fault to put in.
        circuit: the compiled cell, if at hand.
        width_mm: width of the paper inside its margins.
        height_mm: height of the paper inside its margins.
    """
    view = build_circuit_view(cell, signal, state, fault=fault, circuit=circuit)
    return draw_circuit(view, width_mm=width_mm, height_mm=height_mm)


def draw_circuit(
    view: CircuitView, *, width_mm: float = WIDTH_MM, height_mm: float = HEIGHT_MM
) -> tuple[Sheet, ...]:
    """Return a circuit as sheets; most need one.

    Args:
        view: the circuit.
        width_mm: width of the paper inside its margins.
        height_mm: height of the paper inside its margins.
    """
    title = f"{view.signal}, {view.channel}, {view.state or 'at rest'}"
    frame = Frame(view.signal, title, width_mm, height_mm)
    about = f"{view.channel}, {view.meaning}"
    return draw_sheets(view, frame, _heading(view), about, list(_foot(view, width_mm)))


@dataclass(frozen=True, slots=True)
class Frame:
    """What sheets are called and how large they may be; `heading` is written on top."""

    name: str
    title: str
    width_mm: float
    height_mm: float
    heading: str = ""


def draw_sheets(
    view: CircuitView,
    frame: Frame,
    lines: Sequence[tuple[str, bool]],
    about: str,
    foot: Sequence[tuple[float, str, str]],
) -> tuple[Sheet, ...]:
    """Return a view as sheets, strip by strip.

    Args:
        view: items and conductors.
        frame: name, title and size.
        lines: lines below the heading, and whether each is bold.
        about: words beside the heading.
        foot: lines below the drawing: indent in mm, name, text.
    """
    plan = make_plan(make_grid(view), frame.width_mm)
    letters = Letters()
    done: list[tuple[Paper, float]] = []

    def begin() -> tuple[Paper, float]:
        paper = Paper(frame.width_mm)
        words = f"{about}, continued" if done else about
        return paper, _head(paper, frame.heading or frame.name, words, lines)

    paper, y = begin()
    fresh = True
    for strip in plan.strips:
        if not fresh and y + strip.height_mm > frame.height_mm:
            done.append((paper, y))
            paper, y = begin()
        draw_strip(paper, plan, strip, y, letters)
        y += strip.height_mm + STRIP_GAP_MM
        fresh = False
    if foot and y + LINE_MM * len(foot) + 2 > frame.height_mm and y > 60.0:
        done.append((paper, y))
        paper, y = begin()
    y += LINE_MM
    for indent, name, text in foot:
        if name:
            paper.text(EDGE_MM, y, name, bold=True)
        paper.text(EDGE_MM + indent, y, text)
        y += LINE_MM
    done.append((paper, y))
    count = len(done)
    return tuple(
        p.finish(
            frame.name if count == 1 else f"{frame.name}-{k}",
            frame.title if count == 1 else f"{frame.title}, sheet {k} of {count}",
            high,
        )
        for k, (p, high) in enumerate(done, start=1)
    )


def _head(paper: Paper, heading: str, about: str, lines: Sequence[tuple[str, bool]]) -> float:
    """Write the heading; return where the drawing may begin."""
    y = 5.0
    room = paper.width_mm - 2 * EDGE_MM
    heading = shortened(heading, TITLE_MM, room, bold=True)
    wide = paper.text(EDGE_MM, y, heading, size_mm=TITLE_MM, bold=True)
    if wide + 4 + text_width_mm(about, TEXT_MM) <= room:
        paper.text(EDGE_MM + wide + 4, y, about)
    else:
        lines = [(about, False), *lines]
    for text, bold in lines:
        for line in wrap(text, TEXT_MM, room, bold=bold):
            y += LINE_MM + 0.4
            paper.text(EDGE_MM, y, line, bold=bold)
    return y + 5.0


def _heading(view: CircuitView) -> list[tuple[str, bool]]:
    state = f"Drawn while {view.state}; all else at rest." if view.state else "Drawn at rest."
    lines = [(f"{state} Volts against {view.reference}, typical values.", False)]
    if view.fault:
        lines.append((f"With this fault: {view.fault}", True))
    return [*lines, (view.result, True), *((c, True) for c in view.cautions)]


def _foot(view: CircuitView, width_mm: float) -> Iterator[tuple[float, str, str]]:
    """Yield lines below the drawing: indent, name, text."""
    entries = []
    for item in view.items:
        words = [item.title]
        if item.settings:
            words.append(f"set: {item.settings}")
        if item.sockets:
            words.append(item.sockets)
        if item.note:
            words.append(f"({item.note})")
        entries.append((item.name, "; ".join(words)))
    entries += [(c.name, c.text) for c in view.cables]
    indent = 2.0 + max((text_width_mm(n, TEXT_MM, bold=True) for n, _ in entries), default=0.0)
    indent = min(indent, width_mm / 4)
    for name, text in entries:
        beside = text_width_mm(name, TEXT_MM, bold=True) + 2.0 <= indent
        if not beside:  # too long a name stands above its text
            for line in wrap(name, TEXT_MM, width_mm - 2 * EDGE_MM, bold=True):
                yield 0.0, line, ""
        for k, line in enumerate(wrap(text, TEXT_MM, width_mm - indent - 2 * EDGE_MM)):
            yield indent, name if beside and k == 0 else "", line
    for line in wrap(LEGEND, TEXT_MM, width_mm - 2 * EDGE_MM):
        yield 0.0, "", line
