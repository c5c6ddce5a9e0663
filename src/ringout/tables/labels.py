"""Common sizes of label rolls and label sheets."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.tables.reader import Row, find_row, read_table

# Stock for the labels within a pack, by paper: plain sheets that are cut.
PLAIN = {"a4": "plain-a4-48", "letter": "plain-letter-44"}


@dataclass(frozen=True, slots=True)
class LabelSize:
    """One kind of label stock.

    Args:
        name: the word used on the command line.
        kind: `roll`, where each label is a page of its own, or `sheet`.
        paper: `a4` or `letter`; empty for a roll.
        width_mm: width of one label.
        height_mm: height of one label.
        columns: labels side by side.
        rows: labels below one another.
        left_mm: from the left edge of the paper to the first label.
        top_mm: from the top edge of the paper to the first label.
        pitch_x_mm: from the left edge of one label to that of the next.
        pitch_y_mm: from the top edge of one label to that of the next.
        qr_mm: side of the square code; 0 where it would be too small to read.
        note: what to know before buying.
    """

    name: str
    kind: str
    paper: str
    width_mm: float
    height_mm: float
    columns: int
    rows: int
    left_mm: float
    top_mm: float
    pitch_x_mm: float
    pitch_y_mm: float
    qr_mm: float
    note: str


def label_size(name: str) -> LabelSize:
    """Return one kind of label stock.

    Args:
        name: such as `roll-12x40`.

    Returns:
        Its measures.

    Raises:
        KeyError: no such stock; the message names the nearest one.

    Source:
        common practice, memory
    """
    return _size(find_row("label_sizes", stock=name))


def label_sizes() -> tuple[LabelSize, ...]:
    """Return every kind of label stock known, rolls first."""
    return tuple(_size(row) for row in read_table("label_sizes"))


def _size(row: Row) -> LabelSize:
    return LabelSize(
        row.text("stock"),
        row.text("kind"),
        row.text("paper"),
        row.number("width_mm"),
        row.number("height_mm"),
        round(row.number("columns_count")),
        round(row.number("rows_count")),
        row.number("left_mm"),
        row.number("top_mm"),
        row.number("pitch_x_mm"),
        row.number("pitch_y_mm"),
        row.number("qr_mm"),
        row.text("note"),
    )
