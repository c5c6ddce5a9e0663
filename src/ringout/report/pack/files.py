"""Drawings of a pack as files: SVG for a browser or an office program, DXF for drawing programs."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from ringout.report.drawing.metrics import FAMILIES
from ringout.report.pack.dxf import svg_to_dxf
from ringout.report.pack.model import Pack, Picture
from ringout.report.pack.pictures import FONT
from ringout.report.sheet_files import write_whole


def pack_pictures(pack: Pack) -> Iterator[tuple[str, Picture]]:
    """Yield every drawing of a pack with a file name that is its own on any file system."""
    taken: set[str] = set()
    pictures = [*pack.overview, *pack.supply, *(p for s in pack.signals for p in s.pictures)]
    pictures += [p for _, icons in pack.icons for p in icons]
    for found in pictures:
        yield _file_name(found.name, taken), found


def write_svg(pack: Pack, folder: str | Path) -> list[Path]:
    """Write every drawing as SVG.

    Args:
        pack: the pack.
        folder: gets `SIGNAL.svg` for each signal, and the faces.

    Returns:
        The files written.

    Raises:
        OSError: the place cannot be written; no file is left half-written.
    """
    files = []
    for name, found in pack_pictures(pack):
        file = Path(folder) / f"{name}.svg"
        svg = found.svg.replace(f'font-family="{FONT}"', f'font-family="{FAMILIES}"')
        write_whole(file, svg.encode("utf-8"))
        files.append(file)
    return files


def write_dxf(pack: Pack, folder: str | Path) -> list[Path]:
    """Write every drawing as DXF, release R12, in millimetres.

    Args:
        pack: the pack.
        folder: gets `SIGNAL.dxf` for each signal, and the faces.

    Returns:
        The files written.

    Raises:
        OSError: the place cannot be written; no file is left half-written.
    """
    files = []
    for name, found in pack_pictures(pack):
        file = Path(folder) / f"{name}.dxf"
        write_whole(file, svg_to_dxf(found.svg, found.height_mm).encode("ascii"))
        files.append(file)
    return files


def _file_name(name: str, taken: set[str]) -> str:
    plain = re.sub(r"[^A-Za-z0-9_+.-]", "_", name)[:80].lstrip(".") or "drawing"
    found, number = plain, 2
    while found.lower() in taken:
        found, number = f"{plain}-{number}", number + 1
    taken.add(found.lower())
    return found
