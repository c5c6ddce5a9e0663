"""Which way each element pulls a voltage, told from the topology alone.

Raise the curve of element e = (a, b) by di: the voltage T from p to q changes by
-(L_a - L_b) di, where L are the node voltages when 1 A goes in at p and out at q of the
linearised network. The sign of L_a - L_b does not depend on the conductances when e and pq are
*confluent*: all cycles through both run through e in the same direction. In a series-parallel
block every two elements are. Elsewhere the series-parallel parts are folded up first and the
cycles of the small kernel that remains are counted out.

Source:
    memory (Duffin 1965, confluent edges; not opened again).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

PATH_BUDGET = 4000  # edges walked while the paths of a kernel are counted out

BUSY_NODES = 20  # nodes tried as the two ends of modules


@dataclass(frozen=True, eq=False)
class Signs:
    """How each of E elements pulls a voltage from p to q.

    Args:
        sign: (E,) +1 where L_tail > L_head for all conductances, so that more current in the
            element lowers the voltage; -1 the other way; 0 where it has no effect, or where
            `decided` is False.
        decided: (E,) False where the sign depends on the conductances, or was not found out.
        joined: p and q are joined by elements at all.
    """

    sign: IntArray
    decided: BoolArray
    joined: bool


@dataclass(frozen=True, slots=True)
class _Module:
    """Part of a block that hangs on the rest at two nodes only."""

    a: int
    b: int
    inside: frozenset[int]
    elements: frozenset[int]


class Structure:
    """Blocks of the graph of some elements, with answers kept for each pair of terminals.

    Leaving an element out is right only where it carries next to nothing; counting one in
    that is idle is always right, it can only make a sign undecided.

    Args:
        node_count: N.
        tail: (E,) node indices.
        head: (E,) node indices.
        counted: (E,) True for elements that can carry current worth the name.
    """

    def __init__(self, node_count: int, tail: IntArray, head: IntArray, counted: BoolArray) -> None:
        self.count = len(tail)
        self.tail, self.head = tail.tolist(), head.tolist()
        self.blocks = _blocks(node_count, self.tail, self.head, np.flatnonzero(counted).tolist())
        self.blocks_at: list[list[int]] = [[] for _ in range(node_count)]
        self.nodes_of: list[list[int]] = []
        for number, block in enumerate(self.blocks):
            nodes = sorted({n for e in block for n in (self.tail[e], self.head[e])})
            self.nodes_of.append(nodes)
            for n in nodes:
                self.blocks_at[n].append(number)
        self._modules: dict[int, list[_Module]] = {}
        self._in_module: dict[_Module, dict[int, int]] = {}
        self._signs: dict[tuple[int, int], Signs] = {}
        self._in_block: dict[tuple[int, int, int], dict[int, int]] = {}

    def signs(self, p: int, q: int) -> Signs:
        """Return the signs for the voltage from p to q."""
        known = self._signs.get((p, q))
        if known is not None:
            return known
        sign = np.zeros(self.count, dtype=np.int64)
        decided = np.ones(self.count, dtype=np.bool_)
        path = self._path(p, q)
        for block, enter, leave in path or []:
            for element, value in self._block_signs(block, enter, leave).items():
                sign[element] = value
                decided[element] = value != 0
        result = Signs(sign, decided, path is not None)
        self._signs[(p, q)] = result
        return result

    def bare(self, p: int, q: int) -> tuple[set[int], list[frozenset[int]]]:
        """Return elements between p and q that are in no module, and the modules' elements."""
        bare: set[int] = set()
        modules: list[frozenset[int]] = []
        for block, enter, leave in self._path(p, q) or []:
            elements = frozenset(self.blocks[block])
            left, taken = _outermost(elements, enter, leave, self._modules_of(block))
            bare |= left
            modules += [m.elements for m in taken]
        return bare, modules

    def _path(self, p: int, q: int) -> list[tuple[int, int, int]] | None:
        """Return the blocks between two nodes, each with where it is entered and left."""
        came: dict[int, tuple[int, int]] = {p: (-1, -1)}
        seen: set[int] = set()
        queue = [p]
        for node in queue:
            if node == q:
                break
            for block in self.blocks_at[node]:
                if block in seen:
                    continue
                seen.add(block)
                for other in self.nodes_of[block]:
                    if other not in came:
                        came[other] = (block, node)
                        queue.append(other)
        if q not in came:
            return None
        path = []
        node = q
        while node != p:
            block, before = came[node]
            path.append((block, before, node))
            node = before
        return path[::-1]

    def _block_signs(self, block: int, p: int, q: int) -> dict[int, int]:
        known = self._in_block.get((block, p, q))
        if known is None:
            modules = self._modules_of(block)
            known = self._signs_between(frozenset(self.blocks[block]), p, q, modules)
            self._in_block[(block, p, q)] = known
        return known

    def _modules_of(self, block: int) -> list[_Module]:
        if block not in self._modules:
            self._modules[block] = _find_modules(self.blocks[block], self.tail, self.head)
        return self._modules[block]

    def _signs_between(
        self, elements: frozenset[int], p: int, q: int, modules: list[_Module]
    ) -> dict[int, int]:
        """Return the signs in a block or module, its largest modules taken as one edge each."""
        left, taken = _outermost(elements, p, q, modules)
        edges = [(e, self.tail[e], self.head[e]) for e in sorted(left)]
        edges += [(self.count + k, m.a, m.b) for k, m in enumerate(taken)]
        result = _Folding(edges, p, q).signs()
        for k, module in enumerate(taken):
            way = result.pop(self.count + k)
            if module not in self._in_module:
                inner = [m for m in modules if m.elements < module.elements]
                self._in_module[module] = self._signs_between(
                    module.elements, module.a, module.b, inner
                )
            for e, sign in self._in_module[module].items():
                result[e] = way * sign
        return result


