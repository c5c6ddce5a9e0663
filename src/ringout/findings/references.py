"""Supplies and returns: no supply, open commons, supplies without a common 0 V, current in PE."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from ringout.base import Severity
from ringout.cell.model import Item
from ringout.cell.part import Channel
from ringout.circuit.model import Circuit, Element
from ringout.findings.clusters import RAIL_KINDS, islands
from ringout.findings.feeds import commons_of
from ringout.findings.model import Finding, Quantity
from ringout.findings.survey import Survey

PE_CURRENT_A = 0.001  # operating current through protective earth from here on is told
SAME_V = 1.0  # two 0 V no further apart than this may be joined
# What may feed a stretch; a resistor is a load: what hangs behind one has no supply.
_THROUGH = frozenset({"contact", "drop", "diode", "clamp"})


def judge_references(circuit: Circuit, found: Survey) -> list[Finding]:
    """Return findings on where currents come from and how they get back."""
    sources = [e for e in circuit.elements if e.kind == "source"]
    if not sources:
        return [
            Finding(
                "F406",
                Severity.ERROR,
                "the cell has no 24 V supply: nothing can be on. Add one, as in "
                "`T1: supply-24v-5a`, and join its + and - to what it feeds",
                (circuit.cell.span,),
                circuit.cell.name,
                (),
                "common practice",
            )
        ]
    label = rail_labels(circuit)
    findings = list(_open_feeds(circuit, label))
    findings += _split_references(circuit, found, rail_labels(circuit, through_earth=False))
    findings += _earth_current(circuit, found)
    return findings


def rail_labels(circuit: Circuit, *, through_earth: bool = True) -> list[int]:
    """Return (N,) a number per node; nodes joined by conductors and protection share it.

    Without `through_earth` what joins a node to PE is no conductor: earth is no 0 V.
    """
    label = list(range(len(circuit.network.node_names)))

    def root(n: int) -> int:
        while label[n] != n:
            label[n] = label[label[n]]
            n = label[n]
        return n

    for element in circuit.elements:
        earth = 0 in (element.tail, element.head) and not through_earth
        if element.kind in RAIL_KINDS and not earth:
            label[root(element.tail)] = root(element.head)
    return [root(n) for n in range(len(label))]


def pole_labels(circuit: Circuit, label: Sequence[int]) -> set[int]:
    """Return the numbers, as `rail_labels` gives them, of what is a pole of a supply."""
    sources = (e for e in circuit.elements if e.kind == "source")
    return {label[n] for e in sources for n in (e.tail, e.head)}


@dataclass(frozen=True, slots=True)
class _Open:
    """A net that must be fed and is not.

    Args:
        item: whose net it is.
        net: the net.
        side: 0 for +, 1 for 0 V.
        feeds: what is dead with it: `electronics`, `drivers` of outputs or a `common`.
    """

    item: str
    net: str
    side: int
    feeds: str


def _in_use(circuit: Circuit, item: Item, channels: list[Channel]) -> bool:
    """Return whether a channel of a group has a name or a conductor on its own net."""
    part = item.part
    names = {c.name for c in channels}
    if any(s.item == item.name and s.channel.name in names for s in circuit.cell.signals.values()):
        return True
    elements = [part.element_by_name[c.element] for c in channels]
    shared = {e.tail for e in elements} if len({e.tail for e in elements}) == 1 else set()
    shared |= {e.head for e in elements} if len({e.head for e in elements}) == 1 else set()
    own = {n for e in elements for n in (e.tail, e.head)} - shared
    return any(t.item == item.name and item.net(t) in own for t in circuit.cell.join_at)


def _through_a_switch(
    circuit: Circuit, label: list[int], item: str, here: int, poles: set[int]
) -> bool:
    """Return whether contacts, outputs or diodes of other items join a stretch to a pole."""
    beside: dict[int, set[int]] = {}
    for e in circuit.elements:
        if e.item == item or e.kind not in _THROUGH:
            continue
        owner = circuit.cell.items[e.item].part
        ends = (label[e.tail], label[e.head])
        inside = owner.family in ("sensor", "controller") and e.kind not in ("contact", "drop")
        rails: set[int] = set()
        if owner.family == "sensor" and owner.alive is not None:
            rails = {
                label[circuit.node_of_net[(e.item, n)]]
                for n in (owner.alive.tail, owner.alive.head)
            }
        for near, far in (ends, ends[::-1]):
            # an output feeds what hangs on it, not the rail of its own device
            if not inside and near not in rails:
                beside.setdefault(near, set()).add(far)
    found = {here}
    todo = [here]
    while todo and not found & poles:
        new = beside.get(todo.pop(), set()) - found
        found |= new
        todo += new
    return bool(found & poles)


def _not_fed(circuit: Circuit, label: list[int]) -> list[_Open]:
    sources = [e for e in circuit.elements if e.kind == "source"]
    poles = ({label[e.tail] for e in sources}, {label[e.head] for e in sources})
    both = poles[0] | poles[1]
    out: list[_Open] = []

    def is_open(item: Item, net: str, good: set[int]) -> bool:
        here = label[circuit.node_of_net[(item.name, net)]]
        fed = here in good or _through_a_switch(circuit, label, item.name, here, good)
        return not fed and not any(o.item == item.name and o.net == net for o in out)

    for item in circuit.cell.items.values():
        if item.part.family == "supply":
            continue
        if item.part.alive is not None:
            for side, net in enumerate((item.part.alive.tail, item.part.alive.head)):
                if is_open(item, net, poles[side]):
                    out.append(_Open(item.name, net, side, "electronics"))
        for side, net in _second_feeds(circuit, label, item, both):
            if is_open(item, net, both):
                out.append(_Open(item.name, net, side, "drivers"))
        for side, net, channels in commons_of(item):
            if is_open(item, net, both) and _in_use(circuit, item, channels):
                out.append(_Open(item.name, net, side, "common"))
    return out


def _second_feeds(
    circuit: Circuit, label: list[int], item: Item, poles: set[int]
) -> Iterable[tuple[int, str]]:
    """Yield the other pole of what a controller feeds its outputs' drivers with: side, net.

    Only where one pole is fed; a block left out altogether is not in use.
    """
    if item.part.family != "controller":
        return
    alive = item.part.alive
    own = (alive.tail, alive.head) if alive is not None else ()
    common = {net for _, net, _ in commons_of(item)}
    channels = {c.element for c in item.part.channels.values()}
    on_terminals = set(item.part.terminals.values())
    for spec in item.part.elements:
        nets = (spec.tail, spec.head)
        driver = spec.kind == "load" and not spec.when and spec.name not in channels
        if not driver or not set(nets) <= on_terminals:
            continue
        fed = [label[circuit.node_of_net[(item.name, n)]] in poles for n in nets]
        for side, net in enumerate(nets):
            if fed[1 - side] and not fed[side] and net not in own and net not in common:
                yield side, net


def _open_feeds(circuit: Circuit, label: list[int]) -> Iterable[Finding]:
    """Yield one finding per stretch of conductors that should be fed and is not."""
    stretches: dict[tuple[int, int], list[_Open]] = {}
    for found in _not_fed(circuit, label):
        here = label[circuit.node_of_net[(found.item, found.net)]]
        stretches.setdefault((here, found.side), []).append(found)
    sources = [e for e in circuit.elements if e.kind == "source"]
    reached = {label[n] for e in sources for n in (e.tail, e.head)}
    for (here, side), opens in stretches.items():
        families = {o.item: circuit.cell.items[o.item].part.family for o in opens}
        first = min(opens, key=lambda o: families[o.item] != "controller")
        item = circuit.cell.items[first.item]
        name = circuit.network.node_names[circuit.node_of_net[(first.item, first.net)]]
        other = "the wrong pole" if here in reached else "no supply"
        also = [o.item for o in opens if o.item != first.item]
        more = f" Dead with it: {', '.join(dict.fromkeys(also))}." if also else ""
        pole = ("+24 V", "0 V")[side]
        if first.feeds == "common":
            text = (
                f"{item.name}: its {pole}, the common of its channels, at {name} is joined to "
                f"{other}; no "
                f"current can return, every channel of the group is dead.{more}"
            )
        else:
            dead = "its outputs cannot be trusted, on or off"
            dead = dead if first.feeds == "drivers" else "nothing on it can work"
            text = f"{item.name}: its {pole} at {name} is joined to {other}; {dead}.{more}"
        yield Finding(
            "F401",
            Severity.ERROR,
            text,
            (item.span,),
            name,
            (),
            "common practice",
            about=(
                ("item", first.item),
                ("side", str(side)),
                ("stretch", str(here)),
                *(("also", n) for n in dict.fromkeys(also)),
            ),
        )


def _split_references(circuit: Circuit, found: Survey, label: list[int]) -> Iterable[Finding]:
    sources = [e for e in circuit.elements if e.kind == "source"]
    if len({label[s.head] for s in sources}) < 2:
        return
    pairs: dict[tuple[str, str], tuple[Element, Element, set[int]]] = {}
    for island in islands(circuit, found.part):
        ends = {
            label[n]
            for e in island
            for n in (circuit.elements[e].tail, circuit.elements[e].head)
            if found.part.rail[n]
        }
        touched = [s for s in sources if label[s.tail] in ends or label[s.head] in ends]
        for a in touched:
            for b in touched:
                if a.item < b.item and label[a.head] != label[b.head]:
                    pairs.setdefault((a.item, b.item), (a, b, set()))[2].update(island)
    for a, b, elements in pairs.values():
        yield _apart(circuit, a, b, elements)


def _apart(circuit: Circuit, a: Element, b: Element, elements: set[int]) -> Finding:
    """Return the finding on two supplies that share no 0 V, and elements that need one."""
    signals = [
        s
        for s in circuit.cell.signals.values()
        if circuit.index_of.get(f"{s.item}.{s.channel.element}", -1) in elements
    ]
    names = ", ".join(s.name for s in signals) or "the conductor between them"
    above_v, through = _above(circuit, a, b)
    if through:
        low, high = (a, b) if above_v > 0 else (b, a)
        shorted = " and ".join(through)
        counts = "count" if len(signals) > 1 else "counts"
        wrong = f"{names} {counts} to the wrong pole. " if signals else ""
        text = (
            f"{low.item} and {high.item} stand in series: 0 V of {high.item} is "
            f"{abs(above_v):.0f} V above 0 V of {low.item}, and its +24 V "
            f"{abs(above_v) + _source_v(high):.0f} V. {wrong}Do not join the two 0 V as it "
            f"stands, that shorts {shorted}; take 0 V of {high.item} off +24 V first"
        )
    else:
        text = (
            f"{a.item} and {b.item} have no common 0 V: {names} has no path back to the "
            f"supply that drives it. Join the two 0 V with one conductor; never the +24 V"
        )
    return Finding(
        "F402",
        Severity.ERROR if signals or not through else Severity.WARNING,
        text,
        (
            *(s.span for s in signals),
            circuit.cell.items[a.item].span,
            circuit.cell.items[b.item].span,
        ),
        f"{a.item}, {b.item}",
        (),
        "common practice",
        about=(
            ("item", a.item),
            ("other", b.item),
            ("series", "yes" if through else "no"),
            *(("signal", s.name) for s in signals),
        ),
    )


def _source_v(source: Element) -> float:
    return source.spec.values["volts"].typ if source.spec is not None else 0.0


def _above(circuit: Circuit, a: Element, b: Element) -> tuple[float, list[str]]:
    """Return how far the 0 V of `b` stands above that of `a`, and the supplies between them.

    Followed over conductors, earth, closed contacts and other supplies. Without such a way, or
    where it brings both to the same voltage, joining them shorts nothing: no supplies.
    """
    label = rail_labels(circuit)
    steps: dict[int, list[tuple[int, float, str]]] = {}
    for e in circuit.elements:
        if e.kind in ("source", "contact"):
            volts, item = (_source_v(e), e.item) if e.kind == "source" else (0.0, "")
            steps.setdefault(label[e.head], []).append((label[e.tail], volts, item))
            steps.setdefault(label[e.tail], []).append((label[e.head], -volts, item))
    start = label[a.head]
    reached: dict[int, tuple[float, list[str]]] = {start: (0.0, [])}
    todo = [start]
    for here in todo:
        at_v, through = reached[here]
        for other, volts, item in steps.get(here, ()):
            if other not in reached:
                reached[other] = at_v + volts, [*through, item] if item else through
                todo.append(other)
    above_v, through = reached.get(label[b.head], (0.0, []))
    return above_v, through if abs(above_v) > SAME_V else []


def _earth_current(circuit: Circuit, found: Survey) -> Iterable[Finding]:
    amps = np.abs(found.states.solution.element_a)
    rows = np.flatnonzero(found.allowed)
    if not rows.size:
        return
    high = {
        e: float(np.nanmax(amps[rows, e]))
        for e, element in enumerate(circuit.elements)
        if 0 in (element.tail, element.head)
    }
    over = [e for e, value in high.items() if value > PE_CURRENT_A]
    landed = [e for e in over if circuit.elements[e].kind != "bond"]
    for e in landed or over:
        element = circuit.elements[e]
        what = f"at {element.name}" if landed else f"through the earth bond of {element.item}"
        yield Finding(
            "F403",
            Severity.ERROR,
            f"{high[e] * 1000:.1f} mA of operating current flows through protective earth {what}. "
            f"Earth is never a return: give the current its own 0 V conductor",
            (element.span,),
            element.name,
            (Quantity("current", high[e] * 1000, "mA"),),
            "common practice",
        )
