"""What each terminal carries and what stands at the far end of a channel, from names and joins."""

from __future__ import annotations

from collections import Counter
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
            yield signal.name, (signal.item, self.own_nets[signal.item][signal.channel.name])
        named = {s.channel_name for s in self.cell.signals.values()}
        for item in self.cell.items.values():
            for channel in item.part.channels.values():
                name = f"{item.name}.{channel.name}"
                if name not in named:
                    yield name, (item.name, self.own_nets[item.name][channel.name])
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
    def own_nets(self) -> dict[str, dict[str, str]]:
        """Return, by item and channel, the net that is the channel's own."""
        return {name: channel_nets(item.part) for name, item in self.cell.items.items()}

    def terminals_on(self, item: Item, net: str) -> list[Terminal]:
        """Return every terminal of an item on one of its nets."""
        return self._terminals[item.name].get(net, [])

    @cached_property
    def _terminals(self) -> dict[str, dict[str, list[Terminal]]]:
        found: dict[str, dict[str, list[Terminal]]] = {}
        for item in self.cell.items.values():
            on_net = found.setdefault(item.name, {})
            for terminal in item.terminals():
                on_net.setdefault(item.net(terminal) or "", []).append(terminal)
        return found

    def channel_terminals(self, item: Item, channel: str) -> list[Terminal]:
        """Return every terminal of an item that is this channel."""
        return self.terminals_on(item, self.own_nets[item.name][channel])

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
                same = self.terminals_on(item, item.net(far) or "")
                todo += [t for t in same if t not in seen]
                seen.update(same)
        return found, way


def other_end(join: Join, here: Terminal) -> Terminal:
    """Return the terminal at the other end of a join."""
    return join.b if join.a == here else join.a


def channel_nets(part: Part) -> dict[str, str]:
    """Return each channel's own net: the end its element shares with the fewest other channels."""
    ends = {
        name: (part.element_by_name[c.element].tail, part.element_by_name[c.element].head)
        for name, c in part.channels.items()
    }
    shared = Counter(net for pair in ends.values() for net in set(pair))
    reachable = _nets(part)
    # For a lone channel both ends count alike; the one that is no supply rail is its own.
    return {
        name: min(pair, key=lambda n: (n not in reachable, shared[n], bool(_feed_word(n))))
        for name, pair in ends.items()
    }


def _nets(part: Part) -> set[str]:
    pins = {net for s in part.sockets.values() for net in s.pins.values()}
    return set(part.terminals.values()) | pins


def is_zero(net: str) -> bool:
    """Return whether a part's net is its 0 V, by its name."""
    return _feed_word(net) == ZERO


def _feed_word(net: str) -> str:
    if net == "PE":
        return EARTH
    if net in {"plus", "+"} or net.endswith("+"):
        return PLUS
    if net in {"minus", "-", "zero"} or net.endswith("-"):
        return ZERO
    return ""
