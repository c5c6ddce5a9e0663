"""The sheet as files: CSV for other programs, XLSX for the office; written whole or not at all."""

from __future__ import annotations

import csv
import io
import os
import re
from errno import ENOENT
from pathlib import Path
from typing import Any

from ringout.report.sheet_model import Sheet
from ringout.report.sheet_tables import (
    CONNECTIONS,
    CUT_LIST,
    FACES,
    IO_LIST,
    LAST_PRINTED,
    Record,
    Table,
    Value,
    all_tables,
)

# Pages and formats of the workbook library, which is imported only where one is written.
Page = Any
Formats = tuple[Any, Any]

# A spreadsheet takes a cell that starts like this for a formula.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
SHEET_NAMES = {
    CONNECTIONS: "Connections",
    CUT_LIST: "Cut list",
    IO_LIST: "I-O list",  # a sheet name must not hold a slash
    FACES: "Faces",
}
MOST_NAME = 70  # characters of a file name before its ending
MOST_TITLE = 100  # a page header may have 255 characters in all
WIDEST = 30  # characters of a column; longer text wraps


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that a reader sees either the old content or all of the new."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        beside.write_bytes(content)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def check_folder(path: Path) -> None:
    """Check that a file's or folder's place is there: one made for a mistyped name would hide it.

    Raises:
        FileNotFoundError: it is not.
    """
    if not path.parent.is_dir():
        raise FileNotFoundError(ENOENT, f"there is no folder {path.parent}", str(path))


def free_name(name: str, taken: set[str]) -> str:
    """Return a file name that any file system takes, and add it to those taken."""
    plain = re.sub(r"[^\w+.-]", "_", name)[:MOST_NAME].lstrip(".") or "drawing"
    found, number = plain, 2
    while found.lower() in taken:
        found, number = f"{plain}-{number}", number + 1
    taken.add(found.lower())
    return found


def guarded(text: str) -> str:
    """Return text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def write_csv(sheet: Sheet, path: str | Path) -> list[Path]:
    """Write the sheet as CSV.

    Args:
        sheet: the sheet.
        path: a name that ends in `.csv` gives one file, whose column `list` says which list a
            line is of; any other name is a folder that gets one file for each list.

    Returns:
        The files written.

    Raises:
        OSError: the place cannot be written; nothing half-written is left.
    """
    target = Path(path)
    check_folder(target)
    tables = all_tables(sheet)
    if target.suffix.lower() == ".csv":
        keys = dict.fromkeys(("list", *(k for found, _ in tables.values() for k in found)))
        records: list[Record] = [
            {"list": name, **record} for name, (_, found) in tables.items() for record in found
        ]
        write_whole(target, _csv((tuple(keys), records)))
        return [target]
    files = []
    for name, table in tables.items():
        file = target / f"{name}.csv"
        write_whole(file, _csv(table))
        files.append(file)
    return files


def _csv(table: Table) -> bytes:
    keys, records = table
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(keys)
    for record in records:
        writer.writerow([_csv_cell(record.get(key)) for key in keys])
    return out.getvalue().encode("utf-8-sig")


def _csv_cell(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return guarded(value) if isinstance(value, str) else f"{value:g}"


def write_xlsx(sheet: Sheet, path: str | Path) -> Path:
    """Write the sheet as a workbook: Connections, Cut list, I/O list and Faces.

    Each list has a frozen head line, a filter, and prints on A4 across, as wide as the paper.

    Args:
        sheet: the sheet.
        path: the file.

    Returns:
        The file written.

    Raises:
        OSError: the place cannot be written; nothing half-written is left.
    """
    import datetime as dt

    from xlsxwriter.workbook import Workbook

    check_folder(Path(path))
    out = io.BytesIO()
    book = Workbook(out, {"in_memory": True, "strings_to_formulas": False})
    book.set_properties(
        {
            "title": f"{sheet.cell}, revision {sheet.revision}",
            # The same cell gives the same file, so that two can be compared.
            "created": dt.datetime(2000, 1, 1, tzinfo=dt.UTC),
        }
    )
    head = book.add_format({"bold": True, "text_wrap": True, "bottom": 2, "valign": "top"})
    body = book.add_format({"text_wrap": True, "valign": "top", "bottom": 4})
    for name, table in all_tables(sheet).items():
        page = book.add_worksheet(SHEET_NAMES[name])
        _fill(page, table, (head, body))
        _set_up_print(page, sheet, *_printed(name, table))
    book.close()
    target = Path(path)
    write_whole(target, out.getvalue())
    return target


def _fill(page: Page, table: Table, formats: Formats) -> None:
    head, body = formats
    keys, records = table
    for column, key in enumerate(keys):
        words = [_csv_cell(r.get(key)) for r in records]
        widest = max(0, *map(len, words), *map(len, key.split("_")))
        page.set_column(column, column, min(widest, WIDEST) + 1.5)
        page.write_string(0, column, key.replace("_", " "), head)
        for line, record in enumerate(records, start=1):
            value = record.get(key)
            if isinstance(value, float | int) and not isinstance(value, bool):
                page.write_number(line, column, value, body)
            else:
                # As text, never as a formula; the guard stays in copies made of the file.
                page.write_string(line, column, _csv_cell(value), body)


def _printed(name: str, table: Table) -> tuple[int, int]:
    """Return how many lines and columns of a list are printed."""
    keys, records = table
    last = LAST_PRINTED.get(name)
    columns = keys.index(last) + 1 if last in keys else len(keys)
    return len(records) + 1, max(columns, 1)


def _set_up_print(page: Page, sheet: Sheet, lines: int, columns: int) -> None:
    page.freeze_panes(1, 0)
    page.autofilter(0, 0, max(lines - 1, 1), columns - 1)
    page.print_area(0, 0, max(lines - 1, 1), columns - 1)
    page.repeat_rows(0)
    page.set_landscape()
    page.set_paper(9)  # A4
    page.fit_to_pages(1, 0)
    page.set_margins(left=0.4, right=0.4, top=0.8, bottom=0.6)
    name = f"{sheet.cell}, revision {sheet.revision}"[:MOST_TITLE].replace("&", "&&")
    page.set_header(f"&L{name}, file {sheet.file_hash}&R&A")
    page.set_footer("&LIsolate, lock off, prove dead.&RPage &P of &N")
