"""Every table is well formed, typed by its column names, and cites sources that exist."""

import csv
import re
from pathlib import Path

import pytest

import ringout
from ringout.tables import find_row, read_table, reader, source, sources, table_names
from ringout.tables.reader import DATA, columns_with_unit

KINDS = {
    "standard", "handbook", "maker document", "worked example", "common practice", "memory",
}  # fmt: skip
PACKAGE = Path(ringout.__file__).parent
# Words that may look like numbers: names of pins and sheets, classes, flags.
WORD_COLUMNS = {"pin", "sheet", "class", "terminal", "digits"}


@pytest.mark.parametrize("name", table_names())
def test_table_has_rows_source_and_confidence(name):
    rows = read_table(name)
    assert rows
    for row in rows:
        assert row.sources
        assert set(row.sources) <= set(sources()), row
        assert row.text("confidence") in {"H", "M", "L"}


@pytest.mark.parametrize("name", table_names())
def test_every_line_is_as_wide_as_its_head(name):
    with (DATA / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        head, *lines = list(csv.reader(file))
    assert len(set(head)) == len(head)
    assert [len(line) for line in lines] == [len(head)] * len(lines)
    assert "\r" not in (DATA / f"{name}.csv").read_bytes().decode()


@pytest.mark.parametrize("name", table_names())
def test_numbers_stand_only_in_columns_with_a_unit(name):
    for row in read_table(name):
        for column, value in row.cells.items():
            if column in WORD_COLUMNS or not isinstance(value, str):
                continue
            assert not re.fullmatch(r"[-+]?[\d.]+(e[-+]?\d+)?", value), (column, value)


@pytest.mark.parametrize("name", table_names())
def test_ranges_run_upwards(name):
    """In every row the least is at most the typical and the typical at most the most."""
    for row in read_table(name):
        for column in columns_with_unit(row.cells):
            low = row.maybe(column)
            top = column.replace("_min_", "_max_")
            middle = column.replace("_min_", "_typ_")
            for other in (middle, top):
                if other == column or other not in row.cells or row.maybe(other) is None:
                    continue
                assert low is None or low <= row.number(other), (name, column, other)


def test_every_source_is_well_formed():
    for key, found in sources().items():
        assert key in {"common practice", "memory"} or re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", key)
        assert found.kind in KINDS
        assert found.title
        assert isinstance(found.seen, bool)
        assert (found.kind == "worked example") == key.startswith("we-")
        # a figure nobody has seen in print says so in words
        assert found.seen or found.note


def test_every_source_is_used_by_a_row_a_part_or_the_code():
    used = {key for name in table_names() for row in read_table(name) for key in row.sources}
    files = [*PACKAGE.rglob("*.py"), *PACKAGE.rglob("*.yaml")]
    text = "\n".join(path.read_text(encoding="utf-8") for path in files)
    used |= set(re.findall(r"\b[a-z0-9]+(?:-[a-z0-9]+)+\b", text))
    assert set(sources()) - used == set()


def test_every_key_in_our_docstrings_exists():
    for path in (PACKAGE / "tables").glob("*.py"):
        text = path.read_text(encoding="utf-8")
        for section in re.findall(r"\n    Source:\n\s+(.+(?:\n\s+[a-z0-9-]+,.*)*)", text):
            for key in re.split(r",\s*", section.strip()):
                assert key in sources(), (path.name, key)


def test_rows_are_typed():
    row = find_row("input_limits", kind="iec-61131-2-type-1")
    assert isinstance(row.number("uh_min_v"), float)
    assert row.maybe("il_min_ma") is None
    assert row.text("kind") == "iec-61131-2-type-1"


def test_a_table_is_read_once():
    assert read_table("mcb_trip") is read_table("mcb_trip")


def test_rows_cannot_be_changed():
    with pytest.raises(TypeError):
        read_table("mcb_trip")[0].cells["curve"] = "X"


@pytest.mark.parametrize(
    ("ask", "near"),
    [
        (lambda: read_table("input_limit"), "input_limits"),
        (lambda: source("iec-61131"), "iec-61131-2"),
        (lambda: find_row("wire_colours", code="BNN"), "BN"),
        (lambda: read_table("mcb_trip")[0].number("magnetic_min"), "magnetic_min_x"),
    ],
)
def test_a_wrong_name_is_told_with_the_nearest(ask, near):
    with pytest.raises(KeyError, match=f"did you mean {near}"):
        ask()


def test_a_name_that_escapes_the_folder_is_no_table():
    with pytest.raises(KeyError, match="no table"):
        read_table("../data/input_limits")


def test_an_empty_or_wordy_cell_is_no_number():
    row = find_row("input_limits", kind="iec-61131-2-type-1")
    for column in ("il_min_ma", "kind"):
        with pytest.raises(TypeError, match=column):
            row.number(column)
    with pytest.raises(TypeError, match="uh_min_v"):
        row.text("uh_min_v")


def test_no_file_of_the_room_is_too_long():
    for path in Path(reader.__file__).parent.glob("*.py"):
        assert len(path.read_text(encoding="utf-8").splitlines()) <= 200, path.name
