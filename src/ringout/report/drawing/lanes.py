"""Where things go on a circuit drawing: items in columns, conductors in lanes.

Every item is drawn once. Conductors run from left to right in lanes; a lane goes straight through
an item whose net it continues. Lanes are stacked so that what is nearer to + lies higher and the
return lies lowest, and each field device has its lanes together.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from ringout.report.drawing.path_model import RETURN, CircuitView, PathItem, PathPin

_CLASS = {"supply": 0, "protection": 1, "controller": 3, "terminal": 4, "connector": 4}
_FIELD_CLASS = 5
_NEAR_SUPPLY = 2
PASSIVE = frozenset({"terminal", "connector"})

Key = tuple[float, float, int]


@dataclass
class Lane:
    """One horizontal line of the drawing.

    Args:
        key: what lanes are sorted by.
        back: it belongs to the return side.
        left: item to the pin where the lane ends on the item's left edge.
        right: item to the pin on its right edge.
        net: item to the net the lane is inside it.
        wires: index of each conductor on it with its left and right item.
    """

    key: Key
    back: bool
    left: dict[str, PathPin] = field(default_factory=dict)
    right: dict[str, PathPin] = field(default_factory=dict)
    net: dict[str, str] = field(default_factory=dict)
    wires: list[tuple[int, str, str]] = field(default_factory=list)


@dataclass(frozen=True)
class Grid:
    """Columns and lanes of a drawing.

    Args:
        view: what is drawn.
        column: item to column, from the left.
        lanes: from the top.
        links: conductors that join two pins of one item, with the two lanes.
    """

    view: CircuitView
    column: Mapping[str, int]
    lanes: Sequence[Lane]
    links: Sequence[tuple[int, int, int]]

    @property
    def columns(self) -> int:
        """Return how many columns there are."""
        return max(self.column.values(), default=-1) + 1

    def lanes_of(self, item: str, net: str) -> list[int]:
        """Return the lanes that are a net of an item, from the top."""
        return [i for i, lane in enumerate(self.lanes) if lane.net.get(item) == net]

    def extent(self, item: str) -> tuple[int, int]:
        """Return the first and last lane of an item."""
        mine = [i for i, lane in enumerate(self.lanes) if item in lane.net]
        return mine[0], mine[-1]


def make_grid(view: CircuitView) -> Grid:
    """Return columns and lanes for a circuit."""
    return _Maker(view).run()


class _Maker:
    def __init__(self, view: CircuitView) -> None:
        self.view = view
        self.items = {i.name: i for i in view.items}
        self.rank = {(i.name, n.net): n.rank for i in view.items for n in i.nets}
        self.order = self._order()
        self.column = self._columns()
        self.parent: dict[str, str] = {}
        self.children: dict[str, list[str]] = {}
        self.first: dict[str, int] = {}
        self.last: dict[str, int] = {}
        self.lanes: list[Lane] = []
        self.links: list[tuple[int, Lane, Lane]] = []

    def run(self) -> Grid:
        self._tree()
        self._wires()
        self._chain()
        self._inner()
        lanes = sorted(self.lanes, key=lambda lane: lane.key)
        place = {id(lane): i for i, lane in enumerate(lanes)}
        links = [(c, place[id(a)], place[id(b)]) for c, a, b in self.links]
        grid = Grid(self.view, self.column, lanes, links)
        return Grid(self.view, _apart(grid), lanes, links)

    # -- columns ---------------------------------------------------------------------------

    def _neighbours(self) -> dict[str, list[str]]:
        near: dict[str, list[str]] = {name: [] for name in self.items}
        for c in self.view.conductors:
            a, b = c.a.terminal.item, c.b.terminal.item
            if a != b:
                near[a].append(b)
                near[b].append(a)
        return near

    def _order(self) -> dict[str, tuple[int, int, int]]:
        near = self._neighbours()
        step = {n: 0 for n, i in self.items.items() if i.family in ("supply", "controller")}
        todo = deque(step)
        while todo:
            here = todo.popleft()
            for other in near[here]:
                if other not in step:
                    step[other] = step[here] + 1
                    todo.append(other)
        names = list(self.items)
        return {
            n: (self._class(i, near[n]), step.get(n, 99), names.index(n))
            for n, i in self.items.items()
        }

    def _class(self, item: PathItem, near: Sequence[str]) -> int:
        if item.family in PASSIVE and any(
            self.items[n].family in ("supply", "protection") for n in near
        ):
            return _NEAR_SUPPLY
        return _CLASS.get(item.family, _FIELD_CLASS)

    def _columns(self) -> dict[str, int]:
        near = self._neighbours()
        column: dict[str, int] = {}
        for name in sorted(self.items, key=self.order.__getitem__):
            before = [column[n] for n in near[name] if n in column]
            column[name] = max(before, default=-1) + 1
        return column

    # -- bands -----------------------------------------------------------------------------

    def _tree(self) -> None:
        near = self._neighbours()
        roots = []
        long_feed: dict[str, int] = {}
        for name in sorted(self.items, key=self.order.__getitem__):
            before = [n for n in near[name] if self.column[n] < self.column[name]]
            if not before:
                roots.append(name)
                continue
            parent = max(before, key=lambda n: (self.column[n], -self.order[n][2]))
            self.parent[name] = parent
            self.children.setdefault(parent, []).append(name)
            long_feed[name] = -sum(1 for n in set(before) if n != parent)
        leaf = 0
        for root in roots:
            leaf = self._number(root, leaf, long_feed)

    def _number(self, name: str, leaf: int, long_feed: Mapping[str, int]) -> int:
        self.first[name] = leaf
        children = sorted(
            self.children.get(name, ()),
            key=lambda n: (long_feed[n], self._only_return(name, n), self._met(n)),
        )
        for child in children:
            leaf = self._number(child, leaf, long_feed)
        if not children:
            leaf += 1
        self.last[name] = leaf - 1
        return leaf

    def _met(self, name: str) -> int:
        """Return the number of the first conductor that reaches an item."""
        return next(
            (
                k
                for k, c in enumerate(self.view.conductors)
                if name in (c.a.terminal.item, c.b.terminal.item)
            ),
            0,
        )

    def _only_return(self, parent: str, child: str) -> bool:
        """Return whether nothing but the return side joins an item to the one left of it."""
        ends = ((c.a, c.b) for c in self.view.conductors)
        ranks = [
            self.rank[(p.terminal.item, p.net)]
            for pair in ends
            if {p.terminal.item for p in pair} == {parent, child}
            for p in pair
        ]
        return min(ranks, default=0.0) >= RETURN

    def _key(self, left: str, right: str, rank: float) -> tuple[float, float]:
        back = rank >= RETURN
        if self.parent.get(right) == left:
            return float(self.last[right] if back else self.first[right]), rank
        top = right  # a long way round: above or below all it passes
        while (up := self.parent.get(top)) is not None and self.column[up] > self.column[left]:
            top = up
        return (self.last[top] + 0.5, rank) if back else (self.first[top] - 0.5, rank)

    # -- lanes -----------------------------------------------------------------------------

    def _wires(self) -> None:
        for number, c in enumerate(self.view.conductors):
            a, b = c.a, c.b
            if a.terminal.item == b.terminal.item:
                ends = [self._stub(p, number) for p in (a, b)]
                self.links.append((number, ends[0], ends[1]))
                continue
            if self.column[a.terminal.item] > self.column[b.terminal.item]:
                a, b = b, a
            left, right = a.terminal.item, b.terminal.item
            rank = max(self.rank[(left, a.net)], self.rank[(right, b.net)])
            if rank < RETURN:
                rank = min(self.rank[(left, a.net)], self.rank[(right, b.net)])
            lane = Lane((*self._key(left, right, rank), number), rank >= RETURN)
            lane.right[left], lane.left[right] = a, b
            lane.net[left], lane.net[right] = a.net, b.net
            lane.wires.append((number, left, right))
            self.lanes.append(lane)

    def _stub(self, pin: PathPin, number: int) -> Lane:
        item = pin.terminal.item
        rank = self.rank[(item, pin.net)]
        leaf = self.last[item] if rank >= RETURN else self.first[item]
        lane = Lane((float(leaf), rank + 0.25, number), rank >= RETURN)
        lane.right[item] = pin
        lane.net[item] = pin.net
        self.lanes.append(lane)
        return lane

    def _chain(self) -> None:
        """Let lanes go straight on through the items whose nets they continue."""
        for name in sorted(self.items, key=lambda n: self.column[n]):
            for net in (n.net for n in self.items[name].nets):
                left = [x for x in self.lanes if x.net.get(name) == net and name in x.left]
                right = [
                    x
                    for x in self.lanes
                    if x.net.get(name) == net and name in x.right and name not in x.left
                ]
                left = [x for x in left if name not in x.right]
                left.sort(key=lambda x: x.key)
                right.sort(key=lambda x: x.key)
                if left and left[0].back:
                    left.reverse()
                    right.reverse()
                for a, b in zip(left, right, strict=False):
                    self._merge(a, b)

    def _merge(self, a: Lane, b: Lane) -> None:
        if set(a.net) & set(b.net) - {n for n in a.net if a.net[n] == b.net.get(n)}:
            return
        a.key = max(a.key, b.key) if a.back else min(a.key, b.key)
        a.left.update(b.left)
        a.right.update(b.right)
        a.net.update(b.net)
        a.wires += b.wires
        self.links = [(c, a if x is b else x, a if y is b else y) for c, x, y in self.links]
        self.lanes = [x for x in self.lanes if x is not b]

    def _inner(self) -> None:
        """Give nets without a conductor a lane of their own inside their item."""
        taken = {(n, net) for lane in self.lanes for n, net in lane.net.items()}
        number = len(self.view.conductors)
        for item in self.view.items:
            for net in item.nets:
                if (item.name, net.net) not in taken:
                    number += 1
                    leaf = self.last[item.name] if net.rank >= RETURN else self.first[item.name]
                    lane = Lane((float(leaf), net.rank, number), net.rank >= RETURN)
                    lane.net[item.name] = net.net
                    self.lanes.append(lane)


def _apart(grid: Grid) -> dict[str, int]:
    """Return columns in which no two items share a lane; further ones are put in where needed."""
    result: dict[str, int] = {}
    shift = 0
    for column in range(grid.columns):
        names = [n for n, c in grid.column.items() if c == column]
        names.sort(key=grid.extent)
        ends: list[int] = []
        for name in names:
            top, bottom = grid.extent(name)
            sub = next((k for k, end in enumerate(ends) if end < top), len(ends))
            if sub == len(ends):
                ends.append(bottom)
            ends[sub] = bottom
            result[name] = column + shift + sub
        shift += max(len(ends), 1) - 1
    return result
