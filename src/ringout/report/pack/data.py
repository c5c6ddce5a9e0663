"""A pack as the JSON its page templates read: text stays text, whatever stands in it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from ringout.report.faces_model import connector_name
from ringout.report.pack.labels import laid_labels
from ringout.report.pack.model import Pack, Picture
from ringout.report.sheet_layout import length_words
from ringout.report.sheet_model import LINK, PLUGGED, End, Row
from ringout.report.sheet_text import core_cells
from ringout.tables.labels import LabelSize

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
ALL = ("sheets", "labels", "checkout")
_UNPRINTED = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\u2028\u2029]")


def pack_data(pack: Pack, *, paper: str, only: str | None, size: LabelSize) -> dict[str, Any]:
    """Return what the templates need, as plain JSON values.

    Args:
        pack: the pack.
        paper: `a4` or `letter`.
        only: `sheets`, `labels` or `checkout`; None for the whole pack.
        size: label stock.
    """
    wide, high = PAPERS[paper]
    sheet = pack.sheet
    known = {n: "item" for n, _ in pack.items} | {c.cable: "cable" for c in sheet.cut.cables}

    def drawn(pictures: tuple[Picture, ...]) -> list[dict[str, Any]]:
        return [_picture(p, known) for p in pictures]

    answer: dict[str, Any] = {
        "paper": {"name": paper, "width": wide, "height": high},
        "only": only or "all",
        "cell": sheet.cell,
        "revision": sheet.revision or "-",
        "hash": sheet.file_hash,
        "file": pack.file,
        "ambient": pack.ambient,
        "date": pack.date,
        "ready": pack.ready,
        "verdict": pack.verdict,
        "problems": pack.problems,
        "boxes": False,
        "sheet_notes": sheet.notes,
        "series": sheet.ferrule_series,
        "notes": [asdict(n) for n in pack.notes],
        "overview": drawn(pack.overview),
        "supply": drawn(pack.supply),
        "signals": [{**asdict(s), "pictures": drawn(s.pictures)} for s in pack.signals],
        "ends": [_end(e, sheet.market) for e in sheet.ends],
        "cable_drawings": {name: _picture(p, known) for name, p in pack.cables},
        "faces": _faces(pack),
        "maps": [{"item": name, "pictures": drawn(p)} for name, p in pack.maps],
        "cut": asdict(sheet.cut),
        "io": [asdict(row) for row in sheet.io],
        "bill": [asdict(row) for row in pack.bill],
        "labels": _labels(pack, size),
        "label_size": asdict(size),
        "procedure": asdict(pack.procedure) if pack.procedure is not None else None,
        "record": asdict(pack.record) if pack.record is not None else None,
        "not_run": pack.not_run,
        "expects": pack.expects,
        "items": pack.items,
        "cables": [(c.cable, f"{c.part}, {length_words(c.length_m)}") for c in sheet.cut.cables],
    }
    return {key: printable(value) for key, value in answer.items()}


def printable(value: Any) -> Any:
    """Return JSON values without characters no font has a sign for."""
    if isinstance(value, str):
        return _UNPRINTED.sub(" ", value)
    if isinstance(value, dict):
        return {k: printable(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [printable(v) for v in value]
    return value


def _picture(found: Picture, known: Mapping[str, str]) -> dict[str, Any]:
    return {
        "svg": found.svg,
        "title": found.title,
        "width": found.width_mm,
        "height": found.height_mm,
        "names": [(kind, name) for name, kind in known.items() if name in found.words],
    }


def _end(end: End, market: str) -> dict[str, Any]:
    todo = [end.fit]
    if end.sheath_mm:
        todo.append(f"sheath off {end.sheath_mm[0]:g} to {end.sheath_mm[1]:g} mm")
    if end.nut:
        todo.append(end.nut)
    return {
        "cable": end.cable,
        "part": end.part,
        "end": end.end,
        "place": end.place,
        "item": end.place.partition("-")[0],
        "note": end.note,
        "plugged": end.work == PLUGGED,
        "link": end.work == LINK,
        "todo": "; ".join(t for t in todo if t),
        "cautions": [*end.cautions, *(c for r in end.rows for c in r.cautions)],
        "rows": [_row(r, end, market) for r in end.rows],
    }


def _row(row: Row, end: End, market: str) -> list[str]:
    """Return the cells of one core, in the order of the columns."""
    return core_cells(row, end, market, "spare" if row.spare and end.work != PLUGGED else "")


def _faces(pack: Pack) -> list[dict[str, Any]]:
    drawn = dict(pack.faces)
    return [
        {
            "place": face.place,
            "item": face.place.partition("-")[0],
            "note": face.note,
            "connector": connector_name(face.connector),
            "gender": face.gender,
            "drawing": _picture(drawn[face.place], {}) if face.place in drawn else None,
            "pins": [asdict(p) for p in face.pins],
        }
        for face in pack.sheet.faces
    ]


def _labels(pack: Pack, size: LabelSize) -> list[dict[str, Any]]:
    return [
        {
            "text": laid.label.text,
            "lines": laid.lines,
            "code": laid.code,
            "side": laid.code_mm,
            "cable": laid.label.cable,
            "place": laid.label.place,
            "whole": laid.whole,
        }
        for laid in laid_labels(pack, size)
    ]


def too_long(pack: Pack, size: LabelSize) -> list[str]:
    """Return labels that do not fit the stock whole."""
    return [laid.label.text for laid in laid_labels(pack, size) if not laid.whole]
