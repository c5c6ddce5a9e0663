"""Faults of parts: contacts, output stages, suppressors, polarity, commons, the supply."""

from __future__ import annotations

from collections.abc import Iterator

from ringout.base import Interval
from ringout.cell.model import Item, Terminal
from ringout.circuit.behaviour import OPEN, Behaviour, behave, ohmic
from ringout.circuit.curves import mirrored
from ringout.circuit.faults.conductors import exchanged
from ringout.circuit.faults.model import Change, Fault
from ringout.circuit.faults.wiring import EARTH, End, Wiring, ohms
from ringout.circuit.model import Element
from ringout.tables import find_row

ONE_WAY = frozenset({"diode", "clamp", "load", "lamp", "drop", "leak"})
SUPPRESSORS = frozenset({"diode", "clamp"})


def _of_item(w: Wiring, item: str) -> list[tuple[int, Element]]:
    return [(k, e) for k, e in enumerate(w.circuit.elements) if e.item == item]


def _in_use(w: Wiring, e: Element) -> bool:
    """Return whether conductors reach both sides of an element."""
    used = {w.node(end.at) for end in w.ends}
    return e.tail in used and e.head in used


def contacts_and_stages(w: Wiring) -> Iterator[Fault]:
    """Yield contacts welded or never closing, output stages shorted or dead."""
    used = {w.node(end.at) for end in w.ends}
    for number, e in enumerate(w.circuit.elements):
        spec = e.spec
        if spec is None or not spec.when or not {e.tail, e.head} <= used:
            continue
        if spec.kind == "contact" or (spec.kind == "drop" and "material" in spec.words):
            stuck, dead = ("welded", "never")
            words = ("contact is welded: it never opens", "contact never closes")
            closed = ohmic(Interval.exact(ohms("welded")))
            if spec.kind == "drop":
                closed = w.behaviour(number)[0]
        elif spec.kind == "drop":
            stuck, dead = ("stage-shorted", "stage-dead")
            words = ("output stage has gone short", "output stage is dead")
            closed = ohmic(Interval.exact(ohms("stage-shorted")))
        else:
            continue
        name = _stage_name(w, e)
        yield _inside(
            w, f"{_word(stuck)} {name}", stuck, f"The {words[0]} ({name}).", e,
            Change.always(e.name, closed),
        )  # fmt: skip
        yield _inside(
            w, f"{_word(dead)} {name}", dead, f"The {words[1]} ({name}).", e,
            Change.always(e.name, OPEN),
        )  # fmt: skip
        actor = w.circuit.actors[int(w.circuit.cond_actor[number, 0])]
        if spec.kind == "contact" and actor.moved_by == "person":
            on, off = w.behaviour(number)
            word = "no" if actor.positions[0] in spec.when else "nc"
            yield _inside(
                w, f"{word} for {name}", "wrong-part",
                f"{e.item} has a contact of the other kind ({name}): closed where it should be "
                f"open, open where it should be closed.", e, Change(e.name, off, on),
            )  # fmt: skip


def _word(kind: str) -> str:
    return kind.rsplit("-", maxsplit=1)[-1]


def _stage_name(w: Wiring, e: Element) -> str:
    """Return the channel an output stage is, or the element's own name."""
    part = w.cell.items[e.item].part
    spec = e.spec
    names = [
        f"{e.item}.{c.name}" for c in part.channels.values() if spec and c.element == spec.name
    ]
    return names[0] if names else e.name


def _inside(w: Wiring, name: str, kind: str, text: str, e: Element, *changes: Change) -> Fault:
    return w.inside(w.cell.items[e.item], name, kind, text, changes)


def suppressors(w: Wiring) -> Iterator[Fault]:
    """Yield suppressors of coils left out, and those that can be turned fitted reversed."""
    for item in w.cell.items.values():
        if item.part.facts.get("clamp", "none") == "none":
            continue
        inside = [e for _, e in _of_item(w, item.name)]
        clamps = [e for e in inside if e.kind in SUPPRESSORS]
        if not clamps or not any(_in_use(w, e) for e in inside):
            continue
        component = item.part.family == "component"
        what = "The suppressor" if component else "The suppressor built into"
        taken = inside if component else clamps
        yield _inside(
            w, f"suppressor absent {item.name}", "suppressor-absent",
            f"{what} {item.name} is missing.", clamps[0],
            *(Change.always(e.name, OPEN) for e in taken),
        )  # fmt: skip
        if component and item.part.facts.get("polarised") == "yes":
            yield _inside(
                w, f"suppressor reversed {item.name}", "suppressor-reversed",
                f"{what} {item.name} is fitted the wrong way round.", clamps[0],
                *(_mirror(w, e) for e in inside),
            )  # fmt: skip


