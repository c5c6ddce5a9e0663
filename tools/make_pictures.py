#!/usr/bin/env python3
"""Make the pictures of the pages with the program's own commands.

`python tools/make_pictures.py` writes docs/pictures, `--check` only says which are out of date.
SVG is what a command wrote. PNG is a page of a wiring pack that a command wrote; it counts as up to
date while it looks the same, since another version of the renderer may shade edges otherwise.
"""

from __future__ import annotations

import argparse
import inspect
import struct
import sys
import tempfile
import zlib
from collections.abc import Callable
from contextlib import chdir
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parent.parent
PICTURES = ROOT / "docs" / "pictures"
FIRST = "examples/caddy-lidder/first-drawing.yaml"
CORRECTED = "examples/caddy-lidder/corrected.yaml"
PIXELS_PER_POINT = 1.2
SAME_SHADE = 24  # of 255: what antialiasing may differ by
SAME_SHARE = 0.002  # of the pixels that may differ by more
PNG_HEAD = b"\x89PNG\r\n\x1a\n"

Pixels = NDArray[np.uint8]


@dataclass(frozen=True)
class Drawn:
    """A picture that a command writes: its words before `-o`, and which file of a folder it is."""

    name: str
    words: tuple[str, ...]
    option: str = "-o"
    of_folder: str | None = None


@dataclass(frozen=True)
class Printed:
    """A page of a pack: the words of its command, and the bookmark under which the page stands."""

    name: str
    words: tuple[str, ...]
    bookmark: str | None


DRAWN = (
    Drawn("magazine-low", ("draw", CORRECTED, "magazine_low", "--while", "B6 target")),
    Drawn("magazine-low-first", ("draw", FIRST, "magazine_low", "--while", "B6 clear")),
    Drawn("finish-cycle-short", ("draw", FIRST, "finish_cycle", "--while", "S2 released")),
    Drawn("relay-reversed", ("draw", FIRST, "conveyor_run")),
    Drawn("start-lidding", ("draw", CORRECTED, "start_lidding")),
    Drawn("lid-on-cup-open", ("draw", CORRECTED, "lid_on_cup", "--fault", "open W12:BK")),
    Drawn("supply", ("draw", CORRECTED, "--what", "supply")),
    Drawn("overview", ("draw", CORRECTED, "--what", "cell"), of_folder="overview-2.svg"),
    Drawn("face-k1-x1", ("sheet", CORRECTED), option="--faces", of_folder="K1-X1.svg"),
)
PACK = ("pack", CORRECTED)
PRINTED = (
    Printed("pack-cover", PACK, None),
    Printed("pack-signal", PACK, "magazine_low"),
    Printed("pack-checkout", PACK, "Dead"),
)


def run(*words: str) -> None:
    """Run a command of the program in this process; stop where it does not do what is asked."""
    from click.testing import CliRunner

    from ringout.cli.main import cli

    with chdir(ROOT):
        result = CliRunner().invoke(cli, list(words))
    if result.exit_code or result.exception:
        sys.exit(f"ringout {' '.join(words)}: exit code {result.exit_code}\n{result.output}")


def make_drawn(picture: Drawn, folder: Path) -> bytes:
    """Return the SVG that the command of a picture writes."""
    target = folder / picture.name
    target = target if picture.of_folder else target.with_suffix(".svg")
    if picture.of_folder:
        target.mkdir()
    run(*picture.words, picture.option, str(target))
    wrote = target / picture.of_folder if picture.of_folder else target
    return wrote.read_bytes()


def make_printed(wanted: tuple[Printed, ...], folder: Path) -> dict[str, bytes]:
    """Return pages of packs as PNG, by name; each pack is made once."""
    import pypdfium2

    found: dict[str, bytes] = {}
    for number, words in enumerate(dict.fromkeys(picture.words for picture in wanted)):
        target = folder / f"pack-{number}.pdf"
        run(*words, "-o", str(target))
        pdf = pypdfium2.PdfDocument(target)
        marks = [(mark.get_title(), mark.get_dest()) for mark in pdf.get_toc()]
        for picture in (picture for picture in wanted if picture.words == words):
            at = [
                dest.get_index()
                for title, dest in marks
                if dest and picture.bookmark and title.startswith(picture.bookmark)
            ]
            if picture.bookmark and not at:
                sys.exit(f"no bookmark of the pack begins with {picture.bookmark}")
            bitmap = pdf[at[0] if at else 0].render(scale=PIXELS_PER_POINT, grayscale=False)
            found[picture.name] = write_png(bitmap.to_numpy()[:, :, 2::-1])
            bitmap.close()
        pdf.close()
    return found


def write_png(pixels: Pixels) -> bytes:
    """Return (height, width, 3) red, green, blue as a PNG file."""
    height, width, _ = pixels.shape
    rows = np.concatenate([np.zeros((height, 1), np.uint8), pixels.reshape(height, -1)], axis=1)

    def part(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(rows.tobytes(), 9)
    return PNG_HEAD + part(b"IHDR", head) + part(b"IDAT", body) + part(b"IEND", b"")


def read_png(data: bytes) -> Pixels:
    """Return the pixels of a PNG file that `write_png` wrote."""
    width, height = struct.unpack(">II", data[16:24])
    size = struct.unpack(">I", data[33:37])[0]
    rows = np.frombuffer(zlib.decompress(data[41 : 41 + size]), np.uint8)
    return rows.reshape(height, 1 + 3 * width)[:, 1:].reshape(height, width, 3)


def look_alike(one: bytes, other: bytes) -> bool:
    """Return whether two PNG files of ours show the same."""
    if one == other:
        return True
    a, b = read_png(one).astype(np.int16), read_png(other).astype(np.int16)
    if a.shape != b.shape:
        return False
    return float((np.abs(a - b).max(axis=2) > SAME_SHADE).mean()) <= SAME_SHARE


def outdated(path: Path, data: bytes, same: Callable[[bytes, bytes], bool]) -> bool:
    """Return whether a picture is missing or shows something else than it should."""
    return not path.exists() or not same(path.read_bytes(), data)


def stale_drawn(folder: Path) -> dict[Path, bytes]:
    """Return what SVG pictures should be where they are not."""
    made = {PICTURES / f"{picture.name}.svg": make_drawn(picture, folder) for picture in DRAWN}
    return {path: data for path, data in made.items() if outdated(path, data, bytes.__eq__)}


def stale_printed(folder: Path) -> dict[Path, bytes]:
    """Return what PNG pictures should be where they are not."""
    made = make_printed(PRINTED, folder)
    paths = {PICTURES / f"{name}.png": data for name, data in made.items()}
    return {path: data for path, data in paths.items() if outdated(path, data, look_alike)}


def main() -> int:
    """Write the pictures, or with --check say which are out of date."""
    parser = argparse.ArgumentParser(
        description=inspect.getdoc(sys.modules[__name__]),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--check", action="store_true", help="write nothing")
    check: bool = parser.parse_args().check
    with tempfile.TemporaryDirectory() as name:
        stale = stale_drawn(Path(name)) | stale_printed(Path(name))
    if not check:
        PICTURES.mkdir(parents=True, exist_ok=True)
        for path, data in stale.items():
            path.write_bytes(data)
    if stale:
        print(("out of date: " if check else "written: ") + ", ".join(p.name for p in stale))
    return 1 if check and stale else 0


if __name__ == "__main__":
    sys.exit(main())
