"""What a remedy maker hands to the prover."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.cell.model import Cell


@dataclass(frozen=True, slots=True)
class Proposal:
    """A change worth trying.

    Args:
        text: the change in one sentence.
        cell: the changed cell.
        edit: the change in the file's own words: old text to new text; old is empty for a new line.
        signals: signals whose margins the change may move, told with the remedy.
    """

    text: str
    cell: Cell
    edit: tuple[tuple[str, str], ...] = ()
    signals: tuple[str, ...] = ()
