"""Sheets and pack on the bench: what is shown is what the commands write."""

from __future__ import annotations

import html
import io
import re
import zipfile

import pytest

from ringout import run
from ringout.report.sheet import build_sheet, write_csv
from tests.web.conftest import DEMO, text_of
from tests.web.test_jobs_faults import when_done


@pytest.fixture(scope="module")
def sheet():
    return build_sheet(run.load(str(DEMO)).cell)


def test_every_core_stands_on_the_page(still, sheet):
    page = html.unescape(still.get("/paper").text)
    for end in sheet.ends:
        assert f"{end.cable}, end {end.end}: {end.place}" in page
        for row in end.rows:
            assert row.terminal in page
            assert row.label in page


def test_every_channel_stands_on_the_list(still, sheet):
    page = html.unescape(still.get("/paper?what=io").text)
    rows = page.count("<tr>") - 1
    assert rows == len(sheet.io)


def test_files_are_those_of_the_command(still, sheet, tmp_path):
    answer = still.get("/paper/sheet.csv")
    assert answer.headers["content-disposition"] == 'attachment; filename="cell-sheet.csv"'
    write_csv(sheet, tmp_path / "x.csv")
    # the file lies elsewhere, so only the digest of its place may differ: it is in no list
    assert answer.content == (tmp_path / "x.csv").read_bytes()
    book = zipfile.ZipFile(io.BytesIO(still.get("/paper/sheet.xlsx").content))
    assert len([n for n in book.namelist() if n.startswith("xl/worksheets/sheet")]) == 4


@pytest.mark.parametrize("name", ["overview", "supply", "start_lidding", "clamp"])
def test_a_drawing_is_shown_and_downloaded(still, name):
    page = still.get(f"/paper?what=drawings&name={name}")
    links = re.findall(r'href="(/paper/drawing/[^"]+)"', page.text)
    assert links
    for link in links:
        answer = still.get(html.unescape(link))
        assert answer.headers["content-type"] == "image/svg+xml"
        assert answer.text.startswith("<svg")
        assert answer.text.strip() in page.text


@pytest.mark.parametrize(
    "path",
    ["/paper/sheet.exe", "/paper/drawing/nothing.svg", "/paper/drawing/clamp.svg?sheet=9",
     "/paper/drawing/../cell.svg", "/paper/drawing/clamp.svg?sheet=x"],
)  # fmt: skip
def test_what_is_not_there(still, path):
    assert still.get(path).status_code == 404


def test_the_pack_is_made_and_downloaded(still):
    pytest.importorskip("typst")
    answer = still.get("/paper/pack.pdf?paper=letter&part=labels")
    if answer.status_code == 303:
        page = when_done(still, answer.headers["location"])
        assert "It is made" in text_of(page)
        answer = still.get("/paper/pack.pdf?paper=letter&part=labels")
    assert answer.content.startswith(b"%PDF-")
    assert answer.headers["content-disposition"] == 'attachment; filename="cell-labels.pdf"'
    seen = still.get("/paper/pack.pdf?paper=letter&part=labels&view=yes")
    assert "content-disposition" not in seen.headers
