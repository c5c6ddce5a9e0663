"""Drawings of a pack as files: SVG for a browser or an office program, DXF for drawing programs."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from ringout.report.drawing.metrics import FAMILIES
from ringout.report.pack.dxf import svg_to_dxf
from ringout.report.pack.model import Pack, Picture
from ringout.report.pack.pictures import FONT
from ringout.report.sheet_files import check_folder, free_name, write_whole


def pack_pictures(pack: Pack) -> Iterator[tuple[str, Picture]]:
    """Yield every drawing of a pack with a file name that is its own on any file system."""
    taken: set[str] = set()
    pictures = [*pack.overview, *pack.supply, *(p for s in pack.signals for p in s.pictures)]
    pictures += [p for _, p in (*pack.cables, *pack.faces)]
    pictures += [p for _, sheets in pack.maps for p in sheets]
    for found in pictures:
        yield free_name(found.name, taken), found


def write_svg(pack: Pack, folder: str | Path) -> list[Path]:
    """Write every drawing as SVG.

    Args:
        pack: the pack.
        folder: gets a file for each drawing, named like it.

    Returns:
        The files written.

    Raises:
        OSError: the place cannot be written; no file is left half-written.
    """
    return _write(pack, folder, "svg", _svg)


def write_dxf(pack: Pack, folder: str | Path) -> list[Path]:
    """Write every drawing as DXF, release R12, in millimetres; see `write_svg`."""
    return _write(pack, folder, "dxf", _dxf)


def _write(
    pack: Pack, folder: str | Path, ending: str, content: Callable[[Picture], bytes]
) -> list[Path]:
    files = []
    check_folder(Path(folder))
    for name, found in pack_pictures(pack):
        files.append(Path(folder) / f"{name}.{ending}")
        write_whole(files[-1], content(found))
    return files


def _svg(found: Picture) -> bytes:
    return found.svg.replace(f'font-family="{FONT}"', f'font-family="{FAMILIES}"').encode("utf-8")


def _dxf(found: Picture) -> bytes:
    return svg_to_dxf(found.svg, found.height_mm).encode("ascii")
