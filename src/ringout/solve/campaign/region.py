"""The part of the network that is followed piece by piece in a case beyond its neighbourhood.

A region grows from the neighbourhood along the tree. An *edge* is a bag whose separator is passed,
and the way: down when the part beyond lies above the bag.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ringout.solve.campaign.bags import Tree
from ringout.solve.campaign.jit import called, kernel
from ringout.solve.campaign.local import Local, Mesh, mesh_of
from ringout.solve.campaign.messages import Lines, Messages, Scratch, scratch_of
from ringout.solve.campaign.run import Ground

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]


class Region(NamedTuple):
    """The region and its frontier.

    Args:
        bag: edges opened, those near the neighbourhood first.
        down: 1 where the part beyond lies above the bag.
        to: edge through which it passes on, -1 for the neighbourhood itself.
        dirty: 1 where the message must be made anew.
        front_bag: edges not opened.
        front_down: likewise.
        front_to: likewise.
        size: (2,) edges opened, edges not opened.
    """

    bag: IntArray
    down: IntArray
    to: IntArray
    dirty: IntArray
    front_bag: IntArray
    front_down: IntArray
    front_to: IntArray
    size: IntArray


class Moves(NamedTuple):
    """What has been found out about a case.

    Args:
        node_v: (N,) changes of the voltages found last.
        fine_v: (N,) their refinement.
        left_a: (N,) currents left over.
        old_v: (N,) changes of the voltages before a careful step.
        play: (N,) nodes whose voltages are followed.
        seen: (N,) marks.
        bend: (E,) elements with breaks that are followed.
    """

    node_v: FloatArray
    fine_v: FloatArray
    left_a: FloatArray
    old_v: FloatArray
    play: IntArray
    seen: IntArray
    bend: IntArray


class Now(NamedTuple):
    """What changes while a case is solved; between two cases everything is as at the base."""

    lines: Lines
    messages: Messages
    scratch: Scratch
    region: Region
    moves: Moves
    mesh: Mesh


def now_of(net: Ground, nodes: int, pairs: int) -> Now:
    """Return room for cases of neighbourhoods of at most these sizes, all as at the base."""
    bags, count, elements = len(net.tree.parent), len(net.tree.home), len(net.tree.tail)

    def marks(size: int) -> IntArray:
        return np.zeros(size, dtype=np.int64)

    def volts() -> FloatArray:
        return np.zeros(count)

    region = Region(
        marks(bags),
        marks(bags),
        marks(bags),
        marks(bags),
        marks(2 * bags),
        marks(2 * bags),
        marks(2 * bags),
        marks(2),
    )
    moves = Moves(volts(), volts(), volts(), volts(), marks(count), marks(count), marks(elements))
    slope_s, put_a, low_v, high_v, curve = net.lines
    lines = Lines(slope_s.copy(), put_a.copy(), low_v.copy(), high_v.copy(), curve.copy())
    messages = Messages(*(field.copy() for field in net.messages))
    return Now(lines, messages, scratch_of(net.tree), region, moves, mesh_of(nodes, pairs))


@kernel
def open_at(local: Local, region: Region) -> None:
    """Begin a region at a neighbourhood."""
    region.size[0] = 0
    region.size[1] = len(local.edge_bag)
    for k in range(len(local.edge_bag)):
        region.front_bag[k] = local.edge_bag[k]
        region.front_down[k] = local.edge_down[k]
        region.front_to[k] = -1


@kernel
def open_edge(tree: Tree, region: Region, k: int) -> None:
    """Move an edge from the frontier into the region; what lies beyond becomes frontier."""
    opened, front = region.size[0], region.size[1]
    bag, down = region.front_bag[k], region.front_down[k]
    region.bag[opened] = bag
    region.down[opened] = down
    region.to[opened] = region.front_to[k]
    region.dirty[opened] = 0
    region.size[0] = opened + 1
    front -= 1
    region.front_bag[k] = region.front_bag[front]
    region.front_down[k] = region.front_down[front]
    region.front_to[k] = region.front_to[front]
    inner = tree.parent[bag] if down else bag
    for c in range(3):
        # the bags below, and the one above when it was not come from
        beyond = tree.child[inner, c] if c < 2 else inner
        if c < 2 and (beyond < 0 or (down == 1 and beyond == bag)):
            continue
        if c == 2 and (down == 0 or tree.parent[inner] < 0):
            continue
        region.front_bag[front] = beyond
        region.front_down[front] = 1 if c == 2 else 0
        region.front_to[front] = opened
        front += 1
    region.size[1] = front


@kernel
def inner_of(tree: Tree, region: Region, k: int) -> int:
    """Return the bag beyond an opened edge."""
    bag: int = tree.parent[region.bag[k]] if region.down[k] else region.bag[k]
    return bag


@called
def close(net: Ground, now: Now, local: Local) -> None:
    """Put everything back to the base."""
    tree, region, old, new = net.tree, now.region, net.messages, now.messages
    restore_local(net, now, local)
    for k in range(region.size[0]):
        bag = region.bag[k]
        t, t_end = tree.tri_first[bag], tree.tri_first[bag + 1]
        c, c_end = tree.clique_first[bag], tree.clique_first[bag + 1]
        _restore_bag(tree, net.lines, now.lines, inner_of(tree, region, k))
        if region.down[k]:
            _restore(old.down_s, new.down_s, t, t_end)
            _restore(old.down_a, new.down_a, c, c_end)
            s, s_end = tree.solved_first[bag], tree.solved_first[bag + 1]
            _restore(old.down_solved, new.down_solved, s, s_end)
        else:
            _restore(old.up_s, new.up_s, t, t_end)
            _restore(old.up_a, new.up_a, c, c_end)
            _restore(old.up_share, new.up_share, c, c_end)
            _restore(old.up_v, new.up_v, bag, bag + 1)
            _restore(old.up_ohm, new.up_ohm, bag, bag + 1)
    region.size[0] = 0
    region.size[1] = 0


@kernel
def restore_local(net: Ground, now: Now, local: Local) -> None:
    """Put the elements of the neighbourhood back to the base."""
    for k in range(len(local.bag)):
        _restore_bag(net.tree, net.lines, now.lines, local.bag[k])


@kernel
def _restore(old: FloatArray, new: FloatArray, first: int, end: int) -> None:
    for k in range(first, end):
        new[k] = old[k]


@kernel
def _restore_bag(tree: Tree, old: Lines, new: Lines, bag: int) -> None:
    for k in range(tree.own_first[bag], tree.own_first[bag + 1]):
        e = tree.own[k]
        new.slope_s[e] = old.slope_s[e]
        new.put_a[e] = old.put_a[e]
        new.low_v[e] = old.low_v[e]
        new.high_v[e] = old.high_v[e]
        new.curve[e] = old.curve[e]
