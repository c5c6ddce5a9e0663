"""Electronics that starve, rails fed while their supply is off, states that never settle."""

from __future__ import annotations

import numpy as np

from ringout.base import Severity
from ringout.circuit.model import TYP, Circuit
from ringout.findings.bounds import Question, Ranges
from ringout.findings.clusters import describe
from ringout.findings.model import Finding, Quantity
from ringout.findings.references import pole_labels, rail_labels
from ringout.findings.settle import settle_states
from ringout.findings.survey import Survey

DEAD_RAIL_V = 5.0  # a rail whose supply is off should be far below this


MOST_DROP_V = 1.2  # 5 % of 24 V from the supply to a load, iec-60204-1


def _fed(circuit: Circuit) -> list[int]:
    """Return the indices of discrete devices that are electronics with a least voltage."""
    return [
        i for i, d in enumerate(circuit.driven) if circuit.actors[d.actor].moved_by == "voltage"
    ]


def feed_questions(circuit: Circuit, found: Survey) -> list[Question]:
    """Return what must be bounded to know whether all electronics are surely alive."""
    return [
        Question(circuit.driven[i].tail, circuit.driven[i].head, found.base[0], frozenset())
        for i in _fed(circuit)
    ]


def judge_feeds(circuit: Circuit, ranges: Ranges) -> list[Finding]:
    """Return devices that are joined to a supply but may get too little voltage.

    Args:
        circuit: compiled cell.
        ranges: the answers to `feed_questions`.
    """
    label = rail_labels(circuit)
    poles = pole_labels(circuit, label)
    findings: list[Finding] = []
    for at, i in enumerate(_fed(circuit)):
        driven = circuit.driven[i]
        low, need = float(ranges.low[at]), driven.on_at.high
        if not (label[driven.tail] in poles and label[driven.head] in poles):
            continue
        if low >= need:
            findings += _drop(circuit, i, low)
            continue
        item = circuit.actors[driven.actor].item
        turned = float(ranges.high[at]) < -1.0
        why = "its + and 0 V are exchanged" if turned else f"it needs {need:.1f} V"
        findings.append(
            Finding(
                "F303",
                Severity.ERROR,
                f"{item} gets only {low:.1f} V at worst between its supply terminals; {why}",
                (driven.span,),
                item,
                (Quantity("lowest", low, "V"), Quantity("needs", need, "V")),
                circuit.cell.items[item].part.source,
                about=(("item", item),),
            )
        )
    return findings


def _drop(circuit: Circuit, device: int, low_v: float) -> list[Finding]:
    """Return a warning when more is lost on the way to a device than is usual."""
    sources = [e.spec for e in circuit.elements if e.kind == "source" and e.spec is not None]
    lowest = min((s.values["volts"].low for s in sources), default=0.0)
    lost = lowest - low_v
    if len(sources) != 1 or lost <= MOST_DROP_V:
        return []
    driven = circuit.driven[device]
    item = circuit.actors[driven.actor].item
    return [
        Finding(
            "F504",
            Severity.WARNING,
            f"{lost:.1f} V can be lost on the way to {item}, more than 5 % of 24 V; it still "
            f"gets {low_v:.1f} V and needs {driven.on_at.high:.1f} V",
            (driven.span,),
            item,
            (Quantity("lost", lost, "V"), Quantity("left", low_v, "V")),
            "iec-60204-1",
            about=(("item", item),),
        )
    ]


def judge_back_feed(circuit: Circuit, found: Survey) -> list[Finding]:
    """Return rails that are fed from elsewhere while their own supply is off.

    Every local state is solved with each supply off in turn; cells with one supply have
    nothing that could feed back.
    """
    sources = [
        (i, e)
        for i, e in enumerate(circuit.elements)
        if e.kind == "source"
        and (column := int(circuit.cond_actor[i, 0])) >= 0
        and circuit.actors[column].moved_by == "supply"
    ]
    rows = np.flatnonzero(found.allowed)
    if len(sources) < 2:
        return []
    findings: list[Finding] = []
    for number, source in sources:
        column = int(circuit.cond_actor[number, 0])
        positions = found.positions[rows].copy()
        mask = int(circuit.cond_mask[number, 0])
        off = [p for p in range(len(circuit.actors[column].positions)) if not mask >> p & 1]
        positions[:, column] = off[0]
        curves = circuit.curves(positions, TYP)
        curves[:, found.cut] = circuit.off_curve[TYP][found.cut]
        node_v = settle_states(circuit, positions, curves).solution.node_v
        volts = node_v[:, source.tail] - node_v[:, source.head]
        worst = int(np.nanargmax(volts))
        if not volts[worst] > DEAD_RAIL_V:
            continue
        cluster = int(found.cluster_of_row[rows[worst]])
        actors = found.part.clusters[cluster].actors if cluster >= 0 else ()
        findings.append(
            Finding(
                "F404",
                Severity.ERROR,
                f"with {source.item} switched off its rail still gets {volts[worst]:.1f} V while "
                f"{describe(circuit, positions[worst], actors)}: another supply feeds back and "
                f"wakes what should be dead",
                (source.span,),
                source.item,
                (Quantity("rail", float(volts[worst]), "V"),),
                "physics",
                about=(("item", source.item),),
            )
        )
    return findings


def judge_steady(circuit: Circuit, found: Survey) -> list[Finding]:
    """Return states in which a relay or device switches on and off without end."""
    findings = _order_matters(circuit, found)
    told: set[int] = set()
    for row in np.flatnonzero(found.states.chatter).tolist():
        cluster = int(found.cluster_of_row[row])
        if cluster in told:
            continue
        told.add(cluster)
        part = found.part.clusters[cluster] if cluster >= 0 else None
        items = [circuit.actors[a].item for a in part.driven] if part is not None else []
        name = items[0] if items else circuit.cell.name
        span = circuit.cell.items[name].span if name in circuit.cell.items else circuit.cell.span
        when = describe(circuit, found.positions[row], part.actors if part is not None else ())
        findings.append(
            Finding(
                "C103",
                Severity.ERROR,
                f"{name} chatters while {when}: pulled in it opens its own circuit, released it "
                f"closes it again",
                (span,),
                name,
                (),
                "physics",
                about=(("item", name),),
            )
        )
    return findings


def _order_matters(circuit: Circuit, found: Survey) -> list[Finding]:
    """Return clusters whose relays stay where they were: on from on, off from off."""
    findings: list[Finding] = []
    for cluster in found.part.clusters:
        rows = [r for r in found.rows_of(cluster.number) if found.allowed[r]]
        if not cluster.driven or not rows:
            continue
        positions = found.positions[rows].copy()
        curves = circuit.curves(positions, TYP)
        curves[:, found.cut] = circuit.off_curve[TYP][found.cut]
        ends = [
            settle_states(circuit, positions, curves, begin_on=begin).positions
            for begin in (False, True)
        ]
        differ = np.flatnonzero((ends[0] != ends[1]).any(axis=1))
        if not differ.size:
            continue
        row = int(differ[0])
        column = int(np.flatnonzero(ends[0][row] != ends[1][row])[0])
        item = circuit.cell.items[circuit.actors[column].item]
        when = describe(circuit, positions[row], cluster.actors)
        findings.append(
            Finding(
                "C102",
                Severity.NOTE,
                f"{item.name} stays as it was while {when}: it holds itself once pulled in, or "
                f"does not pull in by itself; it depends on the order of switching",
                (item.span,),
                item.name,
                (),
                "physics",
                about=(("item", item.name),),
            )
        )
    return findings
