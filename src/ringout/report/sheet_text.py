"""The sheet as text: for the terminal, and for paper taken to the cabinet."""

from __future__ import annotations

from itertools import groupby

from ringout.report.faces_model import fitted_name
from ringout.report.faces_text import face_lines
from ringout.report.sheet_layout import WIDTH, area_words, columns, length_words, wrapped
from ringout.report.sheet_make import strip_words, torque_words
from ringout.report.sheet_model import FIELD_PLUG, PLUGGED, CutList, End, IoRow, Row, Sheet

TICK = "[ ]"
FACE_RULE = (
    "Male and female are mirror images, and the wiring side mirrors again: what goes into a socket "
    "looks from its own wiring side like the socket's mating side."
)


def sheet_text(sheet: Sheet) -> list[str]:
    """Return the whole sheet as lines of at most 100 characters, readable in black and white.

    Args:
        sheet: the sheet.
    """
    lines = [*_title(sheet), "", *connection_text(sheet), *_part_head("CUT LIST")]
    lines += cut_text(sheet.cut)
    if sheet.faces:
        lines += _part_head("FACES, one for each used socket; key at the top")
        lines += [*wrapped(FACE_RULE), ""]
        for face in sheet.faces:
            lines += [*face_lines(face), ""]
    if sheet.io:
        lines += _part_head("I/O LIST")
        lines += io_text(sheet.io)
    return [line.rstrip() for line in lines]


def part_text(sheet: Sheet, part: str) -> list[str]:
    """Return one part of the sheet under its title: connections, cut, faces or io."""
    body = {
        "connections": lambda: connection_text(sheet),
        "cut": lambda: cut_text(sheet.cut),
        "faces": lambda: [line for face in sheet.faces for line in [*face_lines(face), ""]],
        "io": lambda: io_text(sheet.io),
    }
    return [*_title(sheet), "", *body[part]()]


def _title(sheet: Sheet) -> list[str]:
    revision = f", revision {sheet.revision}" if sheet.revision else ""
    head = f"CONNECTION SHEET  {sheet.cell}{revision}"
    lines = wrapped(f"{head}, file {sheet.file_hash}" if sheet.file_hash else head)
    for note in sheet.notes:
        lines += wrapped(note, "  - ", "    ")
    return lines


def _part_head(words: str) -> list[str]:
    return ["", words, "=" * min(len(words), WIDTH), ""]


def connection_text(sheet: Sheet) -> list[str]:
    """Return the ends, cable by cable, in the order of work."""
    lines: list[str] = []
    lengths = {c.cable: c for c in sheet.cut.cables}
    plugging = False
    for _, group in groupby(_numbered(sheet.ends), key=lambda pair: pair[0]):
        ends = [end for _, end in group]
        first = ends[0]
        if not plugging and all(e.work == PLUGGED for e in ends):
            plugging = True
            lines += _part_head("PLUG TOGETHER, last")
        head = _head(first, ends[-1])
        cut = lengths.get(first.cable)
        if cut is not None:
            head += f"  {cut.part}, {cut.cores}, {length_words(cut.length_m)}"
        lines += [head, "-" * min(len(head), WIDTH)]
        for end in ends:
            lines += end_text(end, sheet.market)
        lines.append("")
    return lines


def _head(first: End, last: End) -> str:
    if first.part:
        return first.cable
    if first.work == PLUGGED:
        return f"{first.place} into {last.place}, plug on plug"
    return f"{first.cable} {first.rows[0].terminal} to {last.rows[0].terminal}"


def _numbered(ends: tuple[End, ...]) -> list[tuple[int, End]]:
    """Number the pieces of work: end 1 after end 2, or another cable, begins a new one."""
    number, before, found = 0, None, []
    for end in ends:
        if before is not None and (end.cable != before.cable or end.end < before.end):
            number += 1
        found.append((number, end))
        before = end
    return found


