"""Lines of conductors: in the colour of the core, with a dark rim, thick where current flows."""

from __future__ import annotations

from ringout.report.drawing.paper import INK, Paper
from ringout.report.faces_symbols import core_fills

LIVE_A = 1e-4  # from here on a path counts as active
CORE_MM = {False: 0.3, True: 1.1}
RIM_MM = {False: 0.14, True: 0.22}
HALO_MM = 1.8  # white beside a core: where it passes behind a box the frame is interrupted
INNER_MM = {False: 0.22, True: 0.75}


def draw_core(
    paper: Paper,
    start: tuple[float, float],
    end: tuple[float, float],
    colour: str,
    *,
    live: bool,
    bare: bool = False,
) -> None:
    """Draw one straight piece of a conductor.

    Args:
        paper: the sheet.
        start: (x, y) in mm.
        end: (x, y) in mm.
        colour: colour code of the core; empty for a link or a plug.
        live: it carries current.
        bare: an added conductor of a fault: dashed.
    """
    wide = CORE_MM[live]
    if bare or not colour:
        dash = "1.6 1" if bare else ""
        paper.line(*start, *end, width_mm=INNER_MM[live] + (0.3 if bare else 0.0), dash=dash)
        return
    first, second = core_fills(colour)
    paper.put(
        f'<path d="M{start[0]:.2f} {start[1]:.2f}L{end[0]:.2f} {end[1]:.2f}" stroke="#fff" '
        f'stroke-width="{wide + HALO_MM:.2f}"/>'
    )
    paper.line(*start, *end, width_mm=wide + 2 * RIM_MM[live], colour=INK)
    paper.line(*start, *end, width_mm=wide, colour=first)
    if second:
        paper.line(*start, *end, width_mm=wide, colour=second, dash="1.8 1.8")


def draw_inner(
    paper: Paper, start: tuple[float, float], end: tuple[float, float], *, live: bool
) -> None:
    """Draw a line inside a part."""
    paper.line(*start, *end, width_mm=INNER_MM[live])


def arrow(paper: Paper, x_mm: float, y_mm: float, *, right: bool) -> None:
    """Draw the head of an arrow beside a figure of current; it points where the current goes."""
    way = 1.0 if right else -1.0
    paper.put(
        f'<path d="M{x_mm - way * 1.0:.2f} {y_mm - 0.8:.2f}L{x_mm + way * 1.0:.2f} {y_mm:.2f}'
        f'L{x_mm - way * 1.0:.2f} {y_mm + 0.8:.2f}Z" fill="{INK}"/>'
    )
