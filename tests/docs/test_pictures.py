"""The pictures of the pages are what the program draws today."""

from __future__ import annotations

import re

import numpy as np
import pytest

from tests.contract.house import ROOT

PICTURES = ROOT / "docs" / "pictures"
IMAGE = re.compile(r"!\[([^\]]*)\]\(([^)\s]+)\)")


def test_drawn_pictures_are_up_to_date(make_pictures, tmp_path):
    stale = make_pictures.stale_drawn(tmp_path)
    assert not [path.name for path in stale], "run `make pictures`"


@pytest.mark.slow
def test_printed_pictures_are_up_to_date(make_pictures, tmp_path):
    stale = make_pictures.stale_printed(tmp_path)
    assert not [path.name for path in stale], "run `make pictures`"


def test_every_picture_is_made_by_the_tool_and_shown_on_a_page(make_pictures):
    made = {f"{picture.name}.svg" for picture in make_pictures.DRAWN}
    made |= {f"{picture.name}.png" for picture in make_pictures.PRINTED}
    assert {path.name for path in PICTURES.iterdir()} == made
    shown = set()
    for page in [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]:
        for words, target in IMAGE.findall(page.read_text(encoding="utf-8")):
            path = (page.parent / target).resolve()
            assert path.exists(), f"{page.name}: {target}"
            assert len(words.split()) >= 3, f"{page.name}: {target} needs words for who sees none"
            shown.add(path.name)
    assert made == shown


def test_png_files_come_back_as_written(make_pictures):
    pixels = np.arange(4 * 5 * 3, dtype=np.uint8).reshape(4, 5, 3)
    data = make_pictures.write_png(pixels)
    assert (make_pictures.read_png(data) == pixels).all()
    assert make_pictures.look_alike(data, data)
    faint = make_pictures.write_png(pixels + np.uint8(2))
    assert make_pictures.look_alike(data, faint)
    other = make_pictures.write_png(pixels + np.uint8(60))
    assert not make_pictures.look_alike(data, other)
    assert not make_pictures.look_alike(data, make_pictures.write_png(pixels[:, :4]))
