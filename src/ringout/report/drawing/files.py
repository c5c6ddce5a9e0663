"""Drawings as files: one by name, several in a folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ringout.report.drawing.paper import Sheet
from ringout.report.sheet_files import check_folder, free_name, write_whole


def write_sheets(sheets: Sequence[Sheet], target: Path) -> list[Path]:
    """Write drawings as SVG.

    Args:
        sheets: the drawings.
        target: a file ending in `.svg`, beside which further sheets get a number; or a folder,
            in which each gets its own name.

    Returns:
        The files written, in the order of the drawings.

    Raises:
        OSError: the place cannot be written; no file is left half-written.
    """
    files: list[Path] = []
    taken: set[str] = set()
    check_folder(target)
    for number, sheet in enumerate(sheets, start=1):
        if target.suffix.lower() == ".svg":
            file = target if number == 1 else target.with_stem(f"{target.stem}-{number}")
        else:
            file = target / f"{free_name(sheet.name, taken)}.svg"
        write_whole(file, sheet.svg.encode("utf-8"))
        files.append(file)
    return files
