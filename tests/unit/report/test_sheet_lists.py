"""Cut list, I/O list and the words of the sheet: sums that fit the ends, channels from data."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.cell.resolve import resolve_cell
from ringout.cellfile import parse_cell_text, read_cell_text
from ringout.report.sheet import build_sheet
from ringout.report.sheet_make import colour_words, inch_words
from ringout.report.sheet_model import FIELD_PLUG
from tests.contract.house import ROOT

EXAMPLES = ROOT / "examples" / "caddy-lidder"
HEAD = """
cell: bench
revision: A
items:
  K1: {part: io-panel-16x16, note: panel}
  S1: {part: pushbutton-1no-led, note: start}
  S2: {part: pushbutton-1no, note: stop}
  B1: {part: inductive-pnp-no, note: seen}
"""


def cell_of(text):
    found, problems = parse_cell_text(text, "bench.yaml")
    assert found is not None and not problems, problems
    cell, more = resolve_cell(found)
    assert not more, [p.message for p in more]
    return cell


def sheet_of(body, head=HEAD):
    return build_sheet(cell_of(head + body))


def example(name):
    found, problems = read_cell_text(EXAMPLES / name)
    assert found is not None and not problems
    return resolve_cell(found, folder=str(EXAMPLES))[0]


@pytest.fixture(scope="module", params=["corrected.yaml", "first-drawing.yaml"])
def demo(request):
    cell = example(request.param)
    return cell, build_sheet(cell)


def rows_of(sheet):
    return [(e, r) for e in sheet.ends for r in e.rows]


# -- cut list and I/O list -----------------------------------------------------------------


def test_the_cut_list_adds_up_what_the_ends_need(demo):
    cell, sheet = demo
    rows = rows_of(sheet)
    assert sum(f.count for f in sheet.cut.ferrules) == sum(r.ferrule is not None for _, r in rows)
    total = sum(c.length_m.typ for c in cell.cables.values())
    assert sum(m.length_m for m in sheet.cut.metres) == pytest.approx(total)
    assert {c.cable for c in sheet.cut.cables} == set(cell.cables)
    places = [p for plug in sheet.cut.plugs for p in plug.places]
    assert len(places) == len(set(places)) == sum(p.count for p in sheet.cut.plugs)
    assert set(places) == {e.place for e in sheet.ends if e.work == FIELD_PLUG}


def test_the_io_list_follows_the_offset_map_of_the_demo_panel():
    sheet = build_sheet(example("corrected.yaml"))
    io = {f"{r.controller}.{r.channel}": r for r in sheet.io}
    assert len(io) == 16 + 16 + 8  # two controllers of the demo cell
    # Demo cell: on socket k pin 4 is channel k and pin 2 is channel k + 8.
    for k in range(1, 9):
        assert io[f"K1.I{k}"].terminals == (f"K1-X{k}:4",)
        assert io[f"K1.I{k + 8}"].terminals == (f"K1-X{k}:2",)
    # Demo cell, block K2: pin 4 is channel 2k - 1, pin 2 is channel 2k.
    assert [io[f"K2.I{n}"].terminals for n in (1, 2, 3)] == [
        ("K2-X1:4",),
        ("K2-X1:2",),
        ("K2-X2:4",),
    ]
    # Leg B of the splitter goes to pin 2: the closed clamp is channel 5 + 8.
    closed = io["K1.I13"]
    assert (closed.signal, closed.devices) == ("clamp_closed", ("B5-X:4",))
    assert (closed.cable, closed.core, closed.on) == ("W14", "WH", "B5 target")
    assert closed.meaning == "clamp closed"
    assert (io["K1.I4"].status, io["K1.I4"].signal) == ("free", "")
    # The resistor in line hands the channel on; the cable is the one behind it.
    assert (io["K2.I3"].cable, io["K2.I3"].devices) == ("W16", ("B6-X:4",))


def test_a_named_channel_without_a_device_and_a_device_without_a_name_are_told():
    sheet = sheet_of("""
cables:
  W1: {part: cable-4x0.34, length: 6 m}
joins:
  - S1:14  W1:BK  K1-X1:4
signals:
  lid_on_cup: {channel: K1.I4, on: S1 pressed}
""")
    status = {r.channel: r.status for r in sheet.io}
    assert (status["I4"], status["I1"], status["I2"]) == ("not joined", "no name", "free")


def test_a_dead_short_is_told_on_the_pin_it_is_on():
    sheet = build_sheet(example("first-drawing.yaml"))
    face = next(f for f in sheet.faces if f.place == "K1-X2")
    # Mistake 1 of the demo cell lies across a contact: both rails stay apart on paper, and the
    # signal pin is free.
    assert {p.pin: p.carries for p in face.pins}["1"] == "+24 V"
    assert {p.pin: p.far for p in face.pins}["4"] == ""


# -- small parts ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length_mm", "words"),
    [
        (6.35, "0.25 in, 1/4"),
        (10, "0.39 in, 13/32"),
        (25.4, "1.00 in, 1"),
        (38.1, "1.50 in, 1 1/2"),
    ],
)  # 1 in is 25.4 mm by definition
def test_inches(length_mm, words):
    assert inch_words(length_mm) == words


@given(st.floats(min_value=0.5, max_value=500))
def test_the_inch_fraction_is_within_a_sixty_fourth(length_mm):
    words = inch_words(length_mm).split(", ")[1].split()
    value = sum(
        float(w) if "/" not in w else float(w.split("/")[0]) / float(w.split("/")[1]) for w in words
    )
    assert abs(value - length_mm / 25.4) <= max(1 / 64 + 1e-9, 1 / 32 - length_mm / 25.4)


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("BN", "brown"),
        ("GNYE", "green-yellow"),
        ("GYPK", "grey-pink"),
        ("7", "number 7"),
        ("odd", "odd"),
    ],
)  # IEC 60757; two-coloured cores after DIN 47100
def test_colours_in_words(code, words):
    assert colour_words(code) == words


def test_the_us_market_reads_inches_and_pound_inches():
    from ringout.report.sheet import sheet_text

    text = "\n".join(
        sheet_text(
            sheet_of(
                """
cables:
  W1: {part: cable-4x0.34, length: 6 m}
joins:
  - S1:13  W1:BN  K1-X1:1
""",
                "house: {market: us}" + HEAD,
            )
        )
    )
    # 0.5 Nm / 0.112985 Nm per lb-in = 4.4 lb-in
    assert "10 mm (0.39 in, 13/32)" in text and "0.5 Nm (4.4 lb-in)" in text
