"""The pack's drawings as files, its labels and its command."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from ringout import run
from ringout.cli.pack import pack as command
from ringout.report.drawing.metrics import text_width_mm
from ringout.report.pack import build_pack
from ringout.report.pack.data import printable
from ringout.report.pack.dxf import svg_to_dxf
from ringout.report.pack.files import write_dxf, write_svg
from ringout.report.pack.labels import EDGE_MM, TEXT_MM, code_svg, lay_out_label
from ringout.report.pack.model import Label
from ringout.report.pack.svg_lines import Circle, Line, Words, svg_shapes
from ringout.tables.labels import label_size, label_sizes

DEMO = Path(__file__).resolve().parents[3] / "examples" / "caddy-lidder" / "corrected.yaml"
NS = 'xmlns="http://www.w3.org/2000/svg"'


@pytest.fixture(scope="module")
def demo():
    loaded, judgement = run.prove(str(DEMO), remedies=False)
    return build_pack(loaded.cell, judgement)


def pairs_of(text):
    lines = text.splitlines()
    return [(int(c), v) for c, v in zip(lines[::2], lines[1::2], strict=True)]


def test_dxf_holds_every_word_of_the_drawing_within_its_frame(demo, tmp_path):
    files = write_dxf(demo, tmp_path)
    assert {f"{name}.dxf" for name in ("start_lidding", "light_amber")} <= {f.name for f in files}
    drawn = demo.signals[0].pictures[0]
    pairs = pairs_of((tmp_path / "start_lidding.dxf").read_text("ascii"))
    assert pairs[0] == (0, "SECTION") and pairs[-1] == (0, "EOF")
    assert (1, "AC1009") in pairs  # R12 by the published DXF reference
    texts = [v for c, v in pairs if c == 1][1:]
    wanted = [s.text for s in svg_shapes(drawn.svg) if isinstance(s, Words)]
    plain = [re.sub(r"\\U\+([0-9A-F]{4})", lambda m: chr(int(m[1], 16)), t) for t in texts]
    assert plain == [" ".join(t.split()) for t in wanted]
    assert {"T1", "F1", "K1", "S1", "W1:BN"} <= set(plain)
    entities = pairs[pairs.index((2, "ENTITIES")) :]
    assert all(-1 <= float(v) <= drawn.width_mm + 1 for c, v in entities if c in (10, 11))
    assert all(-1 <= float(v) <= drawn.height_mm + 1 for c, v in entities if c in (20, 21))


def test_svg_files_have_names_of_their_own(demo, tmp_path):
    files = write_svg(demo, tmp_path)
    assert len({f.name.lower() for f in files}) == len(files)
    count = len(demo.overview) + len(demo.supply) + sum(len(s.pictures) for s in demo.signals)
    count += len(demo.cables) + len(demo.faces) + sum(len(p) for _, p in demo.maps)
    assert len(files) == count
    assert all(f.read_text("utf-8").startswith("<svg ") for f in files)


def test_arcs_lie_on_their_circle():
    # by hand: from (10, 0) to (0, 10) about the origin, sweep as clocks go with y downwards
    svg = f'<svg {NS}><path stroke="#000" d="M10 0A10 10 0 0 1 0 10"/></svg>'
    (line,) = svg_shapes(svg)
    assert isinstance(line, Line)
    assert line.points[-1] == (0.0, 10.0)
    assert all(math.hypot(x, y) == pytest.approx(10) for x, y in line.points)
    assert all(x >= -1e-9 and y >= -1e-9 for x, y in line.points)


def test_large_arcs_go_the_long_way():
    svg = f'<svg {NS}><path stroke="#000" d="M10 0a10 10 0 1 1 -10 -10"/></svg>'
    (line,) = svg_shapes(svg)
    assert line.points[-1] == pytest.approx((0.0, -10.0))
    assert min(x for x, _ in line.points) == pytest.approx(-10, abs=0.2)


def test_turned_and_moved_shapes_come_out_where_they_are_seen():
    svg = (
        f'<svg {NS}><g transform="translate(10 20)"><circle cx="1" cy="2" r="3" stroke="#000"/>'
        '<path stroke="#000" transform="rotate(90 1 1)" d="M1 1h2"/></g></svg>'
    )
    circle, line = svg_shapes(svg)
    assert circle == Circle((11.0, 22.0), 3.0)
    assert line.points[0] == pytest.approx((11.0, 21.0))
    assert line.points[1] == pytest.approx((11.0, 23.0))


@given(st.text(min_size=1, max_size=40))
def test_any_text_survives_in_dxf_as_one_line(text):
    from html import escape

    shown = "".join(c for c in text if c >= " " and c not in "\ufffe\uffff")
    if not shown.isprintable():
        return
    svg = f'<svg {NS}><text x="1" y="2" font-size="2.5">{escape(shown)}</text></svg>'
    dxf = svg_to_dxf(svg, 10.0)
    pairs = pairs_of(dxf)
    assert dxf.isascii()
    assert sum(v == "TEXT" for c, v in pairs if c == 0) == 1


names = st.text(alphabet="ABKSWX0123456789:-_", min_size=1, max_size=40)


@given(names, names, names, st.sampled_from(label_sizes()))
def test_lines_of_a_label_fit_or_it_says_that_they_do_not(name, here, there, size):
    text = f"{name} {here} > {there}"
    laid = lay_out_label(Label(text, name, here, there, f"{name}/{here}", "W1", "S1"), size)
    room_mm = size.width_mm - 2 * EDGE_MM - (laid.code_mm + EDGE_MM if laid.code else 0)
    if laid.whole:
        joined = "".join(laid.lines).replace(" ", "")
        assert joined == text.replace(" ", "")
        for k, line in enumerate(laid.lines):
            assert text_width_mm(line, TEXT_MM, bold=k == 0) <= room_mm + 1e-9
    assert laid.code_mm <= size.height_mm


def test_label_codes_have_a_quiet_zone_and_three_finders():
    svg, side = code_svg("W1:BN/S1:13/9CE9C4")
    dark = set()
    for x, y, run_ in re.findall(r"M(\d+) (\d+)h(\d+)v1", svg):
        dark |= {(int(x) + k, int(y)) for k in range(int(run_))}
    assert min(min(p) for p in dark) == 2
    assert max(max(p) for p in dark) == side - 3
    # ISO/IEC 18004: a finder is a 7 by 7 frame; three corners have one, the fourth has none
    last = side - 9
    for left, top in ((2, 2), (last, 2), (2, last)):
        assert all((left + k, top) in dark and (left, top + k) in dark for k in range(7))
        assert all((left + k, top + 1) not in dark for k in range(1, 6))
    assert not all((last + k, side - 3) in dark for k in range(7))


def test_label_sheets_fit_their_paper():
    papers = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; common practice
    for size in label_sizes():
        if size.kind == "roll":
            assert (size.columns, size.rows, size.left_mm, size.top_mm) == (1, 1, 0, 0)
            continue
        wide, high = papers[size.paper]
        assert size.left_mm + (size.columns - 1) * size.pitch_x_mm + size.width_mm <= wide + 0.01
        assert size.top_mm + (size.rows - 1) * size.pitch_y_mm + size.height_mm <= high + 0.01
        assert size.pitch_x_mm >= size.width_mm and size.pitch_y_mm >= size.height_mm


def test_control_characters_become_spaces():
    assert printable({"a": ["x\x00y\u2028z", 3, None]}) == {"a": ["x y z", 3, None]}


def test_unknown_stock_is_named():
    with pytest.raises(KeyError, match="roll-12x40"):
        label_size("roll-12x4")


def invoke(*words):
    return CliRunner().invoke(command, [str(w) for w in words])


def test_command_writes_pdf_and_drawings(tmp_path):
    out = tmp_path / "pack.pdf"
    words = ("--no-checkout", "--json", "--svg", tmp_path / "svg", "--dxf", tmp_path / "dxf")
    done = invoke(DEMO, "-o", out, *words)
    assert done.exit_code == 0, done.output
    answer = json.loads(done.stdout)
    assert out.read_bytes().startswith(b"%PDF-")
    assert answer["archive"] is True and answer["ready"] is True
    assert len(answer["signals"]) == 19  # as many as the file names
    assert answer["not_run"] == [{"check": "checkout", "why": "it was not asked for"}]
    assert (tmp_path / "svg" / "start_lidding.svg").exists()
    assert (tmp_path / "dxf" / "start_lidding.dxf").exists()


def test_command_says_that_a_cell_has_errors(tmp_path):
    wrong = DEMO.with_name("first-drawing.yaml")
    done = invoke(wrong, "-o", tmp_path / "p.pdf", "--only", "sheets", "--json")
    assert done.exit_code == 1
    assert json.loads(done.stdout)["ready"] is False


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "name the PDF"),
        (("-o", "x.pdf", "--only", "labels", "--stock", "rol-12x40"), "did you mean roll-12x40"),
        (("-o", "x.pdf", "--only", "labels", "--stock", "sheet-letter-80"), "--paper letter"),
    ],
)
def test_wrong_words_are_answered(words, told):
    done = invoke(DEMO, *words)
    assert done.exit_code == 2
    assert told in done.output


def test_stock_is_listed():
    done = invoke(DEMO, "--stock", "list")
    assert done.exit_code == 0
    assert all(size.name in done.output for size in label_sizes())


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    done = invoke(DEMO, "-o", tmp_path / "file" / "p.pdf", "--only", "labels")
    assert done.exit_code == 2
    assert "cannot write" in done.output


def test_an_unreadable_cell_is_told(tmp_path):
    done = invoke(tmp_path / "none.yaml", "-o", tmp_path / "p.pdf", "--json")
    assert done.exit_code == 2
