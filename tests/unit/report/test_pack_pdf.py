"""The pack on paper: everything of the model is there, nothing overlaps, nothing is cut off."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from contextlib import closing
from dataclasses import dataclass, replace
from functools import lru_cache
from html import unescape
from pathlib import Path

import pypdfium2 as pdfium
import pypdfium2.raw as pdfium_c
import pytest

from ringout import run
from ringout.report.pack import build_pack, pack_pdf
from ringout.tables.labels import label_size, label_sizes

ROOT = Path(__file__).resolve().parents[3]
DEMO = ROOT / "examples" / "caddy-lidder" / "corrected.yaml"
PLAIN = {"a4": "plain-a4-48", "letter": "plain-letter-44"}
POINT_MM = 25.4 / 72
LEAST_PT = 7.0  # what the house asks of print that is read in a cabinet

ONE_BUTTON = """\
cell: One button
revision: A
ambient: 10..40 °C
items:
  T1: supply-24v-5a
  F1: {part: electronic-breaker-1ch, set: 2 A}
  K1: {part: io-panel-16x16, note: robot controller}
  S1: {part: pushbutton-1no-gold, note: start}
cables:
  W0: {part: cable-2x1.5, length: 0.5 m}
  W1: {part: cable-2x1.0, length: 2 m}
  W2: {part: cable-4x0.34, length: 5 m}
joins:
  - T1:+   W0:BN  F1:in+
  - T1:-   W0:BU  F1:in-
  - F1:out W1:BN  K1-XS:1
  - F1:m   W1:BU  K1-XS:2
  - S1:13  W2:BN  K1-X1:1
  - S1:14  W2:BK  K1-X1:4
signals:
  start: {channel: K1.I1, on: S1 pressed}
