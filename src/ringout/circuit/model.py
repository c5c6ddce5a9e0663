"""The compiled cell: a network of elements, each with its origin and its curves by state."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ringout.base import Interval, Span
from ringout.cell.model import Actor, Cell, Join, Terminal
from ringout.cell.part import ElementSpec
from ringout.circuit.network import Network

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

LOW, TYP, HIGH = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Element:
    """One two-terminal of the circuit and the line that put it there.

    Args:
        name: `B1.output`, `W1:BN`, or the name of an added element.
        kind: element kind, or `core`, `plug`, `link`, `added`.
        tail: node the current enters.
        head: node the current leaves.
        item: item it belongs to; empty for conductors.
        spec: its line in the part; None for conductors.
        join: its join; None for parts' insides.
        span: the user's line.
    """

    name: str
    kind: str
    tail: int
    head: int
    item: str
    spec: ElementSpec | None
    join: Join | None
    span: Span


@dataclass(frozen=True, slots=True)
class Driven:
    """A discrete thing the circuit itself moves: relay, electronics' brown-out, protection.

    Args:
        actor: index of the actor it moves.
        sense: `volts` between tail and head of `element`'s nodes, or `amps` through it.
        tail: sensed node.
        head: sensed node.
        element: element index for `amps`, else -1.
        on_at: level from which it is on (pulled in, alive); for one-way devices unused.
        off_at: level below which it goes off; one-way: current above which it opens.
        one_way: opens and never returns.
        on_position: position index when on.
        off_position: position index when off.
        span: the user's line.
    """

    actor: int
    sense: str
    tail: int
    head: int
    element: int
    on_at: Interval
    off_at: Interval
    one_way: bool
    on_position: int
    off_position: int
    span: Span


@dataclass(frozen=True)
class Circuit:
    """A compiled cell with N nodes, E elements, A actors.

    Args:
        cell: what it was compiled from.
        network: arrays for the solver.
        elements: (E) origins, same order as the network's elements.
        node_of_net: `(item, net)` to node.
        lifted_node: core end (`W1:BN@S1`) to its node, for lifted ends.
        actors: (A) actors, in the order of the columns of a position array.
        actor_index: actor name to column.
        on_curve: (3, E) curve while conducting: low, typ, high.
        off_curve: (3, E) curve while idle.
        cond_actor: (E, 2) actor a condition depends on; -1 for none.
        cond_mask: (E, 2) bit p set when position p lets the element conduct.
        driven: discrete devices.
        index_of: element name to index.
        held_curve: (2, 2, E) for coils the curve of a coil that holds its current at the
            instant of switching off: tail to head or head to tail, all of it or half of it;
            -1 for all else.
    """

    cell: Cell
    network: Network
    elements: tuple[Element, ...]
    node_of_net: Mapping[tuple[str, str], int]
    lifted_node: Mapping[str, int]
    actors: tuple[Actor, ...]
    actor_index: Mapping[str, int]
    on_curve: IntArray
    off_curve: IntArray
    either_curve: IntArray
    cond_actor: IntArray
    cond_mask: IntArray
    driven: tuple[Driven, ...]
    index_of: Mapping[str, int]
    held_curve: IntArray

    def conducts(self, positions: IntArray) -> BoolArray:
        """Return (S, E) whether each element conducts for (S, A) position indices."""
        result = np.ones((positions.shape[0], len(self.elements)), dtype=np.bool_)
        for slot in range(2):
            actor = self.cond_actor[:, slot]
            has = actor >= 0
            where = np.flatnonzero(has)
            bits = self.cond_mask[where, slot][None, :] >> positions[:, actor[where]]
            result[:, where] &= (bits & 1).astype(np.bool_)
        return result

    def curves(self, positions: IntArray, corner: int = TYP) -> IntArray:
        """Return (S, E) curve choices for (S, A) positions at one corner of tolerance."""
        on = self.conducts(positions)
        chosen: IntArray = np.where(
            on, self.on_curve[corner][None, :], self.off_curve[corner][None, :]
        )
        return chosen

    def rest(self) -> IntArray:
        """Return the (1, A) positions at rest: first position of every actor."""
        return np.zeros((1, len(self.actors)), dtype=np.int64)

    def positions(self, states: Sequence[Mapping[str, str]]) -> IntArray:
        """Return (S, A) indices for states given as actor to position; others at rest."""
        result = np.repeat(self.rest(), max(len(states), 1), axis=0)[: len(states)]
        for row, state in enumerate(states):
            for actor, position in state.items():
                column = self.actor_index[actor]
                result[row, column] = self.actors[column].positions.index(position)
        return result

    def node(self, terminal: Terminal) -> int:
        """Return the node of a terminal that is known to exist."""
        net = self.cell.items[terminal.item].net(terminal)
        assert net is not None
        return self.node_of_net[(terminal.item, net)]
