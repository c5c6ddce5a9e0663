"""Shorts, reversed parts and overloads: what carries more than it may, and along which wires."""

from __future__ import annotations

from collections.abc import Iterable

from ringout.base import Severity, Span
from ringout.circuit.model import Circuit
from ringout.findings.clusters import describe
from ringout.findings.model import Finding, Quantity
from ringout.findings.survey import Overcurrent, Survey


def judge_shorts(circuit: Circuit, found: Survey) -> list[Finding]:
    """Return one finding per cluster that shorts or overloads something.

    The path of the current is named wire by wire, from the supply around and back.
    """
    findings: list[Finding] = []
    done: set[tuple[int, int]] = set()
    for over in found.overcurrents:
        key = (over.cluster, -1 if over.limiting else over.element)
        if key in done or (not over.limiting and (over.cluster, -1) in done):
            continue
        done.add(key)
        findings.append(_finding(circuit, found, over))
    return findings


def _rows(found: Survey, over: Overcurrent) -> list[int]:
    return sorted(
        {
            o.row
            for o in found.overcurrents
            if o.cluster == over.cluster and o.element == over.element
        }
    )


def _finding(circuit: Circuit, found: Survey, over: Overcurrent) -> Finding:
    path = _from_supply(circuit, list(over.path))
    own = [e for e in path if found.part.cluster_of_element[e] == over.cluster]
    element = circuit.elements[over.element]
    when = _when(circuit, found, over)
    numbers = (
        Quantity("current", over.amps, "A"),
        Quantity("may carry", over.limit_a, "A"),
    )
    wires = " > ".join(_names(circuit, path))
    reversed_part = next((e for e in own if circuit.elements[e].kind in ("diode", "clamp")), None)
    about = [("element", element.name), ("cluster", str(over.cluster))]
    if reversed_part is not None:
        item = circuit.elements[reversed_part].item
        where = _where(circuit, path, own, item)
        about.append(("item", item))
        return Finding(
            "F203",
            Severity.ERROR,
            f"{item} is the wrong way round: its diode conducts {when} and shorts the output "
            f"({over.amps:.1f} A; {element.name} holds {over.limit_a:.2f} A). Path: {wires}",
            where,
            item,
            numbers,
            "physics",
            about=tuple(about),
        )
    place = _place(circuit, own, over)
    where = _where(circuit, path, own, place)
    about.append(("item", place.split(":")[0].split("-")[0]))
    joins = [circuit.elements[e].name for e in path if circuit.elements[e].join is not None]
    about += [("join", name) for name in joins]
    if over.short:
        return Finding(
            "F201",
            Severity.ERROR,
            f"dead short {when}: {over.amps:.1f} A, held only by {element.name} "
            f"({over.limit_a:.1f} A){_supply_reacts(circuit, over)}. Path: {wires}",
            where,
            place,
            numbers,
            "physics",
            about=tuple(about),
        )
    return Finding(
        "F202",
        Severity.ERROR,
        f"{element.name} is overloaded {when}: {over.amps:.2f} A, it may carry "
        f"{over.limit_a:.2f} A{_supply_reacts(circuit, over)}. Path: {wires}",
        where,
        place,
        numbers,
        "part data",
        about=tuple(about),
    )


AFTER = {
    "hiccup": "the supply then switches off and tries again and again",
    "latch": "the supply then switches off until its mains is taken away",
    "fold-back": "the supply then gives even less until the load is taken off",
}


def _supply_reacts(circuit: Circuit, over: Overcurrent) -> str:
    """Return what an overloaded supply does next, where its part says so."""
    spec = circuit.elements[over.element].spec
    if spec is None or spec.kind != "source":
        return ""
    after = AFTER.get(spec.words.get("overload", ""), "")
    return f"; {after}" if after else ""


def _when(circuit: Circuit, found: Survey, over: Overcurrent) -> str:
    if over.cluster < 0:
        return "in every state"
    cluster = found.part.clusters[over.cluster]
    rows = _rows(found, over)
    if len(rows) == len(found.rows_of(over.cluster)):
        return "in every state"
    fixed = [a for a in cluster.actors if len({int(found.positions[r, a]) for r in rows}) == 1]
    return "whenever " + describe(circuit, found.positions[over.row], fixed or cluster.actors)


def _names(circuit: Circuit, path: list[int]) -> Iterable[str]:
    for e in path:
        element = circuit.elements[e]
        if element.join is not None and not element.join.cable:
            continue
        yield element.name


def _where(circuit: Circuit, path: list[int], own: list[int], item: str) -> tuple[Span, ...]:
    """Return the lines behind a path: conductors at the item, the return first, then the item."""
    joins = [e for e in path if circuit.elements[e].join is not None]
    near = [
        e
        for e in joins
        if (join := circuit.elements[e].join) is not None and item in (join.a.item, join.b.item)
    ]
    ordered = near[::-1] + [e for e in own if circuit.elements[e].join is None]
    spans = [circuit.elements[e].span for e in ordered or joins[::-1]]
    return tuple(dict.fromkeys(spans))


def _from_supply(circuit: Circuit, path: list[int]) -> list[int]:
    """Return a closed path begun at the supply, if one is on it."""
    at = next((i for i, e in enumerate(path) if circuit.elements[e].kind == "source"), 0)
    return path[at:] + path[:at]


def _place(circuit: Circuit, own: list[int], over: Overcurrent) -> str:
    items = [circuit.elements[e].item for e in own if circuit.elements[e].item]
    if items:
        return items[-1]
    return circuit.elements[over.element].name
