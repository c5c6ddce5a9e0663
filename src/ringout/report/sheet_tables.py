"""The sheet as flat lists with stable keys; CSV, XLSX and JSON all show these."""

from __future__ import annotations

from ringout.report.faces_model import MATING, WIRING, Face, placed_pins, where_words
from ringout.report.sheet_make import inch_words
from ringout.report.sheet_model import CutList, End, IoRow, Row, Sheet

Value = str | float | int | bool | None
Record = dict[str, Value]
Table = tuple[tuple[str, ...], list[Record]]  # keys in order, one record per line

CONNECTIONS = "connections"
CUT_LIST = "cut_list"
IO_LIST = "io"
FACES = "faces"
LAST_PRINTED = {CONNECTIONS: "cautions", FACES: "wiring_side"}  # columns beyond stay on screen


def all_tables(sheet: Sheet) -> dict[str, Table]:
    """Return every list of a sheet by its name."""
    return {
        CONNECTIONS: _table([connection(sheet, e, r) for e in sheet.ends for r in e.rows]),
        CUT_LIST: _table(cut_records(sheet.cut)),
        IO_LIST: _table([io_record(r) for r in sheet.io]),
        FACES: _table([record for face in sheet.faces for record in face_records(face)]),
    }


def _table(records: list[Record]) -> Table:
    keys = tuple(dict.fromkeys(key for record in records for key in record))
    return keys, records


def connection(sheet: Sheet, end: End, row: Row) -> Record:
    """Return one core at one end."""
    ferrule = row.ferrule
    record: Record = {
        "cable": end.cable,
        "end": end.end,
        "place": end.place,
        "core": row.core,
        "colour": row.colour,
        "area_mm2": row.area_mm2,
        "awg": row.awg,
        "terminal": row.terminal,
        "seen": row.seen,
        "ferrule_mm2": ferrule.area_mm2 if ferrule else None,
        "ferrule_colour": ferrule.colour if ferrule else "",
        "barrel_mm": ferrule.barrel_mm if ferrule else None,
        "strip_mm": row.strip_mm,
        "torque_nm": row.torque_nm,
        "label": row.label,
        "far_label": row.far_label,
        "carries": row.carries,
        "fit": end.fit,
        "cautions": "; ".join((*row.cautions, *end.cautions)),
        "work": end.work,
        "pin": row.pin,
        "far": row.far,
        "spare": row.spare,
        "ferrule_series": ferrule.series if ferrule else "",
        "connector": end.connector,
        "gender": end.gender,
        "nut": end.nut,
        "sheath_low_mm": end.sheath_mm[0] if end.sheath_mm else None,
        "sheath_high_mm": end.sheath_mm[1] if end.sheath_mm else None,
        "part": end.part,
        "note": end.note,
    }
    if sheet.market == "us":
        record["strip_in"] = inch_words(row.strip_mm) if row.strip_mm else ""
    return record


def cut_records(cut: CutList) -> list[Record]:
    """Return the cut list as lines of one table; `what` says of which kind a line is."""
    records: list[Record] = [
        _cut(
            "cut",
            c.cable,
            c.part,
            c.title,
            cores=c.cores,
            length_m=c.length_m,
            count=1,
            from_place=c.from_place,
            to_place=c.to_place,
            ends_by_hand=c.ends_by_hand,
            used_cores=c.used_cores,
            spare_cores=c.spare_cores,
        )
        for c in cut.cables
    ]
    records += [
        _cut(
            "take" if m.made_up else "drum",
            "",
            m.part,
            m.title,
            length_m=m.length_m,
            count=m.pieces,
        )
        for m in cut.metres
    ]
    records += [
        _cut(
            "ferrule",
            f"{f.area_mm2:g} mm2",
            f.colour,
            f"{f.series}, barrel {f.barrel_mm:g} mm",
            count=f.count,
        )
        for f in cut.ferrules
    ]
    records += [
        _cut(
            "plug",
            p.connector,
            p.gender,
            "field-wireable",
            count=p.count,
            to_place=", ".join(p.places),
        )
        for p in cut.plugs
    ]
    records += [
        _cut("label", "core", "", "one on each core end", count=cut.core_labels),
        _cut("label", "cable", "", "one on each cable end", count=cut.cable_labels),
        _cut("link", "", "", "short links between clamps", count=cut.links),
    ]
    return records


def _cut(what: str, name: str, kind: str, title: str, **more: Value) -> Record:
    keys = (
        "cores",
        "length_m",
        "count",
        "from_place",
        "to_place",
        "ends_by_hand",
        "used_cores",
        "spare_cores",
    )
    return {"what": what, "name": name, "kind": kind, "title": title} | {
        key: more.get(key) for key in keys
    }


def io_record(row: IoRow) -> Record:
    """Return one channel."""
    return {
        "controller": row.controller,
        "channel": row.channel,
        "kind": row.kind,
        "terminal": ", ".join(row.terminals),
        "signal": row.signal,
        "meaning": row.meaning,
        "device": ", ".join(row.devices),
        "cable": row.cable,
        "core": row.core,
        "on": row.on,
        "status": row.status,
    }


def face_records(face: Face) -> list[Record]:
    """Return one line per pin of a face, with its place in both views."""
    views = {side: where_words(face, side) for side in (MATING, WIRING)}
    spots = {
        side: {p.pin.pin: (p.x_mm, p.y_mm) for p in placed_pins(face, side)} if face.drawn else {}
        for side in (MATING, WIRING)
    }
    records: list[Record] = []
    for pin in face.pins:
        record: Record = {
            "place": face.place,
            "note": face.note,
            "connector": face.connector,
            "gender": face.gender,
            "pin": pin.pin,
            "carries": pin.carries,
            "channel": pin.channel,
            "conductor": pin.conductor,
            "colour": pin.colour,
            "far": pin.far,
            "mating_side": views[MATING].get(pin.pin, ""),
            "wiring_side": views[WIRING].get(pin.pin, ""),
        }
        for side in (MATING, WIRING):
            x_mm, y_mm = spots[side].get(pin.pin, (None, None))
            record[f"{side}_x_mm"] = None if x_mm is None else round(x_mm, 3) + 0.0
            record[f"{side}_y_mm"] = None if y_mm is None else round(y_mm, 3) + 0.0
        records.append(record)
    return records
