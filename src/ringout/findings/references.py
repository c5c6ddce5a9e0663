"""Supplies and returns: no supply, open commons, supplies without a common 0 V, current in PE."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ringout.base import Severity
from ringout.cell.model import Item
from ringout.circuit.model import Circuit
from ringout.findings.clusters import RAIL_KINDS
from ringout.findings.model import Finding, Quantity
from ringout.findings.survey import Survey

PE_CURRENT_A = 0.001  # operating current through protective earth from here on is told


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
    findings += _split_references(circuit, found, label)
    findings += _earth_current(circuit, found)
    return findings


def rail_labels(circuit: Circuit) -> list[int]:
    """Return (N,) a number per node; nodes joined by conductors and protection share it."""
    label = list(range(len(circuit.network.node_names)))

    def root(n: int) -> int:
        while label[n] != n:
            label[n] = label[label[n]]
            n = label[n]
        return n

    for element in circuit.elements:
        if element.kind in RAIL_KINDS:
            label[root(element.tail)] = root(element.head)
    return [root(n) for n in range(len(label))]


def feeds_of(item: Item) -> Iterable[tuple[str, str]]:
    """Yield `(plus net, minus net)` of everything in an item that must be fed."""
    part = item.part
    if part.alive is not None:
        yield part.alive.tail, part.alive.head
    pairs: dict[str, list[tuple[str, str]]] = {}
    for channel in part.channels.values():
        element = part.element_by_name[channel.element]
        pairs.setdefault(channel.group, []).append((element.tail, element.head))
    for group in pairs.values():
        for side in (0, 1):
            nets = {p[side] for p in group}
            if len(nets) == 1 and len(group) > 1:
                yield ("", nets.pop()) if side else (nets.pop(), "")


def _open_feeds(circuit: Circuit, label: list[int]) -> Iterable[Finding]:
    sources = [e for e in circuit.elements if e.kind == "source"]
    plus = {label[e.tail] for e in sources}
    minus = {label[e.head] for e in sources}
    reached = plus | minus
    for item in circuit.cell.items.values():
        if item.part.family == "supply":
            continue
        told: set[str] = set()
        for plus_net, minus_net in feeds_of(item):
            for net, wanted, words in (
                (plus_net, plus, "+24 V"),
                (minus_net, minus, "0 V"),
            ):
                if not net or net in told:
                    continue
                node = circuit.node_of_net[(item.name, net)]
                here = label[node]
                common = not (plus_net and minus_net)
                if here in wanted or (common and here in reached):
                    continue
                told.add(net)
                name = circuit.network.node_names[node]
                other = "the other pole" if here in reached else "no supply"
                kind = "common" if common else words
                yield Finding(
                    "F401",
                    Severity.ERROR,
                    f"{item.name}: its {kind} at {name} is joined to {other}; "
                    f"nothing on it can work"
                    if not common
                    else f"{item.name}: the common of its channels at {name} is joined to {other}; "
                    f"no current can return, every channel of the group is dead",
                    (item.span,),
                    name,
                    (),
                    "common practice",
                    about=(("item", item.name),),
                )


def _split_references(circuit: Circuit, found: Survey, label: list[int]) -> Iterable[Finding]:
    sources = [e for e in circuit.elements if e.kind == "source"]
    if len({label[s.head] for s in sources}) < 2:
        return
    told: set[tuple[str, str]] = set()
    for cluster in found.part.clusters:
        ends = {
            label[n]
            for e in cluster.elements
            for n in (circuit.elements[e].tail, circuit.elements[e].head)
            if found.part.rail[n]
        }
        touched = [s for s in sources if label[s.tail] in ends or label[s.head] in ends]
        for a in touched:
            for b in touched:
                pair = (a.item, b.item)
                if a.item >= b.item or label[a.head] == label[b.head] or pair in told:
                    continue
                told.add(pair)
                signals = [
                    s
                    for s in circuit.cell.signals.values()
                    if circuit.index_of.get(f"{s.item}.{s.channel.element}", -1) in cluster.elements
                ]
                names = ", ".join(s.name for s in signals) or "the conductor between them"
                spans = (
                    *(s.span for s in signals),
                    circuit.cell.items[a.item].span,
                    circuit.cell.items[b.item].span,
                )
                yield Finding(
                    "F402",
                    Severity.ERROR,
                    f"{a.item} and {b.item} have no common 0 V: {names} has no path back to the "
                    f"supply that drives it. Join the two 0 V with one conductor; never the +24 V",
                    spans,
                    f"{a.item}, {b.item}",
                    (),
                    "common practice",
                    about=(
                        ("item", a.item),
                        ("other", b.item),
                        *(("signal", s.name) for s in signals),
                    ),
                )


def _earth_current(circuit: Circuit, found: Survey) -> Iterable[Finding]:
    amps = np.abs(found.states.solution.element_a)
    rows = np.flatnonzero(found.allowed)
    for e, element in enumerate(circuit.elements):
        if 0 not in (element.tail, element.head) or not rows.size:
            continue
        high = float(np.nanmax(amps[rows, e]))
        if high > PE_CURRENT_A and element.kind != "bond":
            yield Finding(
                "F403",
                Severity.ERROR,
                f"{high * 1000:.1f} mA of operating current flows through protective earth at "
                f"{element.name}. Earth is never a return: give it its own 0 V conductor",
                (element.span,),
                element.name,
                (Quantity("current", high * 1000, "mA"),),
                "common practice",
            )
