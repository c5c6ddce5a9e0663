"""Faults that join what is apart: strands, crushed cables, chafed cores, water."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from ringout.base import Interval
from ringout.cell.model import Join, Terminal
from ringout.circuit.behaviour import Behaviour, ohmic
from ringout.circuit.faults.model import Change, Extra, Fault
from ringout.circuit.faults.wiring import EARTH, End, Wiring, ohms

ALL_TOUCH = 5  # cores of a cable of which any two lie side by side; more lie in a ring


def _joined(w: Wiring, a: int, b: int, kind: str) -> tuple[list[Change], list[Extra]]:
    behaviour = _behaviour(kind)
    extra = w.added(kind, a, b, behaviour)
    return [Change.always(extra.name, behaviour)], [extra]


def _behaviour(kind: str) -> Behaviour:
    return ohmic(Interval.exact(ohms(kind)))


def _apart(w: Wiring, a: int, b: int) -> bool:
    return a != b and a in w.tied and b in w.tied


def _ends_at(w: Wiring, *terminals: Terminal) -> list[End]:
    return [e for t in terminals for e in w.landed.get(t, ())]


def between_terminals(w: Wiring) -> Iterator[Fault]:
    """Yield shorts between neighbouring pins and clamps where a person landed something."""
    places = dict.fromkeys((e.at.item, e.at.socket) for e in w.ends if _open_place(e))
    for item, socket in places:
        for a, b in w.neighbours(item, socket):
            here = _ends_at(w, a, b)
            if not here or not _apart(w, w.node(a), w.node(b)):
                continue
            yield w.fault(
                f"short {a}-{b}",
                "short-pins",
                f"{a} touches {b} beside it.",
                here,
                *_joined(w, w.node(a), w.node(b), "short"),
                group=f"{item}-{socket}" if socket else item,
                place=f"{item}-{socket}" if socket else item,
                items=(item,),
                also=(f"short {b}-{a}",),
            )


def _open_place(end: End) -> bool:
    """Return whether strands may lie loose there: hand-landed, or plugged without a cord."""
    return end.by_hand or (not end.join.cable and end.at == end.join.b)


def wet_plugs(w: Wiring) -> Iterator[Fault]:
    """Yield water across neighbouring pins of every round connector in use."""
    for item, socket in w.sockets:
        if w.is_clamp(item, socket):
            continue
        for a, b in w.neighbours(item, socket):
            here = _ends_at(w, a, b)
            if not here or not _apart(w, w.node(a), w.node(b)):
                continue
            yield w.fault(
                f"water {a}-{b}",
                "water",
                f"Water lies across {a} and {b} ({ohms('water') / 1000:g} kOhm).",
                here,
                *_joined(w, w.node(a), w.node(b), "water"),
                group=f"{item}-{socket}",
                place=f"{item}-{socket}",
                items=(item,),
                also=(f"water {b}-{a}",),
            )


def between_cores(w: Wiring) -> Iterator[Fault]:
    """Yield shorts between cores that lie side by side in a cable or cord."""
    by_cable: dict[str, list[Join]] = {}
    for join in w.cell.joins:
        if join.cable:
            by_cable.setdefault(join.cable, []).append(join)
    for cable, joins in by_cable.items():
        colours = [c.colour for c in w.cell.cables[cable].part.cores]
        for one, other in combinations(joins, 2):
            if not _side_by_side(colours, one.core, other.core):
                continue
            ends = _at_one_place(w, one, other)
            a, b = (w.core_node(e) for e in ends)
            if not _apart(w, a, b):
                continue
            yield w.fault(
                f"short {one.conductor}-{other.conductor}",
                "short-cores",
                f"Cores {one.conductor} and {other.conductor} touch inside the cable.",
                ends,
                *_joined(w, a, b, "short"),
                group=cable,
                place=cable,
                also=(f"short {other.conductor}-{one.conductor}",),
            )


def _side_by_side(colours: list[str], one: str, other: str) -> bool:
    if len(colours) <= ALL_TOUCH:
        return True
    apart = abs(colours.index(one) - colours.index(other))
    return apart in (1, len(colours) - 1)


def _at_one_place(w: Wiring, one: Join, other: Join) -> tuple[End, End]:
    """Return the ends of two cores that land on the same item, or their first ends."""
    ends = [[e for e in w.ends if e.join is join] for join in (one, other)]
    for a in ends[0]:
        for b in ends[1]:
            if a.at.item == b.at.item:
                return a, b
    return ends[0][0], ends[1][0]


def to_rails(w: Wiring) -> Iterator[Fault]:
    """Yield each core of a cable chafed through to +24 V, to 0 V and to PE."""
    for join in w.cell.joins:
        if not join.cable:
            continue
        end = next(e for e in w.ends if e.join is join)
        nodes = (w.core_node(end), w.node(end.far))
        rails: list[tuple[str, int | None]] = [
            ("+24V", None if nodes[0] in w.plus else w.nearest(nodes, w.plus)),
            ("0V", None if nodes[0] in w.minus else w.nearest(nodes, w.minus)),
            ("PE", None if EARTH in nodes else EARTH),
        ]
        for rail, to in rails:
            if to is None or nodes[0] not in w.tied or to in nodes:
                continue
            said = rail.replace("24V", "24 V").replace("0V", "0 V")
            yield w.fault(
                f"short {join.conductor} to {rail}",
                "short-rail",
                f"Core {join.conductor} touches {said}.",
                [end],
                *_joined(w, nodes[0], to, "short"),
                group=join.cable,
                place=join.conductor,
            )
