"""Text, CSV, XLSX and JSON show the same rows, fit their paper and carry no formula."""

from __future__ import annotations

import csv
import json
import re
import stat
from dataclasses import replace

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.cell.resolve import resolve_cell
from ringout.cellfile import read_cell_text
from ringout.report.sheet import build_sheet, sheet_answer, sheet_text, write_csv, write_xlsx
from ringout.report.sheet_files import FORMULA_STARTS, guarded, write_whole
from ringout.report.sheet_layout import beside, columns, wrapped
from ringout.report.sheet_tables import all_tables
from tests.contract.house import ROOT

EXAMPLES = ROOT / "examples" / "caddy-lidder"
XLSX_NAMES = {
    "connections": "Connections",
    "cut_list": "Cut list",
    "io": "I-O list",
    "faces": "Faces",
}


@pytest.fixture(scope="module")
def sheet():
    found, problems = read_cell_text(EXAMPLES / "corrected.yaml")
    assert found is not None and not problems
    return build_sheet(resolve_cell(found, folder=str(EXAMPLES))[0])


def as_cell(value):
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return guarded(value) if isinstance(value, str) else f"{value:g}"


def read_csv(path):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


# -- CSV and XLSX --------------------------------------------------------------------------


def test_one_csv_holds_every_line_of_every_list(sheet, tmp_path):
    (path,) = write_csv(sheet, tmp_path / "cell.csv")
    lines = read_csv(path)
    for name, (keys, records) in all_tables(sheet).items():
        mine = [line for line in lines if line["list"] == name]
        assert records
        assert [{k: line[k] for k in keys} for line in mine] == [
            {k: as_cell(r.get(k)) for k in keys} for r in records
        ]


def test_a_folder_gets_one_csv_for_each_list(sheet, tmp_path):
    files = write_csv(sheet, tmp_path / "lists")
    assert sorted(f.name for f in files) == [
        "connections.csv",
        "cut_list.csv",
        "faces.csv",
        "io.csv",
    ]
    tables = all_tables(sheet)
    for file in files:
        keys, records = tables[file.stem]
        assert read_csv(file) == [{k: as_cell(r.get(k)) for k in keys} for r in records]


def test_the_workbook_holds_the_same_rows_and_is_set_up_to_print(sheet, tmp_path):
    book = openpyxl.load_workbook(write_xlsx(sheet, tmp_path / "cell.xlsx"))
    assert book.sheetnames == list(XLSX_NAMES.values())
    for name, (keys, records) in all_tables(sheet).items():
        page = book[XLSX_NAMES[name]]
        head, *lines = page.iter_rows(values_only=True)
        assert list(head) == [k.replace("_", " ") for k in keys]
        got = [[as_cell(v) if not isinstance(v, str) else v for v in line] for line in lines]
        assert got == [[as_cell(r.get(k)) for k in keys] for r in records]
        assert page.freeze_panes == "A2"
        assert page.page_setup.orientation == "landscape"
        assert int(page.page_setup.paperSize) == 9  # A4 in the file format's own list
        assert page.page_setup.fitToHeight == 0 and page.sheet_properties.pageSetUpPr.fitToPage
        assert page.print_title_rows == "$1:$1"
        header = page.oddHeader.left.text
        assert "Caddy lidder" in header and "revision B" in header and sheet.file_hash in header
    assert len(sheet.file_hash) == 12


def test_numbers_stay_numbers_in_the_workbook(sheet, tmp_path):
    page = openpyxl.load_workbook(write_xlsx(sheet, tmp_path / "c.xlsx"))["Connections"]
    head = [c.value for c in page[1]]
    assert isinstance(page.cell(2, head.index("strip mm") + 1).value, int | float)


@pytest.mark.parametrize("start", FORMULA_STARTS)
def test_no_cell_starts_like_a_formula(sheet, tmp_path, start):
    evil = f"{start}HYPERLINK(A1)"
    ends = tuple(replace(e, note=evil, cable=evil) for e in sheet.ends)
    bad = replace(sheet, ends=ends, cell=evil, io=tuple(replace(r, signal=evil) for r in sheet.io))
    (path,) = write_csv(bad, tmp_path / "bad.csv")
    with path.open(encoding="utf-8-sig", newline="") as file:
        cells = [cell for line in csv.reader(file) for cell in line]
    assert f"'{evil}" in cells
    suspect = [c for c in cells if c.startswith(FORMULA_STARTS)]
    assert all(re.fullmatch(r"-\d+(\.\d+)?", c) for c in suspect)  # places in mm, plain numbers
    book = openpyxl.load_workbook(write_xlsx(bad, tmp_path / "bad.xlsx"))
    for page in book:
        for line in page.iter_rows():
            for cell in line:
                assert cell.data_type != "f"
                assert not (isinstance(cell.value, str) and cell.value.startswith(FORMULA_STARTS))