def _outermost(
    elements: frozenset[int], p: int, q: int, modules: list[_Module]
) -> tuple[set[int], list[_Module]]:
    """Return the largest modules with neither p nor q inside, and what is in none of them."""
    left = set(elements)
    taken: list[_Module] = []
    for module in modules:
        outside = p not in module.inside and q not in module.inside
        if outside and module.elements <= left and module.elements != left:
            left -= module.elements
            taken.append(module)
    return left, taken


def _find_modules(block: list[int], tail: list[int], head: list[int]) -> list[_Module]:
    """Return parts that hang on two of the busiest nodes only, the largest first."""
    near: dict[int, list[tuple[int, int]]] = {}
    for e in block:
        near.setdefault(tail[e], []).append((head[e], e))
        near.setdefault(head[e], []).append((tail[e], e))
    busy = sorted(near, key=lambda n: (-len({o for o, _ in near[n]}), n))[:BUSY_NODES]
    found: dict[frozenset[int], _Module] = {}
    for a, b in combinations(sorted(n for n in busy if len(near[n]) > 2), 2):
        parts: list[tuple[set[int], set[int]]] = []
        seen = {a, b}
        for root in near:
            if root in seen:
                continue
            seen.add(root)
            inside = [root]
            elements: set[int] = set()
            for node in inside:
                for other, e in near[node]:
                    elements.add(e)
                    if other not in seen:
                        seen.add(other)
                        inside.append(other)
            parts.append((set(inside), elements))
        if len(parts) < 2:
            continue
        for inside_set, elements in parts:
            if len(elements) > 2:
                key = frozenset(elements)
                found[key] = _Module(a, b, frozenset(inside_set), key)
    return sorted(found.values(), key=lambda m: (-len(m.elements), min(m.elements)))


def _blocks(
    node_count: int, tail: list[int], head: list[int], elements: list[int]
) -> list[list[int]]:
    """Return the elements of each biconnected component (depth first, without recursion)."""
    near: list[list[tuple[int, int]]] = [[] for _ in range(node_count)]
    for e in elements:
        if tail[e] != head[e]:
            near[tail[e]].append((head[e], e))
            near[head[e]].append((tail[e], e))
    depth = [-1] * node_count
    low = [0] * node_count
    blocks: list[list[int]] = []
    for root in range(node_count):
        if depth[root] >= 0:
            continue
        depth[root] = low[root] = 0
        waiting: list[int] = []
        walk = [(root, -1, iter(near[root]))]
        while walk:
            node, came_by, ahead = walk[-1]
            for other, e in ahead:
                if e == came_by:
                    continue
                if depth[other] < 0:
                    waiting.append(e)
                    depth[other] = low[other] = depth[node] + 1
                    walk.append((other, e, iter(near[other])))
                    break
                if depth[other] < depth[node]:
                    waiting.append(e)
                    low[node] = min(low[node], depth[other])
            else:
                walk.pop()
                if walk:
                    parent = walk[-1][0]
                    low[parent] = min(low[parent], low[node])
                    if low[node] >= depth[parent]:
                        at = waiting.index(came_by)
                        blocks.append(waiting[at:])
                        del waiting[at:]
    return blocks


