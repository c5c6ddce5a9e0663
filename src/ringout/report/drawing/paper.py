"""A sheet that is drawn on in millimetres; it remembers where text and signs are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from ringout.report.drawing.metrics import ASCENT, DESCENT, FAMILIES, POINT_MM, text_width_mm
from ringout.report.faces_symbols import xml_text

TEXT_MM = 7.1 * POINT_MM  # nothing on a drawing is smaller
NAME_MM = 9.0 * POINT_MM
TITLE_MM = 12.0 * POINT_MM
LINE_MM = 3.0  # from one line of small text to the next
INK = "#000"
PALE = "#666"


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in millimetres, y downwards."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float

    def meets(self, other: Box, slack_mm: float = 0.05) -> bool:
        """Return whether two boxes share more than a hair's breadth."""
        return (
            self.x_mm + slack_mm < other.x_mm + other.width_mm
            and other.x_mm + slack_mm < self.x_mm + self.width_mm
            and self.y_mm + slack_mm < other.y_mm + other.height_mm
            and other.y_mm + slack_mm < self.y_mm + self.height_mm
        )


@dataclass(frozen=True, slots=True)
class TextBox:
    """A line of text where it stands."""

    text: str
    size_mm: float
    box: Box


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight line drawn, for tests of what it crosses."""

    x1_mm: float
    y1_mm: float
    x2_mm: float
    y2_mm: float


@dataclass(frozen=True, slots=True)
class Sheet:
    """One finished drawing.

    Args:
        name: short name, fit for a file.
        title: what it shows, in words.
        width_mm: width on paper.
        height_mm: height on paper.
        svg: the picture.
        texts: every line of text with its measured box.
        signs: boxes of the signs drawn.
        strokes: wires and other straight lines.
    """

    name: str
    title: str
    width_mm: float
    height_mm: float
    svg: str
    texts: tuple[TextBox, ...]
    signs: tuple[Box, ...]
    strokes: tuple[Stroke, ...]


@dataclass
class Paper:
    """Collects what is drawn; `finish` makes a sheet of it."""

    width_mm: float
    layers: dict[str, list[str]] = field(default_factory=dict)
    texts: list[TextBox] = field(default_factory=list)
    signs: list[Box] = field(default_factory=list)
    strokes: list[Stroke] = field(default_factory=list)

    def put(self, svg: str, layer: str = "lines") -> None:
        """Add a piece of SVG to `back`, `lines` or `front`."""
        self.layers.setdefault(layer, []).append(svg)

    def text(
        self,
        x_mm: float,
        y_mm: float,
        text: str,
        *,
        size_mm: float = TEXT_MM,
        bold: bool = False,
        anchor: str = "start",
        fill: str = INK,
    ) -> float:
        """Write a line with its foot at `y_mm`; return its width."""
        if not text.strip():
            return 0.0
        wide = text_width_mm(text, size_mm, bold=bold)
        left = x_mm - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
        box = Box(left, y_mm - ASCENT * size_mm, wide, (ASCENT + DESCENT) * size_mm)
        self.texts.append(TextBox(text, size_mm, box))
        weight = ' font-weight="bold"' if bold else ""
        colour = f' fill="{fill}"' if fill != INK else ""
        self.put(
            f'<text x="{left:.2f}" y="{y_mm:.2f}" font-size="{size_mm:.3f}"{weight}{colour} '
            f'textLength="{wide:.2f}" lengthAdjust="spacingAndGlyphs">{xml_text(text)}</text>',
            "front",
        )
        return wide

    def line(
        self,
        x1_mm: float,
        y1_mm: float,
        x2_mm: float,
        y2_mm: float,
        *,
        width_mm: float = 0.25,
        dash: str = "",
        colour: str = INK,
    ) -> None:
        """Draw a straight line."""
        self.strokes.append(Stroke(x1_mm, y1_mm, x2_mm, y2_mm))
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.put(
            f'<path d="M{x1_mm:.2f} {y1_mm:.2f}L{x2_mm:.2f} {y2_mm:.2f}" stroke="{colour}" '
            f'stroke-width="{width_mm:.2f}"{dashed}/>'
        )

    def dot(self, x_mm: float, y_mm: float, radius_mm: float = 0.7) -> None:
        """Draw the dot that says two lines are joined."""
        self.put(f'<circle cx="{x_mm:.2f}" cy="{y_mm:.2f}" r="{radius_mm:.2f}" fill="{INK}"/>')

    def frame(
        self, box: Box, *, width_mm: float = 0.25, dash: str = "", fill: str = "#fff"
    ) -> None:
        """Draw a rounded frame behind everything else."""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.put(
            f'<rect x="{box.x_mm:.2f}" y="{box.y_mm:.2f}" width="{box.width_mm:.2f}" '
            f'height="{box.height_mm:.2f}" rx="1.2" fill="{fill}" stroke="{PALE}" '
            f'stroke-width="{width_mm:.2f}"{dashed}/>',
            "back",
        )

    def sign(self, box: Box, svg: Sequence[str]) -> None:
        """Draw a sign that text must keep off."""
        self.signs.append(box)
        self.layers.setdefault("lines", []).extend(svg)

    def finish(self, name: str, title: str, height_mm: float) -> Sheet:
        """Return the sheet."""
        body = "\n".join(
            f'<g fill="none" stroke-linecap="butt">{"".join(self.layers.get(layer, ()))}</g>'
            if layer != "front"
            else f'<g fill="{INK}">{"".join(self.layers.get(layer, ()))}</g>'
            for layer in ("back", "lines", "front")
        )
        svg = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width_mm:.1f}mm" '
            f'height="{height_mm:.1f}mm" viewBox="0 0 {self.width_mm:.2f} {height_mm:.2f}" '
            f'font-family="{FAMILIES}">\n<title>{xml_text(title)}</title>\n'
            f'<rect width="100%" height="100%" fill="#fff"/>\n{body}\n</svg>\n'
        )
        return Sheet(
            name,
            title,
            self.width_mm,
            height_mm,
            svg,
            tuple(self.texts),
            tuple(self.signs),
            tuple(self.strokes),
        )
