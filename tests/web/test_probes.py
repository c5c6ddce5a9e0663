"""Pictures of where the probes go: the letter of a probe covers nothing that must be read."""

from __future__ import annotations

import re

import pytest

from ringout import run
from ringout.cell.model import Terminal
from ringout.web.probes import probe_pictures
from tests.web.conftest import DEMO

TEXT = re.compile(r'<text x="([-\d.]+)" y="([-\d.]+)"[^>]*>([^<]*)')
TAG = re.compile(
    r'<g class="held.*?(?:cx|x)="[-\d.]+".*?<text x="([-\d.]+)" y="([-\d.]+)"[^>]*>([RB])'
)
HALF_MM = 2.6  # of the tag


@pytest.mark.parametrize("socket", ["K1-X1", "B1-X", "B3-X", "K1-XS", "S1-"])
def test_the_letter_of_a_probe_covers_no_number(socket):
    cell = run.load(str(DEMO)).cell
    item, _, name = socket.partition("-")
    pins = list(cell.items[item].part.sockets[name].pins) if name else ["13", "14", "X1", "X2"]
    for one, two in zip(pins, pins[1:] + pins[:1], strict=True):
        for svg in probe_pictures(cell, Terminal(item, name, one), Terminal(item, name, two)):
            tags = [(float(x), float(y) - 1.4, t) for x, y, t in TAG.findall(svg)]
            assert sorted(t for *_, t in tags) == ["B", "R"]
            plain = re.sub(r'<g class="held.*?</g>', "", svg)
            for x, y, text in TEXT.findall(plain):
                for tag_x, tag_y, tag in tags:
                    near_x, near_y = abs(float(x) - tag_x), abs(float(y) - 0.8 - tag_y)
                    assert near_x > HALF_MM or near_y > HALF_MM, (one, two, tag, text)