def _mirror(w: Wiring, e: Element) -> Change:
    def turned(b: Behaviour) -> Behaviour:
        return Behaviour(mirrored(b.high), mirrored(b.typ), mirrored(b.low))

    on, off = w.behaviour(w.circuit.index_of[e.name])
    return Change(e.name, turned(on), turned(off))


def reversed_parts(w: Wiring) -> Iterator[Fault]:
    """Yield hand-landed two-terminal parts that know plus and minus, connected the other way."""
    for item in w.cell.items.values():
        pair = _two_ends(w, item)
        if pair is None:
            continue
        nodes = {w.node(pair[0].at), w.node(pair[1].at)}
        known = any(
            e.kind in ONE_WAY and {e.tail, e.head} == nodes for _, e in _of_item(w, item.name)
        )
        made = exchanged(w, *pair) if known else None
        if made is None or item.part.family in ("component", "supply"):
            continue
        yield w.fault(
            f"reversed {item.name}",
            "reversed",
            f"{item.name} is connected the wrong way round: {pair[0].at} and {pair[1].at} "
            f"are exchanged.",
            pair,
            *made,
            group=item.name,
            place=item.name,
            where=(item.span,),
        )


def _two_ends(w: Wiring, item: Item) -> tuple[End, End] | None:
    """Return the ends at an item's only two terminals with a single landed core each."""
    found = [
        w.landed[t]
        for t in (Terminal(item.name, "", p) for p in item.part.terminals)
        if t in w.landed and w.node(t) != EARTH and _is_conductive(w, item, t)
    ]
    cores = [[e for e in ends if e.join.cable] for ends in found]
    if len(found) != 2 or any(len(c) != 1 for c in cores):  # two terminals, one core on each
        return None
    return cores[0][0], cores[1][0]


def _is_conductive(w: Wiring, item: Item, terminal: Terminal) -> bool:
    node = w.node(terminal)
    return any(node in (e.tail, e.head) for _, e in _of_item(w, item.name))


def low_supplies(w: Wiring) -> Iterator[Fault]:
    """Yield every supply set or sagged to well under its voltage."""
    factor = find_row("fault_values", kind="supply-low").number("of_nominal_x")
    for number, e in enumerate(w.circuit.elements):
        if e.kind != "source" or e.spec is None:
            continue
        low = Interval.exact(e.spec.values["volts"].typ * factor)
        values = {**e.spec.values, "volts": low}
        on = behave("source", tuple(values.items()))[0]
        off = w.behaviour(number)[1]
        yield _inside(
            w, f"low supply {e.item}", "supply-low",
            f"The supply {e.item} gives only {low.typ:.1f} V.", e, Change(e.name, on, off),
        )  # fmt: skip


def missing_returns(w: Wiring) -> Iterator[Fault]:
    """Yield 0 V and commons forgotten at controllers and protection."""
    for item in w.cell.items.values():
        if item.part.family not in ("controller", "protection"):
            continue
        returns = _returns(w, item)
        words = [word for word, _ in returns]
        for word, ends in returns:
            at = ends[0].at
            name = item.name if words.count(word) == 1 else str(at)
            yield w.fault(
                f"no {word} {name}",
                "no-return",
                f"{'0 V' if word == '0V' else 'The common'} of {item.name} at {at} "
                f"is not connected.",
                ends,
                [Change.always(e.join.conductor, OPEN) for e in ends],
                group=item.name,
                place=item.name,
                where=(item.span,),
            )


def _returns(w: Wiring, item: Item) -> list[tuple[str, list[End]]]:
    """Return an item's 0 V nets and commons of channels, with the conductors that feed each."""
    found: list[tuple[str, list[End]]] = []
    own = [e for e in w.ends if e.at.item == item.name]
    for node in dict.fromkeys(w.node(e.at) for e in own):
        if node in w.minus:
            word, rail = "0V", w.minus
        elif node in w.plus and _is_common(w, item, node):
            word, rail = "common", w.plus
        else:
            continue
        far = [(e, rail.get(w.node(e.far))) for e in own if w.node(e.at) == node]
        feeding = [e for e, depth in far if depth is not None and depth < rail[node]]
        if feeding:
            found.append((word, feeding))
    return found


def _is_common(w: Wiring, item: Item, node: int) -> bool:
    """Return whether a net is shared by channels and does not feed the item's electronics."""
    channels = {f"{item.name}.{c.element}" for c in item.part.channels.values()}
    inside = [e for _, e in _of_item(w, item.name)]
    shared = [e for e in inside if e.name in channels and node in (e.tail, e.head)]
    feeds = any(e.kind == "load" and e.tail == node and e.head in w.minus
                for e in inside if e.name not in channels)  # fmt: skip
    return len(shared) > 1 and not feeds
