"""The sheet as plain data with stable keys."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from ringout.report.sheet_model import Sheet
from ringout.report.sheet_tables import CONNECTIONS, FACES, IO_LIST, all_tables


def sheet_answer(sheet: Sheet) -> dict[str, Any]:
    """Return the whole answer of `sheet`.

    Args:
        sheet: the sheet.

    Returns:
        `connections` and `io` with one record per line, `faces` with their pins, `cut_list` with
        one list per kind of thing, and what stands in the head of the paper.
    """
    tables = all_tables(sheet)
    faces: dict[str, dict[str, Any]] = {}
    head = ("place", "note", "connector", "gender")
    for record in tables[FACES][1]:
        face = faces.setdefault(
            str(record["place"]), {key: record[key] for key in head} | {"pins": []}
        )
        face["pins"].append({k: v for k, v in record.items() if k not in head})
    return {
        "cell": sheet.cell,
        "revision": sheet.revision,
        "file_hash": sheet.file_hash,
        "market": sheet.market,
        "ferrule_series": sheet.ferrule_series,
        "notes": list(sheet.notes),
        "connections": tables[CONNECTIONS][1],
        "cut_list": asdict(sheet.cut),
        "faces": list(faces.values()),
        "io": tables[IO_LIST][1],
    }