"""
MARKUP = '#panic("x") *bold* _u_ $x^2$ `raw` <tag> \\ @ref // no /* c */ [a] {b} & "q" = h - l ~'
LONG = "averyverylongwordwithoutanyplacetobreakitthatmustnotrunofftheedgeofthepageoverthere"


def packed(path, paper="a4", only=None, *, checkout=False, stock=None):
    loaded, judgement = run.prove(str(path))
    made = run.checkout(loaded.cell) if checkout else None
    pack = build_pack(loaded.cell, judgement, made, problems=loaded.problems)
    size = label_size(stock or PLAIN[paper])
    return pack, pack_pdf(pack, paper=paper, size=size, only=only)


@dataclass(frozen=True)
class Char:
    """A printed character: its ink in points from the left top corner, and its font size."""

    text: str
    x0: float
    top: float
    x1: float
    bottom: float
    size: float


@dataclass(frozen=True)
class Page:
    width: float
    height: float
    chars: tuple[Char, ...]
    text: str


@lru_cache(maxsize=32)
def pages_of(content):
    """Return the pages of a document, each character with the box of its ink."""
    with closing(pdfium.PdfDocument(content)) as pdf:
        return tuple(_page(pdf[n]) for n in range(len(pdf)))


def _page(page):
    width, height = page.get_size()
    words = page.get_textpage()
    chars = []
    matrix = pdfium_c.FS_MATRIX()
    for n in range(words.count_chars()):
        if pdfium_c.FPDFText_IsGenerated(words, n) == 1:
            continue
        # a hyphen at the end of a line is handed over as a sign of its own
        text = chr(pdfium_c.FPDFText_GetUnicode(words, n)).replace("\x02", "-")
        left, bottom, right, top = words.get_charbox(n)
        pdfium_c.FPDFText_GetMatrix(words, n, matrix)
        size = pdfium_c.FPDFText_GetFontSize(words, n) * math.hypot(matrix.a, matrix.b)
        chars.append(Char(text, left, height - top, right, height - bottom, size))
    whole = words.get_text_range().replace("\x02", "-").replace("\r\n", "\n")
    return Page(width, height, tuple(chars), whole)


def squeezed(text):
    """Return text without white space: lines break where the paper ends."""
    return re.sub(r"\s", "", text)


def text_of(printed):
    """Return what is written in the order it was written, without white space."""
    return squeezed("".join(c.text for page in pages_of(printed.content) for c in page.chars))


def overlaps(chars, slack=0.2):
    """Return pairs of characters whose ink meets."""
    inked = sorted((c for c in chars if c.text.strip()), key=lambda c: c.x0)
    shelves = defaultdict(list)
    for c in inked:
        for shelf in range(int(c.top // 12), int(c.bottom // 12) + 1):
            shelves[shelf].append(c)
    found = set()
    for boxes in shelves.values():
        for k, c in enumerate(boxes):
            for other in boxes[k + 1 :]:
                if other.x0 >= c.x1 - slack:
                    break
                if min(c.bottom, other.bottom) - max(c.top, other.top) > slack:
                    found.add((c.text, other.text, round(c.x0), round(c.top)))
    return found


@pytest.fixture(scope="module")
def one(tmp_path_factory):
    path = tmp_path_factory.mktemp("one") / "one.yaml"
    path.write_text(ONE_BUTTON, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def demo():
    return packed(DEMO)


@pytest.fixture(scope="module")
def one_walked(one):
    return packed(one, "letter", checkout=True)


@pytest.fixture(params=["demo", "one_walked"])
def made(request):
    return request.getfixturevalue(request.param)


def words_of(pack):
    """Return every core, pin, label, reading and remedy of a pack, as it must be printed."""
    wanted = set()
    for end in pack.sheet.ends:
        wanted |= {end.cable, end.place, end.fit, *end.cautions}
        for row in end.rows:
            wanted |= {row.core, row.terminal, row.seen, row.label, row.carries, *row.cautions}
    for row in pack.sheet.io:
        wanted |= {row.controller, row.channel, row.signal, *row.terminals, *row.devices, row.on}
    for face in pack.sheet.faces:
        for pin in face.pins:
            wanted |= {pin.carries, pin.channel, pin.conductor, pin.far}
    for cut in pack.sheet.cut.cables:
        wanted |= {cut.cable, cut.part, f"{cut.length_m:g} m", cut.from_place, cut.to_place}
    for signal in pack.signals:
        wanted |= {signal.name, signal.channel, signal.meaning, signal.rule, *signal.without}
        for level in signal.levels:
            wanted |= {level.expect, level.red, level.black, level.margin, level.limit, level.when}
    for note in pack.notes:
        wanted |= {note.message, note.cure}
    for bill in pack.bill:
        wanted |= {bill.part, bill.title, *bill.used_as}
    for check, why in pack.not_run:
        wanted |= {check, why}
    return wanted | {label.text for label in pack.labels}


def pictures_of(pack):
    """Return every drawing of a pack."""
    single = [p for _, p in (*pack.cables, *pack.faces)]
    several = [*pack.overview, *pack.supply, *(p for s in pack.signals for p in s.pictures)]
    return [*single, *several, *(p for _, sheets in pack.maps for p in sheets)]


def not_printed(pack, printed):
    """Return what a pack holds and its paper does not show."""
    text = text_of(printed)
    missing = sorted(w for w in words_of(pack) if squeezed(w) not in text)
    for picture in pictures_of(pack):
        drawn = re.findall(r"<text [^>]*>([^<]*)</text>", picture.svg)
        missing += [w for w in drawn if squeezed(unescape(w)) not in text]
    return missing


def wrongs(printed):
    """Return where text overlaps, leaves the page, comes near its edge or is too small."""
    found = []
    for number, page in enumerate(pages_of(printed.content), 1):
        found += [(number, pair) for pair in overlaps(page.chars)]
        for c in page.chars:
            if c.size < LEAST_PT:
                found.append((number, "small", c))
            if c.x0 < 20 or c.x1 > page.width - 20 or c.top < 20 or c.bottom > page.height - 14:
                found.append((number, "edge", c))
        if not page.chars:
            found.append((number, "empty"))
    return found


def test_every_core_pin_label_and_reading_is_printed(made):
    pack, printed = made
    assert not not_printed(pack, printed)
    assert len(words_of(pack)) > 60


def test_every_cable_face_and_map_is_drawn(demo):
    pack, _ = demo
    joined = {e.cable for e in pack.sheet.ends if e.part}
    assert {n for n, _ in pack.cables} == joined == {c.cable for c in pack.sheet.cut.cables}
    assert {n for n, _ in pack.faces} == {f.place for f in pack.sheet.faces}
    assert {n for n, _ in pack.maps} == {"R1", "Y1"}  # demo cell: inline resistor and splitter


def test_every_step_of_the_checkout_is_printed(one_walked):
    pack, printed = one_walked
    text = text_of(printed)
    assert pack.procedure.steps
    for step in pack.procedure.steps:
        assert squeezed(f"{step.do}Expect:{step.expect}Else:{step.if_not}") in text


def test_a_page_names_the_steps_that_look_at_its_signal(tmp_path):
    # a signal called like a word of the instructions is not meant by them
    path = tmp_path / "clamp.yaml"
    path.write_text(ONE_BUTTON.replace("  start:", "  clamp:"), encoding="utf-8")
    pack, _ = packed(path, checkout=True)
    steps = {s.number: s for s in pack.procedure.steps}
    found = pack.signals[0].steps
    assert 0 < len(found) < len(steps)
    assert all({"clamp", "K1.I1", "K1-X1:4"} & set(steps[n].about) for n in found)
    assert any(steps[n].do.startswith("Read all inputs") for n in found)


def test_every_signal_has_a_page_and_a_bookmark(made):
    pack, printed = made
    with closing(pdfium.PdfDocument(printed.content)) as pdf:
        marks = [(b.get_title(), b.get_dest().get_index()) for b in pdf.get_toc()]
    pages = pages_of(printed.content)
    at = dict(marks)
    for signal in pack.signals:
        page = pages[at[f"{signal.name}: {signal.verdict}"]]
        for level in signal.levels:
            assert squeezed(level.expect) in squeezed(page.text)
    titles = [title for title, _ in marks]
    sections = ["Findings", "I/O list", "Supply", "Overview", "Signals", "Connections", "Faces"]
    sections += ["Cut list", "Bill of materials", "Labels", "Checkout", "Not proven"]
    positions = [titles.index(t) for t in [*sections, "Index by item", "Index by cable"]]
    assert positions == sorted(positions)


def test_nothing_overlaps_or_leaves_the_page_and_no_text_is_too_small(made):
    assert not wrongs(made[1])


def test_the_demo_pack_fits_letter_as_well():
    pack, printed = packed(DEMO, "letter")
    assert not wrongs(printed)
    assert not not_printed(pack, printed)


def test_an_overlap_would_be_seen(made):
    chars = pages_of(made[1].content)[0].chars
    first = next(c for c in chars if c.text.strip())
    beside = replace(first, x0=first.x0 + 1.0, x1=first.x1 + 1.0)
    assert overlaps([*chars, beside])


def test_index_points_to_pages_that_show_the_item(demo):
    texts = [page.text for page in pages_of(demo[1].content)]
    index = next(t for t in reversed(texts) if "Index by item" in t)
    for name in ("B6", "W16", "Q2"):
        line = re.search(rf"^{name} [^:]*: ([\d, –\n]+)", index, re.MULTILINE)
        pages = [int(p) for p in re.findall(r"\d+", line[1])]
        assert len(pages) >= 3
        for number in pages:
            assert re.search(rf"\b{name}\b", texts[number - 1]), (name, number)


def test_page_numbers_and_file_hash_stand_on_every_page(demo):
    pack, printed = demo
    pages = pages_of(printed.content)
    for number, page in enumerate(pages, 1):
        assert f"Page {number} of {len(pages)}" in page.text
        assert f"file {pack.sheet.file_hash}" in page.text


def test_fonts_are_embedded_and_the_document_is_for_keeping(demo):
    _, printed = demo
    assert printed.archive
    assert b"<pdfaid:part>2</pdfaid:part>" in printed.content  # ISO 19005-2 names itself so
    embedded = set()
    with closing(pdfium.PdfDocument(printed.content)) as pdf:
        for number in range(len(pdf)):
            for found in pdf[number].get_objects([pdfium_c.FPDF_PAGEOBJ_TEXT], max_depth=9):
                font = pdfium_c.FPDFTextObj_GetFont(found.raw)
                embedded.add(pdfium_c.FPDFFont_GetIsEmbedded(font))
    assert embedded == {1}


def test_same_file_gives_same_bytes(one):
    assert packed(one, "letter")[1].content == packed(one, "letter")[1].content


def test_a_changed_file_changes_hash_and_page(one, tmp_path):
    changed = tmp_path / "one.yaml"
    changed.write_text(ONE_BUTTON.replace("S1:14  W2:BK", "S1:14  W2:WH"), encoding="utf-8")
    before, after = packed(one), packed(changed)
    assert before[0].sheet.file_hash != after[0].sheet.file_hash
    for pack, printed in (before, after):
        assert all(pack.sheet.file_hash in page.text for page in pages_of(printed.content))
    assert squeezed("W2:BK S1:14 > K1-X1:4") in text_of(before[1])
    assert squeezed("W2:BK S1:14") not in text_of(after[1])
    assert squeezed("W2:WH S1:14 > K1-X1:4") in text_of(after[1])


def test_words_of_the_user_are_never_taken_for_markup(tmp_path):
    path = tmp_path / "odd.yaml"
    text = ONE_BUTTON.replace("cell: One button", f"cell: '{MARKUP}'")
    text = text.replace("note: start}", f"note: '{MARKUP} {LONG} ρομπότ контроллер'}}")
    text = text.replace("start:", "start_of_the_machine_with_a_very_long_name_and_more:")
    path.write_text(text, encoding="utf-8")
    pack, printed = packed(path)
    assert printed.archive
    assert pack.sheet.cell == MARKUP
    whole = text_of(printed)
    for wanted in (MARKUP, LONG, "ρομπότ контроллер"):
        assert squeezed(wanted) in whole
    for number, page in enumerate(pages_of(printed.content), 1):
        assert not overlaps(page.chars), number
        assert max(c.x1 for c in page.chars) <= page.width - 20, number


def test_text_without_a_sign_in_the_fonts_is_told(tmp_path):
    path = tmp_path / "far.yaml"
    path.write_text(ONE_BUTTON.replace("note: start}", "note: 起動}"), encoding="utf-8")
    _, printed = packed(path)
    assert not printed.archive
    assert "起" in printed.why_not
    assert "no font at hand has their signs" in pages_of(printed.content)[0].text


def test_a_wrong_cell_is_not_ready(demo):
    pack, printed = packed(DEMO.with_name("first-drawing.yaml"))
    assert demo[0].ready and not pack.ready
    pages = pages_of(printed.content)
    assert "NOT READY TO WIRE" in pages[0].text
    assert squeezed("land W2:BU on K1-X2:4") in text_of(printed)  # the cure of F201
    for number, page in enumerate(pages, 1):
        assert not overlaps(page.chars), number


def test_a_checkout_left_out_says_not_run(demo):
    shown = [p.text for p in pages_of(demo[1].content) if "\nCheckout\nNot run." in p.text]
    assert len(shown) == 1


@pytest.mark.parametrize("only", ["sheets", "checkout"])
def test_only_one_part(one, only):
    pack, printed = packed(one, only=only)
    whole = text_of(printed)
    assert (squeezed(pack.labels[0].text) in whole) == (only == "sheets")
    assert ("Billofmaterials" in whole) == (only == "sheets")
    assert "Levelsandmargins" not in whole


@pytest.mark.parametrize("size", label_sizes(), ids=lambda s: s.name)
def test_labels_stay_within_their_stock(one, size):
    pack, printed = packed(one, size.paper or "a4", "labels", stock=size.name)
    pages = pages_of(printed.content)
    assert len(pages) == -(-len(pack.labels) // (size.columns * size.rows))
    for page in pages:
        assert not overlaps(page.chars)
        for c in page.chars:
            if not c.text.strip():
                continue
            assert c.size >= LEAST_PT
            left, top = c.x0 * POINT_MM - size.left_mm, c.top * POINT_MM - size.top_mm
            column, row = left // (size.pitch_x_mm or 999), top // (size.pitch_y_mm or 999)
            right = column * size.pitch_x_mm + size.width_mm
            foot = row * size.pitch_y_mm + size.height_mm
            assert c.x1 * POINT_MM - size.left_mm <= right, (c, size.name)
            assert c.bottom * POINT_MM - size.top_mm <= foot, (c, size.name)