class _Folding:
    """One block between terminals p and q, folded up by series and parallel steps.

    A folded edge runs from `start` to `end`; its parts are edges too, and the elements are
    the edges without parts.
    """

    def __init__(self, edges: list[tuple[int, int, int]], p: int, q: int) -> None:
        self.p, self.q = p, q
        self.start: list[int] = []
        self.end: list[int] = []
        self.parts: list[tuple[int, ...]] = []
        self.element: list[int] = []
        self.near: dict[int, dict[int, int]] = {}
        for element, tail, head in edges:
            self._join(self._edge(tail, head, (), element))
        self._fold()

    def _edge(self, start: int, end: int, parts: tuple[int, ...], element: int = -1) -> int:
        self.start.append(start)
        self.end.append(end)
        self.parts.append(parts)
        self.element.append(element)
        return len(self.start) - 1

    def _join(self, edge: int) -> None:
        """Put an edge into the graph, in parallel with what is there."""
        a, b = self.start[edge], self.end[edge]
        there = self.near.setdefault(a, {}).get(b)
        if there is not None:
            edge = self._edge(a, b, (there, edge))
        self.near[a][b] = edge
        self.near.setdefault(b, {})[a] = edge

    def _fold(self) -> None:
        queue = list(self.near)
        while queue:
            node = queue.pop()
            ends = self.near.get(node)
            if node in (self.p, self.q) or ends is None or len(ends) > 2:
                continue
            del self.near[node]
            others = list(ends.items())
            for other, _ in others:
                del self.near[other][node]
            if len(others) == 2:
                (a, first), (b, second) = others
                self._join(self._edge(a, b, (first, second)))
            queue += [other for other, _ in others]

    def signs(self) -> dict[int, int]:
        """Return +1 or -1 for each element, 0 where it is not decided."""
        result: dict[int, int] = {self.element[e]: 0 for e in range(len(self.element))}
        result.pop(-1, None)
        kernel = {e for ends in self.near.values() for e in ends.values()}
        directions = self._directions(kernel)
        # (edge, +1 when the current through it runs from start to end, 0 when not known)
        stack = [(e, directions[e]) for e in kernel]
        while stack:
            edge, sign = stack.pop()
            if not self.parts[edge]:
                result[self.element[edge]] = sign
                continue
            a, b = self.start[edge], self.end[edge]
            for part in self.parts[edge]:
                same = self.start[part] == a or self.end[part] == b
                stack.append((part, sign if same else -sign))
        return result

    def _directions(self, kernel: set[int]) -> dict[int, int]:
        """Return which way each kernel edge is passed on the paths from p to q."""
        directions = dict.fromkeys(kernel, 0)
        open_ = set()
        for e in kernel:
            if self.start[e] == self.p or self.end[e] == self.q:
                directions[e] = 1
            elif self.end[e] == self.p or self.start[e] == self.q:
                directions[e] = -1
            else:
                open_.add(e)
        if not open_:
            return directions
        passed, complete = self._walk(open_)
        for e in open_:
            ways = passed[e]
            directions[e] = ways.pop() if complete and len(ways) == 1 else 0
        return directions

    def _walk(self, open_: set[int]) -> tuple[dict[int, set[int]], bool]:
        """Walk the simple paths from p to q; return the ways edges are passed, and if all were."""
        passed: dict[int, set[int]] = {e: set() for e in open_}
        budget = PATH_BUDGET
        on_path = {self.p}
        trail: list[tuple[int, int]] = []
        walk = [(self.p, iter(self.near[self.p].items()))]
        while walk:
            node, ahead = walk[-1]
            for other, edge in ahead:
                if other in on_path:
                    continue
                budget -= 1
                if budget < 0:
                    return passed, False
                way = 1 if self.start[edge] == node else -1
                if other == self.q:
                    for e, w in (*trail, (edge, way)):
                        if e in passed:
                            passed[e].add(w)
                    continue
                trail.append((edge, way))
                on_path.add(other)
                walk.append((other, iter(self.near[other].items())))
                break
            else:
                walk.pop()
                on_path.discard(node)
                if trail:
                    trail.pop()
        return passed, True
