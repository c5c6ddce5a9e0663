"""The tools of the circuit page: what each does, parts to fit, faults to put in."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ringout.cell.catalogue import find_part, part_names
from ringout.cell.model import Cell, Item, Terminal
from ringout.cell.part import Part
from ringout.web.changes import Bench
from ringout.web.setting import Setting

TOOL_WORDS = (
    ("probe", "Probe", "Click a pin: the red probe goes there, then the black one."),
    ("cut", "Cut", "Click a core to cut it through; click it again to make it whole."),
    ("lift", "Lift", "Click a pin to take its core off; the free end can then be probed."),
    ("bridge", "Bridge", "Click two pins to join them with a wire."),
    ("swap", "Swap", "Click two cores to exchange them where both land on one item."),
    ("part", "Replace", "Click the name of an item, then choose the part to fit instead."),
    ("fault", "Fault", "Choose one of the faults that are likely in this circuit."),
)


@dataclass(frozen=True, slots=True)
class Tool:
    """One tool of the row."""

    word: str
    text: str
    hint: str
    url: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Candidate:
    """A part that could be fitted, or a fault that could be put in."""

    name: str
    title: str
    url: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Fitting:
    """Parts that fit where an item is: those with all terminals that are in use."""

    item: str
    part: str
    choices: tuple[Candidate, ...]


def tool_values(signal: str, setting: Setting) -> list[Tool]:
    """Return the row of tools."""
    return [
        Tool(w, text, hint, setting.but(tool=w, first="").url(signal), w == setting.tool)
        for w, text, hint in TOOL_WORDS
    ]


def candidates(bench: Bench, signal: str, setting: Setting) -> Fitting | None:
    """Return the parts that can be fitted for the item clicked; None while none is."""
    cell = bench.variant.cell
    item = cell.items.get(setting.first)
    if item is None:
        return None
    choices = [
        Candidate(part.name, part.title, _fitted(setting, item.name, part.name).url(signal),
                  part.name == item.part.name)
        for part in fitting_parts(cell, item)
    ]  # fmt: skip
    return Fitting(item.name, item.part.name, tuple(choices))


def fitting_parts(cell: Cell, item: Item) -> list[Part]:
    """Return the parts of the same family with every terminal and position that is in use."""
    used = [t for j in cell.joins for t in (j.a, j.b) if t.item == item.name]
    leaves = [p for s in cell.signals.values() if s.on is not None for p in s.on.leaves()]
    asked = {p.position for p in leaves if p.actor.partition(".")[0] == item.name}
    found = []
    for name in part_names(cell.folder):
        part = find_part(name, None, cell.folder)
        if part is None or part.family != item.part.family or not _lands(part, used):
            continue
        if part.channels.keys() < item.part.channels.keys():
            continue
        if asked <= {p for positions in part.actors.values() for p in positions}:
            found.append(part)
    return found


def _lands(part: Part, used: Iterable[Terminal]) -> bool:
    for t in used:
        socket = part.sockets.get(t.socket)
        if t.pin not in (part.terminals if not t.socket else socket.pins if socket else ()):
            return False
    return True


def _fitted(setting: Setting, item: str, part: str) -> Setting:
    others = tuple(w for w in setting.parts if w.partition(",")[0] != item)
    return setting.but(parts=(*others, f"{item},{part}"), first="")


def fault_choices(bench: Bench, signal: str, setting: Setting) -> list[Candidate]:
    """Return the faults in the circuit of a signal, the likeliest first."""
    mine = [f for f in bench.variant.faults if signal in f.signals]
    mine.sort(key=lambda f: (-f.likelihood, f.id))
    return [
        Candidate(f.id, f.text, setting.toggled("faults", f.id).url(signal), f.id in setting.faults)
        for f in mine
    ]
