"""A device on a socket in one go: what is written works, or it is said why not."""

from __future__ import annotations

import pytest

from ringout.cell.catalogue import find_part, part_names
from ringout.cell.resolve import resolve_cell
from ringout.cellfile import parse_cell_text
from ringout.cellfile.write import EditError, rewrite
from ringout.findings.judge import judge
from ringout.web.landing import GIVERS, TAKERS, free_places, land
from ringout.web.pages.start import new_text

BASIS = new_text("First cell", "10", "40", basis=True)


def cell_of(text):
    made, problems = parse_cell_text(text, "cell.yaml")
    assert not problems
    cell, more = resolve_cell(made, folder="")
    assert not more, more
    return cell


CELL = cell_of(BASIS)
DEVICES = [p for n in part_names("") if (p := find_part(n, None, "")).family in (*GIVERS, *TAKERS)]
# Their signal is no plain contact or output between +24 V and an input, or they have bare ends.
BY_HAND = {"capacitive-2wire-no", "door-switch-magnetic-led", "inductive-namur"}
# An NPN output draws current in; an input for PNP never sees it (iec-61131-2, sinking inputs).
WRONG_KIND = {"inductive-npn-nc", "inductive-npn-no", "photo-npn-pull-up", "pressure-npn-no-m8"}


def asked(part, place="", **more):
    place = place or ("K1-X11" if part.family in TAKERS else "K1-X1")
    return {"part": part.name, "place": place, "length": "5", "note": "Part in place", **more}


@pytest.mark.parametrize("part", DEVICES, ids=lambda p: p.name)
def test_every_device_is_landed_so_that_it_works(part):
    if part.name in BY_HAND:
        with pytest.raises(EditError, match="use the single forms"):
            land(CELL, asked(part))
        return
    edits, _ = land(CELL, asked(part))
    found = judge(cell_of(rewrite(BASIS, edits)))
    (signal,) = found.signals
    assert signal.name == "part_in_place"
    if part.name in WRONG_KIND:
        assert signal.verdict == "fails"
    elif part.family in GIVERS:
        assert signal.verdict in ("works", "marginal")
    else:  # a load may be too much for the output, or bare: that is for the judgement to say
        assert not {f.code for f in found.findings} & {"F201", "F203"}  # no short, not reversed


def test_a_sensor_reaches_the_channel_of_its_own_output_pin():
    """A break output stands on pin 2 (iec-60947-5-2), which is the second channel of a socket."""
    for name, channel in (("inductive-pnp-no", "K1.I1"), ("inductive-pnp-nc", "K1.I9")):
        edits, text = land(CELL, asked(find_part(name, None, "")))
        assert text.endswith(f"part_in_place on {channel}")
        assert cell_of(rewrite(BASIS, edits)).signals["part_in_place"].channel_name == channel


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ({"part": ""}, "the device is missing"),
        ({"place": "K1-X99"}, "no longer free"),
        ({"length": ""}, "length of the cable"),
        ({"place": "K1-X11"}, "is the output K1.O1, not an input"),
        ({"part": "lamp-led-24v"}, "is the input K1.I1, not an output"),
    ],
)
def test_what_cannot_be_is_said(words, why):
    with pytest.raises(EditError, match=why):
        land(CELL, asked(find_part("pushbutton-1no", None, "")) | words)


def test_names_are_free_and_a_used_socket_is_no_longer_offered():
    button = find_part("pushbutton-1no", None, "")
    text = rewrite(BASIS, land(CELL, asked(button))[0])
    again = cell_of(text)
    assert "K1-X1" not in [p.name for p in free_places(again)]
    more = cell_of(rewrite(text, land(again, asked(button, "K1-X2"))[0]))
    assert [*more.signals] == ["part_in_place", "part_in_place_2"]
    assert {"S1", "S2"} <= set(more.items)
    odd = land(CELL, asked(button, note="24 V – läuft!"))[0]
    assert [*cell_of(rewrite(BASIS, odd)).signals] == ["s_24_v_lauft"]
