"""Which switches act on which part of the circuit: rails, and the clusters between them."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from itertools import product

import numpy as np

from ringout.circuit.model import Circuit, IntArray
from ringout.findings.feeds import commons_of

RAIL_KINDS = frozenset({"core", "plug", "link", "bond", "fuse", "breaker", "protection"})
MOST_STATES = 256
PERSON = ("person", "command")


@dataclass(frozen=True, slots=True)
class Cluster:
    """Elements that depend on each other otherwise than through the supply rails.

    Args:
        number: index in the partition.
        elements: element indices.
        actors: columns of actors a person or the controller moves.
        driven: columns of actors the circuit moves (relays).
    """

    number: int
    elements: tuple[int, ...]
    actors: tuple[int, ...]
    driven: tuple[int, ...]


@dataclass(frozen=True)
class Partition:
    """Rails and clusters of a circuit.

    Args:
        rail: (N,) True for nodes joined to a supply by conductors and protection only.
        clusters: all clusters.
        cluster_of_element: (E,) cluster number, -1 for rail conductors.
        cluster_of_actor: (A,) cluster number, -1 for none.
    """

    rail: np.ndarray
    clusters: tuple[Cluster, ...]
    cluster_of_element: IntArray
    cluster_of_actor: IntArray


class _Sets:
    """Union-find over arbitrary hashable keys."""

    def __init__(self) -> None:
        self.parent: dict[object, object] = {}

    def find(self, key: object) -> object:
        parent = self.parent.setdefault(key, key)
        while parent != self.parent[parent]:
            self.parent[parent] = self.parent[self.parent[parent]]
            parent = self.parent[parent]
        self.parent[key] = parent
        return parent

    def join(self, a: object, b: object) -> None:
        self.parent[self.find(a)] = self.find(b)


def partition(circuit: Circuit) -> Partition:
    """Split a circuit into rails and clusters."""
    rail = _rails(circuit)
    sets = _Sets()
    key_of: list[object | None] = []
    for number, element in enumerate(circuit.elements):
        ends = [("node", n) for n in (element.tail, element.head) if not rail[n]]
        actors = [int(a) for a in circuit.cond_actor[number] if a >= 0 and _moves(circuit, int(a))]
        if not ends and not actors:
            key_of.append(None)
            continue
        key: object = ends[0] if ends else ("element", number)
        for end in ends:
            sets.join(key, end)
        for actor in actors:
            sets.join(key, ("actor", actor))
        key_of.append(key)
    for driven in circuit.driven:
        if circuit.actors[driven.actor].moved_by == "coil":
            for node in (driven.tail, driven.head):
                if not rail[node]:
                    sets.join(("actor", driven.actor), ("node", node))
    return _collect(circuit, sets, key_of, rail)


def _moves(circuit: Circuit, actor: int) -> bool:
    return circuit.actors[actor].moved_by in (*PERSON, "coil")


def _rails(circuit: Circuit) -> np.ndarray:
    rail = np.zeros(len(circuit.network.node_names), dtype=np.bool_)
    rail[0] = True
    # a common that nothing feeds is a rail too: its channels do not depend on each other
    for item in circuit.cell.items.values():
        for _, net, _ in commons_of(item):
            rail[circuit.node_of_net[(item.name, net)]] = True
    for element in circuit.elements:
        if element.kind == "source":
            rail[[element.tail, element.head]] = True
    rail[list(reached(circuit, np.flatnonzero(rail).tolist()))] = True
    return rail


def reached(circuit: Circuit, start: Iterable[int], without: Collection[int] = ()) -> set[int]:
    """Return the nodes that conductors and protection join to some nodes, those included.

    Args:
        circuit: compiled cell.
        start: nodes to begin at.
        without: numbers of elements taken as open.
    """
    beside: dict[int, list[int]] = {}
    for number, element in enumerate(circuit.elements):
        if element.kind in RAIL_KINDS and number not in without:
            beside.setdefault(element.tail, []).append(element.head)
            beside.setdefault(element.head, []).append(element.tail)
    found = set(start)
    todo = list(found)
    while todo:
        for other in beside.get(todo.pop(), ()):
            if other not in found:
                found.add(other)
                todo.append(other)
    return found


def _collect(
    circuit: Circuit, sets: _Sets, key_of: list[object | None], rail: np.ndarray
) -> Partition:
    numbers: dict[object, int] = {}
    members: list[list[int]] = []
    of_element = np.full(len(circuit.elements), -1, dtype=np.int64)
    for number, key in enumerate(key_of):
        if key is None:
            continue
        root = sets.find(key)
        cluster = numbers.setdefault(root, len(numbers))
        if cluster == len(members):
            members.append([])
        members[cluster].append(number)
        of_element[number] = cluster
    of_actor = np.full(len(circuit.actors), -1, dtype=np.int64)
    for actor in range(len(circuit.actors)):
        if ("actor", actor) in sets.parent:
            of_actor[actor] = numbers.get(sets.find(("actor", actor)), -1)
    clusters = tuple(
        Cluster(
            number,
            tuple(elements),
            tuple(
                a
                for a in np.flatnonzero(of_actor == number).tolist()
                if circuit.actors[a].moved_by in PERSON
            ),
            tuple(
                a
                for a in np.flatnonzero(of_actor == number).tolist()
                if circuit.actors[a].moved_by == "coil"
            ),
        )
        for number, elements in enumerate(members)
    )
    return Partition(rail, clusters, of_element, of_actor)


def islands(circuit: Circuit, part: Partition) -> list[tuple[int, ...]]:
    """Return elements that hang together by conductors between the rails.

    A cluster may hold several: a relay's coil and its contacts move together, and nothing
    electrical joins them.
    """
    sets = _Sets()
    members: dict[object, list[int]] = {}
    for element in circuit.elements:
        if not part.rail[element.tail] and not part.rail[element.head]:
            sets.join(element.tail, element.head)
    for e, element in enumerate(circuit.elements):
        inner = [n for n in (element.tail, element.head) if not part.rail[n]]
        if inner:
            members.setdefault(sets.find(inner[0]), []).append(e)
        elif part.cluster_of_element[e] >= 0:
            members[("alone", e)] = [e]
    return [tuple(m) for m in members.values()]


def local_states(circuit: Circuit, actors: Iterable[int]) -> tuple[IntArray, bool]:
    """Return (S, A) positions, every combination of `actors`, all else at rest.

    The second value is False when there were too many combinations and only those with
    at most two actors away from rest are given.
    """
    columns = list(actors)
    choices = [range(len(circuit.actors[a].positions)) for a in columns]
    total = 1
    for choice in choices:
        total *= len(choice)
    complete = total <= MOST_STATES
    sizes = [len(c) for c in choices]
    rows = list(product(*choices) if complete else _near_rest(sizes))
    states = np.repeat(circuit.rest(), len(rows), axis=0)
    if columns:
        states[:, columns] = np.array(rows, dtype=np.int64).reshape(len(rows), len(columns))
    return states, complete


def wake(circuit: Circuit, positions: IntArray) -> None:
    """Put electronics of (S, A) positions to alive: what has no voltage dies when settled.

    Taken as dead to begin with, their outputs would stay so whatever feeds them.
    """
    own = [n for n, a in enumerate(circuit.actors) if a.moved_by == "voltage"]
    positions[:, own] = circuit.rest()[0, own]


def _near_rest(sizes: list[int]) -> Iterable[tuple[int, ...]]:
    rest = [0] * len(sizes)
    yield tuple(rest)
    for i, size in enumerate(sizes):
        for p in range(1, size):
            one = list(rest)
            one[i] = p
            yield tuple(one)
            for j in range(i + 1, len(sizes)):
                for q in range(1, sizes[j]):
                    two = list(one)
                    two[j] = q
                    yield tuple(two)


def describe(circuit: Circuit, positions: IntArray, columns: Iterable[int]) -> str:
    """Return a state in words, as in `S1 pressed and B1 clear`."""
    words = [
        f"{circuit.actors[a].name} {circuit.actors[a].positions[int(positions[a])]}"
        for a in columns
    ]
    return " and ".join(words) if words else "at rest"
