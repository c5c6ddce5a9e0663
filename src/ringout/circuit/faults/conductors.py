"""Faults of single conductors: open, badly joined, exchanged, landed beside the right place."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations

from ringout.base import Interval
from ringout.cell.joins import holds
from ringout.cell.model import Join, Terminal
from ringout.circuit.behaviour import OPEN, ohmic
from ringout.circuit.faults.model import Change, Extra, Fault
from ringout.circuit.faults.wiring import End, Wiring, ohms


def group_of(join: Join, end: Terminal) -> str:
    """Return the neighbourhood of a conductor: its cable, or the item for jumpers and plugs."""
    return join.cable or end.item


def opens_and_joints(w: Wiring) -> Iterator[Fault]:
    """Yield every conductor open and badly joined at each end landed by hand, or in the cord."""
    joint = ohms("joint")
    bad = ohmic(Interval.exact(joint))
    for end in w.ends:
        join = end.join
        first = end.at == join.a
        if join.cable and end.by_hand:
            kind, name, words = "open-landed", w.end_name(end), f"is open at {end.at}"
        elif not first:
            continue  # in a cord, a plug or a jumper the two ends are one place
        elif join.cable:
            kind, name, words = "open-cord", join.conductor, "is open in the cord"
        else:
            kind, name, words = "open-link", join.conductor, "is open"
        group = group_of(join, end.at)
        what = f"Core {join.conductor}" if join.cable else f"The joint {join.conductor}"
        change = Change.always(join.conductor, OPEN)
        place = str(end.at) if end.by_hand else join.conductor
        yield w.fault(
            f"open {name}", kind, f"{what} {words}.", [end], [change], group=group, place=place
        )
        where = f"at {end.at}" if join.cable and end.by_hand else "in a contact"
        yield w.fault(
            f"joint {name} {joint:g} ohm",
            "joint",
            f"{what} has a bad joint of {joint:g} ohm {where}.",
            [end],
            [Change.always(join.conductor, bad)],
            group=group,
            place=place,
        )


def exchanged(w: Wiring, first: End, second: End) -> tuple[list[Change], list[Extra]] | None:
    """Return two ends landed on each other's terminal; None when that changes nothing."""
    here = w.node(first.at), w.node(second.at)
    there = w.node(first.far), w.node(second.far)
    if first.number == second.number or here[0] == here[1] or there[0] == there[1]:
        return None
    one, other = w.moved(first, here[1]), w.moved(second, here[0])
    opened = [Change.always(e.join.conductor, OPEN) for e in (first, second)]
    return [*opened, one[1], other[1]], [one[0], other[0]]


def _pairs_of_ends(first: Join, second: Join, w: Wiring) -> Iterator[tuple[End, End]]:
    """Yield the two places where two cores of a cable lie side by side."""
    ends = [[e for e in w.ends if e.join is join] for join in (first, second)]
    for one in ends[0]:
        for other in ends[1]:
            if one.at.item == other.at.item:
                yield one, other
                far = [next(e for e in pair if e is not used) for pair, used in
                       zip(ends, (one, other), strict=True)]  # fmt: skip
                yield far[0], far[1]
                return


def _at(first: End, second: End) -> str:
    """Return how the place of two ends is called."""
    if first.at.item != second.at.item:
        return f"{first.at.item}/{second.at.item}"
    if first.far.item == first.at.item and first.at.socket:
        return f"{first.at.item}-{first.at.socket}"
    return first.at.item


def swaps(w: Wiring) -> Iterator[Fault]:
    """Yield any two cores of a hand-landed cable, or of one connector, exchanged at one end."""
    by_cable: dict[str, list[Join]] = {}
    for join in w.cell.joins:
        if join.cable and not join.plugged:
            by_cable.setdefault(join.cable, []).append(join)
    for cable, joins in by_cable.items():
        for first, second in combinations(joins, 2):
            for one, other in _pairs_of_ends(first, second, w):
                yield from _swap(w, one, other, cable)
    for item, socket in w.sockets:
        ends = [e for e in w.at_socket(item, socket) if e.by_hand and e.join.cable]
        for one, other in combinations(ends, 2):
            if one.join.cable != other.join.cable:
                yield from _swap(w, one, other, f"{item}-{socket}")


