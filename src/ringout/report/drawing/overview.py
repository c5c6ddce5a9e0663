"""The overview of a cell: items, sockets and cables, on as many sheets as it takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ringout.base.quantity import format_interval
from ringout.cell.model import Cell, Join, Terminal
from ringout.report.drawing.circuit import HEIGHT_MM, WIDTH_MM, Frame, draw_sheets
from ringout.report.drawing.metrics import wrap
from ringout.report.drawing.paper import TEXT_MM, Sheet
from ringout.report.drawing.path_model import (
    CircuitView,
    PathConductor,
    PathItem,
    PathNet,
    PathPin,
)
from ringout.report.faces_model import connector_name

FEEDING = frozenset({"supply", "protection", "controller"})
PASSIVE = frozenset({"connector", "terminal"})
MOST_BOXES = 11  # above each other on one sheet
SMALL_BOXES = 4  # so small a cell goes on the sheet of its supply side
MOST_PINS = 3  # clamps named at an end; more are told as first .. last
Way = tuple[str, str, str, str, str]  # cable, item, socket, item, socket


Ways = list[tuple[Way, list[Join]]]


def draw_overview(
    cell: Cell, *, width_mm: float = WIDTH_MM, height_mm: float = HEIGHT_MM
) -> tuple[Sheet, ...]:
    """Return the overview of a cell: the feeding side first, then controller by controller.

    Args:
        cell: the cell.
        width_mm: width of the paper inside its margins.
        height_mm: height of the paper inside its margins.
    """
    ways = _ways(cell)
    parts: list[tuple[str, Ways]] = []
    for title, group in _groups(cell, ways):
        for chunk in _chunks(cell, group):
            both = [*parts[-1][1], *chunk] if parts else []
            most = MOST_BOXES if len(parts) > 1 else SMALL_BOXES
            if parts and _boxes(cell, both) <= most:
                words = parts[-1][0] if parts[-1][0] == title else f"{parts[-1][0]}, {title}"
                parts[-1] = (words, both)
            else:
                parts.append((title, chunk))
    sheets: list[Sheet] = []
    for title, chunk in parts:
        about = f"{cell.name}, revision {cell.revision}: {title}"
        frame = Frame("overview", f"Overview of {about}", width_mm, height_mm, "Overview")
        sheets += draw_sheets(_view(cell, chunk), frame, (), about, _foot(cell, chunk, width_mm))
    if len(sheets) == 1:
        return tuple(sheets)
    return tuple(replace(s, name=f"overview-{k}") for k, s in enumerate(sheets, start=1))


def _ways(cell: Cell) -> dict[Way, list[Join]]:
    """Return the conductors of the cell, by what one would lay in one go."""
    ways: dict[Way, list[Join]] = {}
    for join in cell.joins:
        key = (join.cable, join.a.item, join.a.socket, join.b.item, join.b.socket)
        if join.a.item == join.b.item:
            continue
        turned = (join.cable, join.b.item, join.b.socket, join.a.item, join.a.socket)
        ways.setdefault(turned if turned in ways else key, []).append(join)
    return ways


def _groups(cell: Cell, ways: dict[Way, list[Join]]) -> list[tuple[str, Ways]]:
    """Return the connections of the feeding side, and those of each controller."""
    owner: dict[str, str] = {n: n for n, i in cell.items.items() if i.part.family in FEEDING}
    controllers = [n for n, i in cell.items.items() if i.part.family == "controller"]
    near: dict[str, list[str]] = {n: [] for n in cell.items}
    for _, a, _, b, _ in ways:
        near[a].append(b)
        near[b].append(a)
    todo = [*controllers, *(n for n in owner if n not in controllers)]
    while todo:
        here = todo.pop(0)
        for other in near[here]:
            if other not in owner:
                owner[other] = owner[here]
                todo.append(other)
    feeding: Ways = []
    rest: Ways = []
    mine: dict[str, Ways] = {n: [] for n in controllers}
    for way, joins in ways.items():
        a, b = way[1], way[3]
        outer = [n for n in (a, b) if cell.items[n].part.family not in FEEDING]
        homes = [owner[n] for n in outer if owner.get(n) in mine]
        if homes:
            mine[homes[0]].append((way, joins))
        elif not outer or any(n in owner for n in outer):
            feeding.append((way, joins))
        else:
            rest.append((way, joins))
    out = [("supply side", feeding)] if feeding else []
    out += [(f"at {n}", group) for n, group in mine.items() if group]
    return [*out, ("joined to nothing that feeds", rest)] if rest else out


def _chunks(cell: Cell, group: Ways) -> list[Ways]:
    """Return a group cut to sheets, never between a splitter and what is plugged into it."""
    clusters: dict[str, str] = {}

    def root(name: str) -> str:
        while clusters.setdefault(name, name) != name:
            name = clusters[name]
        return name

    for (_, a, _, b, _), _ in group:
        if not {cell.items[n].part.family for n in (a, b)} & FEEDING:
            clusters[root(a)] = root(b)
    bundles: dict[str, Ways] = {}
    for way, joins in sorted(group, key=lambda w: _place(cell, w)):
        outer = [n for n in (way[1], way[3]) if cell.items[n].part.family not in FEEDING]
        key = root(outer[0]) if outer else way[3]
        bundles.setdefault(key, []).append((way, joins))
    chunks: list[Ways] = []
    for bundle in bundles.values():
        if chunks and _boxes(cell, [*chunks[-1], *bundle]) <= MOST_BOXES:
            chunks[-1] = [*chunks[-1], *bundle]
            continue
        for k, laid in enumerate(bundle):
            if k == 0 or _boxes(cell, [*chunks[-1], laid]) > MOST_BOXES:
                chunks.append([])
            chunks[-1].append(laid)
    return chunks


def _place(cell: Cell, way: tuple[Way, list[Join]]) -> int:
    """Return where on its controller a connection is landed, the first terminal first."""
    for join in way[1]:
        for end in (join.a, join.b):
            item = cell.items[end.item]
            if item.part.family == "controller":
                return item.terminals().index(end)
    return 0


def _boxes(cell: Cell, ways: Ways) -> int:
    """Return how many boxes would stand above each other: devices, and ways between others."""
    ends = [n for way, _ in ways for n in (way[1], way[3])]
    devices = {n for n in ends if cell.items[n].part.family not in FEEDING | PASSIVE}
    others = [w for w, _ in ways if not {w[1], w[3]} & devices]
    passive = {n for w in others for n in (w[1], w[3]) if cell.items[n].part.family in PASSIVE}
    return len(devices) + max(len(others) - len(passive), 0)


def _view(cell: Cell, ways: Ways) -> CircuitView:
    nets: dict[str, list[PathNet]] = {}
    conductors = []
    for number, (way, joins) in enumerate(ways):
        cable, a, _, b, _ = way
        pins = []
        for name in (a, b):
            passes = cell.items[name].part.family in PASSIVE
            net = "through" if passes else f"{number}"
            known = nets.setdefault(name, [])
            if all(n.net != net for n in known):
                known.append(PathNet(name, net, None, 1.0))
            mine = [j.a if j.a.item == name else j.b for j in joins]
            pins.append(_pin(cell, mine, net))
        name, text = _words(cell, cable, joins)
        conductors.append(
            PathConductor(name, "cable", cable, "", pins[0], pins[1], None, live=True, text=text)
        )
    items = tuple(
        PathItem(n, i.note, i.part.title, i.part.name, i.part.family, "", "", "", tuple(nets[n]))
        for n, i in cell.items.items()
        if n in nets
    )
    return CircuitView(
        cell.name, cell.revision, "", "", "", "", "", items, (), tuple(conductors), (), ""
    )


def _pin(cell: Cell, terminals: Sequence[Terminal], net: str) -> PathPin:
    first = terminals[0]
    socket = cell.items[first.item].part.sockets.get(first.socket)
    if socket is not None and not socket.clamps:
        gender = socket.gender if socket.gender in ("male", "female") else ""
        return PathPin(first, net, socket.connector, gender, first.socket)
    names = list(dict.fromkeys(t.pin for t in terminals))
    words = " ".join(names) if len(names) <= MOST_PINS else f"{names[0]} .. {names[-1]}"
    text = f"{first.socket}: {words}" if first.socket else words
    return PathPin(first, net, "", "", text)


def _words(cell: Cell, cable: str, joins: Sequence[Join]) -> tuple[str, str]:
    if cable:
        cores = len({j.core for j in joins})
        length = format_interval(cell.cables[cable].length_m, "metres")
        used = f"{cores} core" + ("s" if cores > 1 else "")
        return cable, f"{length}, {used}"
    if joins[0].plugged:
        return "plug", "direct"
    return ("link", "1") if len(joins) == 1 else ("links", f"{len(joins)}")


def _foot(cell: Cell, ways: Ways, width_mm: float) -> list[tuple[float, str, str]]:
    """Return one line for each kind of cable and connector of the sheet."""
    kinds: dict[str, list[str]] = {}
    for (cable, *_), _ in ways:
        if cable:
            names = kinds.setdefault(cell.cables[cable].part.title, [])
            if cable not in names:
                names.append(cable)
    sockets: dict[str, list[str]] = {}
    for _, joins in ways:
        for t in dict.fromkeys(x for j in joins for x in (j.a, j.b)):
            socket = cell.items[t.item].part.sockets.get(t.socket)
            if socket is not None and not socket.clamps:
                word = f"{connector_name(socket.connector)} {socket.gender}"
                place = f"{t.item}-{t.socket}"
                names = sockets.setdefault(word, [])
                if place not in names:
                    names.append(place)
    shown = {n for way, _ in ways for n in (way[1], way[3])}
    links = [f"{j.a} to {j.b}" for j in cell.joins if j.a.item == j.b.item and j.a.item in shown]
    if links:
        kinds["Links at one item"] = links
    lines = []
    for word, names in (*kinds.items(), *sockets.items()):
        for k, line in enumerate(wrap(f"{word}: {', '.join(names)}", TEXT_MM, width_mm - 4.0)):
            lines.append((2.0 if k else 0.0, "", line))
    return lines
