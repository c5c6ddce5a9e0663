"""What each terminal carries and what stands at the far end of a channel, from names and joins."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

from ringout.cell.model import Cell, Item, Join, Terminal
from ringout.cell.part import Part

PASS_ON = frozenset({"connector", "terminal"})  # families that only hand conductors on
FEEDING = frozenset({"supply", "protection", "controller"})
PLUS, ZERO, EARTH = "+24 V", "0 V", "PE"

Node = tuple[str, str]  # item and its net


class Nets:
    """Nets of a cell: terminals that conductors and the parts' own nets hold together."""

    def __init__(self, cell: Cell) -> None:
        self.cell = cell
        self._root: dict[Node, Node] = {}
        for join in cell.joins:
            a, b = self._node(join.a), self._node(join.b)
            if a is not None and b is not None:
                self._root[self._find(a)] = self._find(b)

    def _node(self, terminal: Terminal) -> Node | None:
        item = self.cell.items.get(terminal.item)
        net = item.net(terminal) if item is not None else None
        return None if net is None else (terminal.item, net)

    def _find(self, node: Node) -> Node:
        while (up := self._root.get(node, node)) != node:
            self._root[node] = self._root.get(up, up)
            node = up
        return node

    @cached_property
    def _labels(self) -> dict[Node, list[str]]:
        found: dict[Node, list[str]] = {}
        for word, node in self._words():
            labels = found.setdefault(self._find(node), [])
            if word not in labels:
                labels.append(word)
        return found

    def _words(self) -> Iterator[tuple[str, Node]]:
        for signal in self.cell.signals.values():
            part = self.cell.items[signal.item].part
            yield signal.name, (signal.item, channel_net(part, signal.channel.element))
        named = {s.channel_name for s in self.cell.signals.values()}
        for item in self.cell.items.values():
            for channel in item.part.channels.values():
                name = f"{item.name}.{channel.name}"
                if name not in named:
                    yield name, (item.name, channel_net(item.part, channel.element))
        for item in self.cell.items.values():
            if item.part.family in FEEDING:
                for net in sorted(_nets(item.part)):
                    word = _feed_word(net)
                    if item.part.family == "protection" and net.startswith("out"):
                        word = PLUS
                    if word:
                        yield word, (item.name, net)

    def carries(self, terminal: Terminal) -> str:
        """Return signal, channel, `+24 V`, `0 V` or `PE`; all of them when joined."""
        node = self._node(terminal)
        return "" if node is None else ", ".join(self._labels.get(self._find(node), []))

    @cached_property
    def joins_at(self) -> dict[Terminal, list[Join]]:
        """Return the joins that end on each terminal."""
        found: dict[Terminal, list[Join]] = {}
        for join in self.cell.joins:
            found.setdefault(join.a, []).append(join)
            found.setdefault(join.b, []).append(join)
        return found

    def trace(self, start: Terminal) -> tuple[list[Terminal], list[Join]]:
        """Follow the conductors from a terminal, through splitters and terminal blocks.

        Returns:
            The terminals of devices they lead to, and the joins on the way, nearest first.
        """
        seen, found, way, todo = {start}, list[Terminal](), list[Join](), [start]
        while todo:
            here = todo.pop(0)
            for join in self.joins_at.get(here, ()):
                far = other_end(join, here)
                if far in seen:
                    continue
                seen.add(far)
                way.append(join)
                item = self.cell.items[far.item]
                if item.part.family not in PASS_ON:
                    found.append(far)
                    continue
                same = [t for t in terminals_of(item) if item.net(t) == item.net(far)]
                todo += [t for t in same if t not in seen]
                seen.update(same)
        return found, way


def other_end(join: Join, here: Terminal) -> Terminal:
    """Return the terminal at the other end of a join."""
    return join.b if join.a == here else join.a


def terminals_of(item: Item) -> list[Terminal]:
    """Return every terminal of an item, free ones first, in the order of the part."""
    free = [Terminal(item.name, "", t) for t in item.part.terminals]
    sockets = item.part.sockets.values()
    return free + [Terminal(item.name, s.name, p) for s in sockets for p in s.pins]


def channel_net(part: Part, element: str) -> str:
    """Return the net that is this channel's own: the end its element shares with fewer others."""
    ends = [
        {part.element_by_name[c.element].tail, part.element_by_name[c.element].head}
        for c in part.channels.values()
    ]
    own = part.element_by_name[element]
    reachable = _nets(part)

    def shared(net: str) -> tuple[bool, int]:
        return net not in reachable, sum(net in pair for pair in ends)

    # For a lone channel both ends count alike; the one that is no supply rail is its own.
    return min((own.tail, own.head), key=lambda net: (*shared(net), bool(_feed_word(net))))


def _nets(part: Part) -> set[str]:
    pins = {net for s in part.sockets.values() for net in s.pins.values()}
    return set(part.terminals.values()) | pins


def _feed_word(net: str) -> str:
    if net == "PE":
        return EARTH
    if net in {"plus", "+"} or net.endswith("+"):
        return PLUS
    if net in {"minus", "-", "zero"} or net.endswith("-"):
        return ZERO
    return ""
