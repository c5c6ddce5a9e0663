"""The part library for people and programs: the list, and one part explained."""

from __future__ import annotations

import textwrap
from collections.abc import Collection
from typing import Any

from ringout.base import Interval
from ringout.base.counted import counted
from ringout.base.quantity import format_quantity
from ringout.cell.catalogue import load_part, part_file, part_names
from ringout.cell.part import COMMON_VALUES, ELEMENT_KINDS, ElementSpec, Part
from ringout.report.prove_text import table
from ringout.report.sheet_layout import area_words
from ringout.tables.reader import source

_WIDTH = 96


def _parts(folder: str) -> list[Part]:
    out = []
    for name in part_names(folder):
        path = part_file(name, folder)
        part = load_part(path)[0] if path is not None else None
        if part is not None:
            out.append(part)
    return out


def matching(words: str, folder: str) -> list[str]:
    """Return the names of parts that have every one of some words in name or title."""
    wanted = words.casefold().split()
    return [
        p.name
        for p in _parts(folder)
        if wanted and all(w in f"{p.name} {p.title}".casefold() for w in wanted)
    ]


def catalogue_answer(folder: str, names: Collection[str] | None = None) -> dict[str, Any]:
    """Return the whole library as JSON, or some of it."""
    return {
        "parts": [
            {"name": p.name, "family": p.family, "title": p.title, "letter": p.letter}
            for p in _parts(folder)
            if names is None or p.name in names
        ]
    }


def catalogue_lines(folder: str, names: Collection[str] | None = None) -> list[str]:
    """Return the library, or some of it, by family."""
    parts = [p for p in _parts(folder) if names is None or p.name in names]
    lines: list[str] = []
    for family in dict.fromkeys(p.family for p in sorted(parts, key=lambda p: p.family)):
        mine = [p for p in parts if p.family == family]
        lines.append(f"{family} ({len(mine)})")
        lines += ["  " + row for row in table([[p.name, p.title] for p in mine])]
        lines.append("")
    lines.append(f"{counted(len(parts), 'part')}; `ringout parts NAME` explains one")
    return lines


def _dimension(kind: str, name: str) -> str:
    known = ELEMENT_KINDS[kind] | COMMON_VALUES
    return known.get(name) or known.get(name + "?") or "ratio"


def show_interval(value: Interval, dimension: str) -> str:
    """Return a value with its tolerance."""
    typ = format_quantity(value.typ, dimension)
    if value.low == value.high:
        return typ
    low, high = format_quantity(value.low, dimension), format_quantity(value.high, dimension)
    return f"{typ} ({low} to {high})"


def _element_text(e: ElementSpec) -> str:
    words = [f"{n} {show_interval(v, _dimension(e.kind, n))}" for n, v in e.values.items()]
    words += [f"{n} {w}" for n, w in e.words.items()]
    when = f" while {' or '.join(e.when)}" if e.when else ""
    alive = ", only while fed" if e.powered else ""
    return f"{e.kind} from {e.tail} to {e.head}{when}{alive}: {', '.join(words) or 'defaults'}"


def _source_text(key: str) -> str:
    out = []
    for one in key.split(";"):
        name = one.strip()
        try:
            out.append(f"{name}: {source(name.split()[0]).title}")
        except (KeyError, IndexError):
            out.append(name)
    return "; ".join(out)


def part_lines(part: Part) -> list[str]:
    """Return one part explained."""
    lines = [f"{part.name}: {part.title}", f"family {part.family}, usual letter {part.letter}", ""]
    if part.use:
        lines += textwrap.wrap(f"Use: {part.use}", _WIDTH, subsequent_indent="  ")
    for mistake in part.mistakes:
        lines += textwrap.wrap(f"Mistake: {mistake}", _WIDTH, subsequent_indent="  ")
    lines.append("")
    if part.terminals:
        lines.append(
            "Terminals: "
            + ", ".join(f"{t} ({part.marks[t]})" if t in part.marks else t for t in part.terminals)
        )
    for socket in part.sockets.values():
        pins = ", ".join(f"{p} = {n}" for p, n in socket.pins.items())
        lines.append(f"Socket {socket.name}: {socket.connector} {socket.gender}; pins {pins}")
    for actor, positions in part.actors.items():
        lines.append(f"Positions of {actor}: {', '.join(positions)} (at rest: {positions[0]})")
    if part.elements:
        lines.append("Inside:")
        for e in part.elements:
            lines += textwrap.wrap(
                f"{e.name}: {_element_text(e)}",
                _WIDTH,
                initial_indent="  ",
                subsequent_indent="      ",
            )
    for channel in part.channels.values():
        lines.append(
            f"Channel {channel.name}: {channel.kind}, level across {channel.element}, "
            f"limits {channel.limits}"
        )
    for core in part.cores:
        ends = f", pin {core.from_pin} to pin {core.to_pin}" if core.from_pin else ""
        lines.append(f"Core {core.colour}: {area_words(core.area_mm2)} mm2{ends}")
    for name, text in part.settings.items():
        lines.append(f"Setting {name}: {text} unless the item line says otherwise")
    lines += ["", f"Source: {_source_text(part.source)}"]
    return lines


def _interval_answer(value: Interval) -> dict[str, float]:
    return {"low": value.low, "typ": value.typ, "high": value.high}


def part_answer(part: Part) -> dict[str, Any]:
    """Return one part as JSON; values in SI units."""
    return {
        "name": part.name,
        "title": part.title,
        "family": part.family,
        "letter": part.letter,
        "use": part.use,
        "mistakes": list(part.mistakes),
        "source": part.source,
        "terminals": dict(part.terminals),
        "sockets": {
            s.name: {"connector": s.connector, "gender": s.gender, "pins": dict(s.pins)}
            for s in part.sockets.values()
        },
        "actors": {a: list(p) for a, p in part.actors.items()},
        "inside": [
            {
                "name": e.name,
                "kind": e.kind,
                "from": e.tail,
                "to": e.head,
                "when": list(e.when),
                "powered": e.powered,
                "values": {n: _interval_answer(v) for n, v in e.values.items()},
                "words": dict(e.words),
            }
            for e in part.elements
        ],
        "channels": {
            c.name: {"kind": c.kind, "element": c.element, "limits": c.limits, "group": c.group}
            for c in part.channels.values()
        },
        "cores": [{"colour": c.colour, "area_mm2": c.area_mm2} for c in part.cores],
        "settings": dict(part.settings),
    }