@given(st.text())
def test_guarded_text_is_harmless_and_loses_nothing(text):
    safe = guarded(text)
    assert not safe.startswith(FORMULA_STARTS)
    assert safe.removeprefix("'") == text or safe == text


def test_the_same_sheet_gives_the_same_bytes(sheet, tmp_path):
    a = write_xlsx(sheet, tmp_path / "a.xlsx").read_bytes()
    assert write_xlsx(sheet, tmp_path / "b.xlsx").read_bytes() == a


def test_an_ampersand_in_the_name_stays_one_on_paper(sheet, tmp_path):
    odd = replace(sheet, cell="Tea & caddy")
    book = openpyxl.load_workbook(write_xlsx(odd, tmp_path / "odd.xlsx"))
    assert "Tea && caddy" in book["Connections"].oddHeader.left.text


# -- writing whole -------------------------------------------------------------------------


def test_a_failed_write_leaves_the_old_file_and_nothing_beside(tmp_path, monkeypatch):
    target = tmp_path / "cell.csv"
    target.write_text("old")

    def full(self, content):
        with self.open("wb") as file:
            file.write(content[:3])
        raise OSError("no space left")

    monkeypatch.setattr("pathlib.Path.write_bytes", full)
    with pytest.raises(OSError, match="no space"):
        write_whole(target, b"new content")
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["cell.csv"]


def test_a_written_file_can_be_read_by_others_as_usual(tmp_path):
    plain, mine = tmp_path / "plain", tmp_path / "mine"
    plain.write_bytes(b"")
    write_whole(mine, b"x")
    assert stat.S_IMODE(mine.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)


# -- JSON ----------------------------------------------------------------------------------


def test_the_answer_is_plain_data_with_its_promised_keys(sheet):
    answer = json.loads(json.dumps(sheet_answer(sheet), allow_nan=False))
    assert {"connections", "cut_list", "faces", "io", "cell", "revision", "file_hash"} <= set(
        answer
    )
    row = answer["connections"][0]
    assert {
        "cable",
        "end",
        "place",
        "terminal",
        "core",
        "area_mm2",
        "awg",
        "ferrule_colour",
        "ferrule_series",
        "strip_mm",
        "torque_nm",
        "label",
        "far_label",
    } <= set(row)
    assert len(answer["connections"]) == sum(len(e.rows) for e in sheet.ends)
    assert len(answer["io"]) == len(sheet.io)
    assert [f["place"] for f in answer["faces"]] == [f.place for f in sheet.faces]
    assert {"cables", "metres", "ferrules", "plugs", "core_labels"} <= set(answer["cut_list"])


# -- text ----------------------------------------------------------------------------------


def test_the_text_fits_100_columns_and_is_plain(sheet):
    lines = sheet_text(sheet)
    assert max(map(len, lines)) <= 100
    assert all(c.isprintable() for line in lines for c in line)
    assert all(line == line.rstrip() for line in lines)


def test_the_text_shows_every_label_channel_and_face(sheet):
    text = " ".join(" ".join(sheet_text(sheet)).split())
    for end in sheet.ends:
        for row in end.rows:
            assert row.label in text
    for row in sheet.io:
        assert row.terminals[0] in text
    for face in sheet.faces:
        assert f" {face.place} " in text
    assert "DIN 46228-4" in text and "Isolate and lock off" in text


@given(
    st.lists(st.tuples(*[st.text("abc ", max_size=60)] * 3), min_size=1, max_size=4),
    st.booleans(),
)
def test_columns_lose_no_word(rows, prose):
    lines = columns(["one", "two", "three"], rows, prose=prose)
    got = "".join(lines).replace(" ", "")
    for row in rows:
        for cell in row[:2]:
            assert cell.replace(" ", "") in got
    if any(cell for row in rows for cell in row):
        assert sum(map(len, "".join(lines).split())) >= sum(
            len(c.replace(" ", "")) for r in rows for c in r
        )


def test_blocks_that_do_not_fit_beside_each_other_stand_below(sheet):
    assert beside(["a", "bb"], ["c"]) == ["a    c", "bb"]
    assert beside(["a" * 60], ["b" * 60]) == ["a" * 60, "b" * 60]
    assert wrapped("word " * 40, "- ")[1].startswith("  word")
