"""Contacts in the feed: whose states a signal needs, and when they take its load away."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from ringout.circuit.model import BoolArray, Circuit, IntArray
from ringout.findings.clusters import Partition
from ringout.findings.references import rail_labels


class Feeds:
    """Finds the contacts that feed what has no supply of its own.

    Args:
        circuit: compiled cell.
        part: its rails and clusters.
    """

    def __init__(self, circuit: Circuit, part: Partition) -> None:
        self.circuit, self.part = circuit, part
        self.label = rail_labels(circuit)
        sources = [e for e in circuit.elements if e.kind == "source"]
        self.poles = {self.label[n] for e in sources for n in (e.tail, e.head)} | {self.label[0]}
        self._contacts: dict[int, set[int]] = {}
        for number, e in enumerate(circuit.elements):
            cluster = int(part.cluster_of_element[number])
            if e.kind == "contact" and cluster >= 0:
                for node in (e.tail, e.head):
                    self._contacts.setdefault(self.label[node], set()).add(cluster)

    def with_feeds(self, clusters: Collection[int]) -> frozenset[int]:
        """Return clusters and those whose contacts feed the rails they hang on.

        The common of a group of outputs may come over an emergency stop: it is a rail, so
        that its channels do not depend on each other, and yet all depend on the stop.
        """
        found, todo = set(clusters), list(clusters)
        while todo:
            for e in self.part.clusters[todo.pop()].elements:
                ends = self.circuit.elements[e]
                for node in (ends.tail, ends.head):
                    if self.part.rail[node] and self.label[node] not in self.poles:
                        new = self._contacts.get(self.label[node], set()) - found
                        found |= new
                        todo += new
        return frozenset(found)


def _by_hand(circuit: Circuit, columns: Sequence[int]) -> list[int]:
    return [c for c in columns if circuit.actors[c].moved_by == "person"]


def at_rest_by_hand(circuit: Circuit, columns: Sequence[int], positions: IntArray) -> BoolArray:
    """Return (S,) whether everything moved by hand is at rest."""
    hands = _by_hand(circuit, columns)
    return np.asarray((positions[:, hands] == circuit.rest()[0, hands]).all(axis=1))


def taken_away(
    circuit: Circuit, columns: Sequence[int], positions: IntArray, works: BoolArray, off: BoolArray
) -> BoolArray:
    """Return (S,) rows in which a load is off, and works with only a contact moved by hand.

    Args:
        circuit: compiled cell.
        columns: actors that act on the load.
        positions: (S, A) settled states with its output on.
        works: (S,) it works there.
        off: (S,) it is wholly off there.
    """
    out = np.zeros(len(positions), dtype=np.bool_)
    commands = [c for c in columns if circuit.actors[c].moved_by == "command"]
    for row in np.flatnonzero(off).tolist():
        same = (positions[:, commands] == positions[row, commands]).all(axis=1)
        out[row] = bool((same & works).any())
    return out


def only_while(
    circuit: Circuit, columns: Sequence[int], positions: IntArray, good: BoolArray, bad: BoolArray
) -> list[tuple[str, str]]:
    """Return (actor, position) that all good rows share and no bad row has in full.

    Empty where it takes more than that to tell them apart, as with contacts in parallel.
    """
    if not good.any() or not bad.any():
        return []
    shared = [c for c in _by_hand(circuit, columns) if len(set(positions[good, c].tolist())) == 1]
    first = positions[good][0]
    shared = [c for c in shared if (positions[bad, c] != first[c]).any()]
    if not shared or (positions[bad][:, shared] == first[shared]).all(axis=1).any():
        return []
    actors = circuit.actors
    return [(actors[c].name, actors[c].positions[int(first[c])]) for c in shared]


def only_words(
    circuit: Circuit, columns: Sequence[int], positions: IntArray, good: BoolArray, bad: BoolArray
) -> str:
    """Return what the good rows need, as in `only while S0 released`."""
    needs = only_while(circuit, columns, positions, good, bad)
    if needs:
        return "only while " + " and ".join(f"{a} {p}" for a, p in needs)
    row = positions[bad][0]
    hands = [f"{circuit.actors[c].name} {circuit.actors[c].positions[int(row[c])]}"
             for c in _by_hand(circuit, columns)]  # fmt: skip
    return "not while " + " and ".join(hands)