def end_text(end: End, market: str) -> list[str]:
    """Return one end as lines: what to do, what to mind, then core by core."""
    place = f"end {end.end} at {end.place}"
    place += f" ({end.note})" if end.note else ""
    todo = [end.fit]
    if end.sheath_mm:
        todo.append(f"sheath off {end.sheath_mm[0]:g} to {end.sheath_mm[1]:g} mm")
    if end.nut and end.work in {FIELD_PLUG, PLUGGED}:
        todo.append(end.nut)
    lines = wrapped(f"{place}: {'; '.join(todo)}", " ", "     ")
    for caution in end.cautions:
        lines += wrapped(caution, "     ! ", "       ")
    if end.work == PLUGGED:
        pins = [_plugged_words(r) for r in end.rows if not r.spare]
        lines += wrapped(", ".join(pins), "     pins: ", "           ")
        mark = next((r.label for r in end.rows if r.label), "")
        return lines + (wrapped(f"mark: {mark}", f" {TICK} ", "     ") if mark else [])
    landed = [r for r in end.rows if not r.spare]
    lines += columns(
        [
            f" {TICK}",
            "core",
            "mm2/AWG",
            "pin",
            "where",
            "ferrule",
            "strip",
            "torque",
            "carries",
            "write on this end",
        ],
        [[f" {TICK}", *core_cells(r, end, market)] for r in landed],
        prose=False,
    )
    for row in landed:
        for caution in row.cautions:
            lines += wrapped(f"{row.terminal}: {caution}", "     ! ", "       ")
    spare = [r for r in end.rows if r.spare]
    if spare:
        names = ", ".join(f"{r.core} {r.colour}" if not r.core.isdigit() else r.core for r in spare)
        lines += wrapped(
            f"{names}: {spare[0].cautions[0]} ({', '.join(r.label for r in spare)})",
            f" {TICK} ",
            "     ",
        )
    return lines


def _plugged_words(row: Row) -> str:
    words = " ".join(w for w in (row.pin, row.core) if w)
    return f"{words} = {row.carries}" if row.carries else words


def core_cells(row: Row, end: End, market: str, where: str = "") -> list[str]:
    """Return one core of an end as words: core, size, where it lands, how it is made off, label."""
    size = "" if row.area_mm2 is None else f"{area_words(row.area_mm2)}/{row.awg}"
    ferrule = row.ferrule
    core = row.colour if row.core.isdigit() else f"{row.core} {row.colour}".strip()
    return [
        core,
        size,
        where or (row.pin if end.work == FIELD_PLUG else row.terminal),
        row.seen,
        f"{area_words(ferrule.area_mm2)} {ferrule.colour}" if ferrule else "",
        strip_words(row.strip_mm, market) if row.strip_mm else "",
        torque_words(row.torque_nm, market) if row.torque_nm else "",
        row.carries,
        row.label,
    ]


def cut_text(cut: CutList) -> list[str]:
    """Return the cut list as lines."""
    lines = columns(
        [TICK, "cable", "part", "length", "from", "to", "ends by hand", "cores used", "spare"],
        [
            [
                TICK,
                c.cable,
                c.part,
                length_words(c.length_m),
                c.from_place or "-",
                c.to_place or "-",
                str(c.ends_by_hand),
                str(c.used_cores),
                str(c.spare_cores),
            ]
            for c in cut.cables
        ],
    )
    if cut.metres:
        lines += ["", "Off the drum, and ready-made"]
    lines += columns(
        [f"  {TICK}", "part", "total", "pieces", ""],
        [
            [
                f"  {TICK}",
                m.part,
                length_words(m.length_m),
                str(m.pieces),
                "ready-made" if m.made_up else "cut",
            ]
            for m in cut.metres
        ],
    )
    if cut.ferrules:
        lines += ["", f"Ferrules, collar colours of the series {cut.ferrules[0].series}"]
        lines += columns(
            [f"  {TICK}", "mm2", "collar", "barrel", "pieces"],
            [
                [f"  {TICK}", area_words(f.area_mm2), f.colour, f"{f.barrel_mm:g} mm", str(f.count)]
                for f in cut.ferrules
            ],
        )
    if cut.plugs:
        lines += ["", "Field-wireable connectors"]
        lines += columns(
            [f"  {TICK}", "connector", "pieces", "for"],
            [
                [f"  {TICK}", fitted_name(p.connector, p.gender), str(p.count), ", ".join(p.places)]
                for p in cut.plugs
            ],
        )
    lines += ["", f"Labels: {cut.core_labels} for cores, {cut.cable_labels} for cables."]
    if cut.links:
        lines.append(f"Short links between clamps: {cut.links}.")
    return lines


def io_text(rows: tuple[IoRow, ...]) -> list[str]:
    """Return the I/O list as lines, controller by controller; free channels say so."""
    lines: list[str] = []
    for controller, group in groupby(rows, key=lambda r: r.controller):
        cells = []
        for row in group:
            over = ":".join(w for w in (row.cable, row.core) if w)
            cells.append(
                [
                    row.channel,
                    ", ".join(row.terminals),
                    row.signal or row.status,
                    ", ".join(row.devices),
                    over,
                    row.on,
                    row.meaning + (" (not joined)" if row.status == "not joined" else ""),
                ]
            )
        lines += [f"{controller}"]
        lines += columns(
            ["channel", "terminal", "signal", "device", "over", "on while", "meaning"],
            cells,
            indent="  ",
        )
        lines.append("")
    return lines