def _swap(w: Wiring, one: End, other: End, group: str) -> Iterator[Fault]:
    made = exchanged(w, one, other)
    if made is None:
        return
    first, second, at = one.join.conductor, other.join.conductor, _at(one, other)
    yield w.fault(
        f"swap {first} {second}@{at}",
        "swap",
        f"Cores {first} and {second} are exchanged at {at}: {first} is on {other.at}, "
        f"{second} on {one.at}.",
        [one, other],
        *made,
        group=group,
        place=at,
        also=(f"swap {second} {first}@{at}",),
    )


def pins_off(w: Wiring) -> Iterator[Fault]:
    """Yield every hand-landed end one free pin, or one clamp, beside its own."""
    for end in w.ends:
        if not end.by_hand or not end.join.cable:
            continue
        part = w.cell.items[end.at.item].part
        for beside in w.beside(end.at):
            full = len(w.landed.get(beside, ())) >= holds(part, beside)
            to = w.node(beside)
            if full or to == w.node(end.at) or to == w.node(end.far):
                continue
            extra, change = w.moved(end, to)
            name = end.join.conductor
            yield w.fault(
                f"off {w.end_name(end)} at {beside}",
                "off-pin",
                f"Core {name} is landed on {beside} instead of {end.at}.",
                [end],
                [Change.always(name, OPEN), change],
                [extra],
                group=end.join.cable,
                place=str(end.at),
            )


def plugs_off(w: Wiring) -> Iterator[Fault]:
    """Yield every plug in the neighbouring socket of its kind: free, or exchanged with its plug."""
    for item, socket in w.sockets:
        if w.is_clamp(item, socket):
            continue
        sockets = w.cell.items[item].part.sockets
        kind = (sockets[socket].connector, sockets[socket].gender)
        alike = [n for n, s in sockets.items() if (s.connector, s.gender) == kind]
        at = alike.index(socket)
        ends = w.at_socket(item, socket)
        for beside in (alike[k] for k in (at - 1, at + 1) if 0 <= k < len(alike)):
            others = w.at_socket(item, beside)
            if not others:
                yield from _plug_off(w, ends, beside)
            elif alike.index(beside) > at:
                yield from _plugs_exchanged(w, ends, others)


def _called(ends: Sequence[End]) -> str:
    """Return how a plug is called: by its cable, or by what it belongs to."""
    cables = list(dict.fromkeys(e.join.cable for e in ends if e.join.cable))
    return "+".join(cables) or f"{ends[0].far.item}-{ends[0].far.socket}"


def _to_socket(w: Wiring, ends: Iterable[End], socket: str) -> tuple[list[Change], list[Extra]]:
    changes: list[Change] = []
    extras: list[Extra] = []
    for end in ends:
        changes.append(Change.always(end.join.conductor, OPEN))
        pins = w.cell.items[end.at.item].part.sockets[socket].pins
        to = w.node(Terminal(end.at.item, socket, end.at.pin)) if end.at.pin in pins else None
        if to is not None and to != w.node(end.far):
            extra, change = w.moved(end, to)
            changes.append(change)
            extras.append(extra)
    return changes, extras


def _plug_off(w: Wiring, ends: list[End], beside: str) -> Iterator[Fault]:
    item, socket = ends[0].at.item, ends[0].at.socket
    yield w.fault(
        f"off {_called(ends)}@{item}-{socket} at {item}-{beside}",
        "off-plug",
        f"The plug of {_called(ends)} is in {item}-{beside} instead of {item}-{socket}.",
        ends,
        *_to_socket(w, ends, beside),
        group=f"{item}-{socket}",
        place=f"{item}-{socket}",
    )


def _plugs_exchanged(w: Wiring, ends: list[End], others: list[End]) -> Iterator[Fault]:
    item, socket, beside = ends[0].at.item, ends[0].at.socket, others[0].at.socket
    one, other = _to_socket(w, ends, beside), _to_socket(w, others, socket)
    first, second = _called(ends), _called(others)
    changes = {c.element: c for c in (*one[0], *other[0])}
    words = f"{first} {second}" if first != second else "plugs"
    yield w.fault(
        f"swap {words}@{item}-{socket}/{beside}",
        "swap-plugs",
        f"The plugs of {item}-{socket} ({first}) and {item}-{beside} ({second}) are exchanged.",
        [*ends, *others],
        changes.values(),
        {e.name: e for e in (*one[1], *other[1])}.values(),
        group=f"{item}-{socket}",
        place=f"{item}-{socket}",
        also=(f"swap {second} {first}@{item}-{socket}/{beside}",) if first != second else (),
    )
