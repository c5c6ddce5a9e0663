"""Which states a fault must be looked at in: those of the parts of the circuit it touches."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ringout.circuit.faults import Fault
from ringout.circuit.model import Circuit, IntArray
from ringout.findings.clusters import local_states, reached
from ringout.findings.survey import Survey


@dataclass(frozen=True)
class States:
    """States of one fault.

    Args:
        positions: (S, A) states of the healthy circuit.
        columns: (S) actors that tell each state from the others.
        complete: False when not every combination was taken.
    """

    positions: IntArray
    columns: tuple[tuple[int, ...], ...]
    complete: bool


class Reach:
    """Finds the clusters a fault touches.

    Clusters that the fault ties together are taken in all combinations; clusters that only
    lose or keep their feed are taken one by one, all others standing as in an allowed state.

    Args:
        circuit: the healthy circuit.
        found: its survey.
    """

    def __init__(self, circuit: Circuit, found: Survey) -> None:
        self.circuit, self.found = circuit, found
        part = found.part
        self.at_node: dict[int, set[int]] = {}
        for number, element in enumerate(circuit.elements):
            cluster = int(part.cluster_of_element[number])
            if cluster >= 0:
                for node in (element.tail, element.head):
                    self.at_node.setdefault(node, set()).add(cluster)
        # electronics and relays: what they switch hangs on the nodes they sense, too
        for driven in circuit.driven:
            moved = (circuit.cond_actor == driven.actor).any(axis=1)
            switched = {int(c) for c in part.cluster_of_element[moved]} - {-1}
            for node in (driven.tail, driven.head):
                self.at_node.setdefault(node, set()).update(switched)
        self._touched: dict[str, tuple[frozenset[int], frozenset[int]]] = {}
        self._states: dict[tuple[frozenset[int], frozenset[int]], States] = {}

    def states(self, fault: Fault) -> States:
        """Return the states to look at."""
        key = self._touched.get(fault.id)
        if key is None:
            key = (frozenset(self._tied(fault)), frozenset(self._fed(fault)))
            self._touched[fault.id] = key
        if key not in self._states:
            self._states[key] = self._combine(*key)
        return self._states[key]

    def _combine(self, tied: frozenset[int], fed: frozenset[int]) -> States:
        base = self.found.base
        rows, complete = [base], True
        columns: list[tuple[int, ...]] = [()]
        for group in (tied, *({c} for c in sorted(fed - tied))):
            own = sorted({a for c in group for a in self.found.part.clusters[c].actors})
            if not own:
                continue
            states, whole = local_states(self.circuit, own)
            complete &= whole
            others = [a for a in range(base.shape[1]) if a not in own]
            states[:, others] = base[0, others]
            rows.append(states)
            columns.extend([tuple(own)] * len(states))
        positions = np.concatenate(rows)
        # a state that stands twice keeps the words of its last place, which say more
        _, first = np.unique(positions[::-1], axis=0, return_index=True)
        keep = sorted(len(positions) - 1 - first)
        return States(positions[keep], tuple(columns[k] for k in keep), complete)

    def _changed(self, fault: Fault) -> list[int]:
        index = self.circuit.index_of
        return [index[c.element] for c in fault.changes if c.element in index]

    def _tied(self, fault: Fault) -> set[int]:
        """Return the clusters the fault acts inside of, which it may join."""
        part = self.found.part
        clusters = {int(part.cluster_of_element[e]) for e in self._changed(fault)} - {-1}
        for extra in fault.extras:
            for node in (extra.tail, extra.head):
                if isinstance(node, int) and not part.rail[node]:
                    clusters |= self.at_node.get(node, set())
        return clusters

    def _fed(self, fault: Fault) -> set[int]:
        """Return the clusters that hang on a supply only over what the fault changes."""
        part = self.found.part
        changed = [e for e in self._changed(fault) if part.cluster_of_element[e] < 0]
        if not changed:
            return set()
        if any(self.circuit.elements[e].kind == "source" for e in changed):
            return {c.number for c in part.clusters}
        cut_off = self._cut_off(changed)
        return {c for n in cut_off for c in self.at_node.get(n, ())}

    def _cut_off(self, changed: Iterable[int]) -> list[int]:
        """Return rail nodes that no supply reaches without the changed conductors."""
        sources = [e for e in self.circuit.elements if e.kind == "source"]
        start = {0, *(n for e in sources for n in (e.tail, e.head))}
        fed = reached(self.circuit, start, without=set(changed))
        return [int(n) for n in np.flatnonzero(self.found.part.rail) if n not in fed]
