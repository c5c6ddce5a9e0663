"""Where probes may be put, and what a look there costs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations

from ringout.cell.model import Cell, Terminal
from ringout.circuit.model import Circuit, IntArray
from ringout.findings.clusters import reached
from ringout.tables.steps import step_seconds


@dataclass(frozen=True, slots=True)
class Pair:
    """Two places of probes.

    Args:
        a: red.
        b: black.
        rails: red is on a + and black on a 0 V: the polarity counts.
        cost_s: seconds to hold both.
    """

    a: Terminal
    b: Terminal
    rails: bool
    cost_s: float


def is_pin(cell: Cell, terminal: Terminal) -> bool:
    """Return whether a terminal is a pin of a round connector rather than a clamp."""
    if not terminal.socket:
        return False
    return not cell.items[terminal.item].part.sockets[terminal.socket].clamps


def place_cost_s(cell: Cell, a: Terminal, b: Terminal) -> float:
    """Return the seconds it takes to hold probes at two places."""
    cost = sum(step_seconds("place-pin" if is_pin(cell, t) else "place-clamp") for t in (a, b))
    return cost + (step_seconds("apart") if a.item != b.item else 0.0)


def standing(circuit: Circuit, row: IntArray) -> tuple[tuple[str, str], ...]:
    """Return the (actor, position) pairs of a state that do not stand at rest, sorted.

    Args:
        circuit: the healthy circuit.
        row: (A,) positions; what the circuit moves itself is left out.
    """
    return tuple(
        sorted(
            (actor.name, actor.positions[int(row[column])])
            for column, actor in enumerate(circuit.actors)
            if row[column] and actor.moved_by in ("person", "command", "supply")
        )
    )


def moving_s(cell: Cell, state: Iterable[tuple[str, str]]) -> float:
    """Return the seconds it takes to bring a cell from rest into a state."""
    return sum(
        step_seconds("person" if cell.actors[a].moved_by == "person" else "command")
        for a, _ in state
    )


def supplies(circuit: Circuit) -> list[tuple[Terminal, Terminal]]:
    """Return (+, 0 V) terminals of every supply that has both landed."""
    out = []
    for e in circuit.elements:
        if e.kind != "source" or not e.item:
            continue
        ends = [_terminal_at(circuit, e.item, node) for node in (e.tail, e.head)]
        if ends[0] is not None and ends[1] is not None:
            out.append((ends[0], ends[1]))
    return out


def _terminal_at(circuit: Circuit, item: str, node: int) -> Terminal | None:
    for terminal in landed(circuit.cell):
        if terminal.item == item and circuit.node(terminal) == node:
            return terminal
    return None


def landed(cell: Cell) -> list[Terminal]:
    """Return every terminal that holds a conductor, in the order of the file."""
    return list(dict.fromkeys(t for j in cell.joins for t in (j.a, j.b)))


def reachable(circuit: Circuit) -> list[Terminal]:
    """Return every place a probe reaches: what is landed, and the free pins beside it."""
    out = dict.fromkeys(landed(circuit.cell))
    for terminal in list(out):
        if terminal.socket:
            pins = circuit.cell.items[terminal.item].part.sockets[terminal.socket].pins
            out.update(dict.fromkeys(Terminal(terminal.item, terminal.socket, p) for p in pins))
    return list(out)


def pairs_of(circuit: Circuit, plus: set[int], minus: set[int]) -> list[Pair]:
    """Return the pairs of places worth a look; of pairs on the same nodes the cheapest.

    Args:
        circuit: the healthy circuit.
        plus: nodes of the + rails.
        minus: nodes of the 0 V rails.
    """
    best: dict[tuple[int, int], Pair] = {}
    for first, second in _all_pairs(circuit):
        a, b = first, second
        if circuit.node(a) in minus or circuit.node(b) in plus:
            a, b = second, first
        one, other = circuit.node(a), circuit.node(b)
        if one == other:
            continue
        pair = Pair(a, b, one in plus and other in minus, place_cost_s(circuit.cell, a, b))
        key = (one, other)
        twin = best.get(key) or best.get((other, one))
        if twin is None or pair.cost_s < twin.cost_s:
            if twin is not None:
                best.pop((circuit.node(twin.a), circuit.node(twin.b)))
            best[key] = pair
    return list(best.values())


def _all_pairs(circuit: Circuit) -> Iterator[tuple[Terminal, Terminal]]:
    cell = circuit.cell
    places = reachable(circuit)
    for join in cell.joins:
        yield join.a, join.b
    together: dict[tuple[str, str], list[Terminal]] = {}
    for terminal in places:
        together.setdefault((terminal.item, terminal.socket), []).append(terminal)
    for members in together.values():
        yield from combinations(members, 2)
    for terminal in places:
        for ends in supplies(circuit):
            for end in ends:
                if end != terminal:
                    yield terminal, end


def rails_of(circuit: Circuit) -> tuple[set[int], set[int]]:
    """Return the nodes that conductors and protection join to + and to 0 V of a supply."""
    ends = supplies(circuit)
    plus = reached(circuit, [circuit.node(a) for a, _ in ends])
    return plus, reached(circuit, [circuit.node(b) for _, b in ends])
