"""Shorts at the far end of every feed: does the branch open, when, and from which length on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ringout.base import Interval, Severity
from ringout.base.quantity import format_between
from ringout.cell.model import Cell, Join, Terminal
from ringout.circuit.behaviour import PROTECTION_HOLDS, ohmic
from ringout.circuit.compile import Added, compile_circuit
from ringout.circuit.model import HIGH, LOW, TYP, Circuit
from ringout.findings.bounds import Question, Ranges
from ringout.findings.feeds import feeds_of
from ringout.findings.model import BranchLoad, Finding, Quantity
from ringout.findings.survey import ROUNDING, Survey
from ringout.solve import solve_cases, worst_case
from ringout.tables.protection import mcb_magnetic_a, mcb_thermal_a

FUSE_SURE, FUSE_FAST = 2.1, 10.0  # iec-60127-2: opens within 2 min; within 0.3 s
SHORT = ohmic(Interval(0.0, 0.005, 0.01))
FAST_TEXT = {"protection": "about 100 ms", "breaker": "about 10 ms", "fuse": "some 0.1 s"}


@dataclass(frozen=True, slots=True)
class FarShort:
    """A short between + and 0 V of one fed item, seen by the protection of its branch.

    Args:
        item: where the short is.
        branch: element index of the protection that carries it.
        low_a: guaranteed lowest short current.
        high_a: guaranteed highest.
        sure_a: current from which the branch surely opens.
        fast_a: current from which it opens at once.
    """

    item: str
    branch: int
    low_a: float
    high_a: float
    sure_a: float
    fast_a: float


def opening_a(circuit: Circuit, element: int) -> tuple[float, float]:
    """Return the currents from which a protection surely opens, and opens at once.

    Source:
        iec-60898-1, iec-60127-2, electronic-protection
    """
    spec = circuit.elements[element].spec
    assert spec is not None
    if spec.kind == "protection":
        set_a = spec.values["set"].high
        return set_a, set_a * PROTECTION_HOLDS * 0.98
    rated = spec.values["rated"].typ
    if spec.kind == "breaker":
        curve = spec.words.get("curve", "C")
        return mcb_thermal_a(curve, rated)[1], mcb_magnetic_a(curve, rated)[1]
    return rated * FUSE_SURE, rated * FUSE_FAST


Place = tuple[str, Terminal, Terminal]  # name, and the two terminals a short joins


def far_shorts(
    cell: Cell,
    found: Survey,
    circuit: Circuit,
    only: str = "",
    places: Sequence[Place] | None = None,
) -> list[FarShort]:
    """Solve a short at every fed item, at the worst corner of supply, copper and contacts.

    Args:
        cell: the cell.
        found: survey of this cell, or of one that differs in values only.
        circuit: the circuit that was surveyed.
        only: name of the one item to short; empty for all.
        places: where to short instead; None for every fed item.

    Returns:
        One entry per item or place that a protection feeds.
    """
    if places is None:
        places = [p for p in _places(cell) if not only or p[0] == only]
    if not places:
        return []
    added = [Added(f"short at {item}", a, b, SHORT) for item, a, b in places]
    shorted = compile_circuit(cell, added=added)
    base = found.base[0]
    first = len(circuit.elements)
    corner = {}
    for which in (LOW, TYP, HIGH):
        curves = np.repeat(shorted.curves(base[None, :], which), len(places), axis=0)
        curves[:, :first][:, found.cut] = circuit.off_curve[TYP][found.cut]
        for row in range(len(places)):
            curves[row, first:] = shorted.off_curve[TYP, first:]
            curves[row, first + row] = shorted.on_curve[which, first + row]
        corner[which] = curves
    amps = _typical(shorted, corner[TYP])
    branches = [_branch(shorted, amps[row], first + row) for row in range(len(places))]
    rows = [r for r, b in enumerate(branches) if b >= 0]
    if not rows:
        return []
    own = np.array([branches[r] for r in rows], dtype=np.int64)
    target = np.array(
        [(shorted.elements[b].tail, shorted.elements[b].head) for b in own], dtype=np.int64
    )
    results = []
    for direction in (-1, 1):
        bound = worst_case(
            shorted.network,
            corner[LOW][rows],
            corner[HIGH][rows],
            corner[TYP][rows],
            target,
            np.full(len(rows), direction, dtype=np.int64),
            own,
        )
        results.append(np.abs(bound.solution.element_a[np.arange(len(rows)), own]))
    out = []
    for at, row in enumerate(rows):
        sure, fast = opening_a(shorted, int(own[at]))
        low, high = sorted((float(results[0][at]), float(results[1][at])))
        out.append(FarShort(places[row][0], int(own[at]), low, high, sure, fast))
    return out


def _typical(circuit: Circuit, curves: np.ndarray) -> np.ndarray:
    return solve_cases(circuit.network, curves).element_a


def _places(cell: Cell) -> list[Place]:
    """Return one pair of fed terminals per item that has both poles on terminals."""
    places = []
    for item in cell.items.values():
        if item.part.family in ("supply", "protection"):
            continue
        plus = minus = ""
        for high, low in feeds_of(item):
            plus, minus = plus or high, minus or low
        a, b = landed_on(cell, item.name, plus), landed_on(cell, item.name, minus)
        if a is not None and b is not None:
            places.append((item.name, a, b))
    return places


def landed_on(cell: Cell, item: str, net: str) -> Terminal | None:
    """Return the first terminal on a net of an item on which something is landed."""
    part = cell.items[item].part
    for pin, n in part.terminals.items():
        if n == net and Terminal(item, "", pin) in cell.join_at:
            return Terminal(item, "", pin)
    for socket in part.sockets.values():
        for pin, n in socket.pins.items():
            if n == net and Terminal(item, socket.name, pin) in cell.join_at:
                return Terminal(item, socket.name, pin)
    return None


def _branch(circuit: Circuit, amps: np.ndarray, short: int) -> int:
    """Return the protection nearest to a short: the one that carries its current."""
    through = abs(float(amps[short]))
    best, best_a = -1, 0.0
    for e, element in enumerate(circuit.elements):
        if element.kind not in ("protection", "fuse", "breaker"):
            continue
        current = abs(float(amps[e]))
        if current < 0.5 * through or through < 1e-3:
            continue
        spec = element.spec
        assert spec is not None
        rated = (spec.values.get("set") or spec.values["rated"]).typ
        if best < 0 or rated < best_a:
            best, best_a = e, rated
    return best


def judge_far_shorts(circuit: Circuit, shorts: Sequence[FarShort]) -> list[Finding]:
    """Return one finding per branch on which some far short does not surely open it."""
    findings: list[Finding] = []
    for branch in sorted({s.branch for s in shorts}):
        mine = [s for s in shorts if s.branch == branch]
        worst = min(mine, key=lambda s: s.low_a)
        if worst.low_a >= worst.fast_a:
            continue
        element = circuit.elements[branch]
        feed = longest_feed(circuit, element.head, worst.item)
        spans = (feed.span, circuit.cell.cables[feed.cable].length_span) if feed else ()
        where = (*spans[::-1], circuit.cell.items[worst.item].span, element.span)
        never = worst.low_a < worst.sure_a
        slow = FAST_TEXT.get(element.kind, "at once")
        still = [s.item for s in mine if s.low_a >= s.fast_a]
        late = [s.item for s in mine if s.fast_a > s.low_a >= s.sure_a]
        draws = format_between(worst.low_a, worst.high_a, "A")
        story = (
            f"a short at {worst.item} draws only {draws} through {element.name}, "
            f"which opens at once ({slow}) from {worst.fast_a:.2f} A and after some "
            f"seconds from {worst.sure_a:.2f} A"
        )
        words = [story]
        words.append("it may never open" if never else "it opens late")
        if late and late != [worst.item]:
            words.append(f"late too: {', '.join(n for n in late if n != worst.item)}")
        if still:
            words.append(f"at once: shorts at {', '.join(still)}")
        findings.append(
            Finding(
                "F501" if never else "F502",
                Severity.ERROR if never else Severity.WARNING,
                "; ".join(words),
                where,
                element.name,
                (
                    Quantity("short current lowest", worst.low_a, "A"),
                    Quantity("short current highest", worst.high_a, "A"),
                    Quantity("surely opens from", worst.sure_a, "A"),
                    Quantity("opens at once from", worst.fast_a, "A"),
                ),
                "electronic-protection",
                about=(
                    ("element", element.name),
                    ("item", worst.item),
                    ("cable", feed.cable if feed else ""),
                ),
            )
        )
    return findings


def longest_feed(circuit: Circuit, start: int, item: str) -> Join | None:
    """Return the conductor with the highest resistance on the way from a branch to an item."""
    goal = {n for (name, _), n in circuit.node_of_net.items() if name == item}
    came: dict[int, tuple[int, int]] = {start: (-1, -1)}
    todo = [start]
    near: dict[int, list[tuple[int, int]]] = {}
    for e, element in enumerate(circuit.elements):
        if element.kind in ("core", "plug", "link", "bond"):
            near.setdefault(element.tail, []).append((e, element.head))
            near.setdefault(element.head, []).append((e, element.tail))
    while todo:
        node = todo.pop(0)
        if node in goal:
            path = []
            while node != start:
                e, node = came[node]
                path.append(e)
            cores = [e for e in path if circuit.elements[e].kind == "core"]
            if not cores:
                return None
            return circuit.elements[max(cores, key=lambda e: _ohm(circuit, e))].join
        for e, other in near.get(node, ()):
            if other not in came:
                came[other] = (e, node)
                todo.append(other)
    return None


def _ohm(circuit: Circuit, e: int) -> float:
    curve = circuit.network.curves.curves[int(circuit.on_curve[TYP, e])]
    return 1.0 / max(curve.slope_s[0], 1e-12)


def branches_of(circuit: Circuit) -> list[int]:
    """Return the elements that feed: supplies, protections, and rated pins on the way."""
    kinds = ("source", "protection", "fuse", "breaker")
    return [
        e
        for e, element in enumerate(circuit.elements)
        if element.kind in kinds
        or (
            element.kind in ("bond", "resistance")
            and element.spec is not None
            and "max" in element.spec.values
            and circuit.cond_actor[e, 0] < 0
        )
    ]


def branch_questions(circuit: Circuit, found: Survey) -> list[Question]:
    """Return what must be bounded to know the load of every branch: its current, all else free."""
    return [
        Question(circuit.elements[e].tail, circuit.elements[e].head, found.base[0], frozenset(), e)
        for e in branches_of(circuit)
    ]


def branch_loads(circuit: Circuit, found: Survey, ranges: Ranges) -> list[BranchLoad]:
    """Return what every supply and branch carries with everything on at worst case.

    Args:
        circuit: compiled cell.
        found: its survey.
        ranges: the answers to `branch_questions`.
    """
    out = []
    typical = _typical(circuit, circuit.curves(found.base, TYP))[0]
    for at, e in enumerate(branches_of(circuit)):
        element = circuit.elements[e]
        assert element.spec is not None
        v = element.spec.values
        allows = v.get("set") or v.get("rated") or v.get("max") or v.get("limit")
        limit = allows.low if allows is not None else float("inf")
        high = max(abs(float(ranges.low[at])), abs(float(ranges.high[at])))
        in_limit = "limit" in v and high >= v["limit"].low * 0.999
        rest = abs(float(typical[e]))
        out.append(BranchLoad(element.name, rest, high, limit, element.span, in_limit))
    return out


def judge_loads(loads: Sequence[BranchLoad]) -> list[Finding]:
    """Return branches that are overloaded with everything on."""
    return [
        Finding(
            "F204",
            Severity.ERROR,
            f"{load.name} must carry {load.high_a:.2f} A with everything on; it allows "
            f"{load.limit_a:.2f} A",
            (load.span,),
            load.name,
            (Quantity("highest", load.high_a, "A"), Quantity("allowed", load.limit_a, "A")),
            "common practice",
        )
        for load in loads
        if load.in_limit or load.high_a > load.limit_a * (1.0 + ROUNDING)
    ]
