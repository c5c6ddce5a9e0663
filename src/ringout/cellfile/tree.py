"""The tree of a YAML file: every value as the text the user wrote, with its place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

from ringout.base.span import Span


@dataclass(frozen=True, slots=True)
class Scalar:
    """A word or value; numbers, dates and yes or no stay the text they were written as."""

    text: str
    span: Span
    quoted: bool = False

    def part(self, start: int, end: int) -> Span:
        """Return the place of characters `start` to `end` (from 0) of the text.

        Where the text is not written as it reads (over several lines, with escapes), that is
        the place of the whole.
        """
        offset = 1 if self.quoted else 0
        if self.span.end_column - self.span.column != len(self.text) + 2 * offset:
            return self.span
        return self.span.part(start + offset, end + offset)


@dataclass(frozen=True, slots=True)
class Mapping:
    """`name: value` pairs in file order; each name occurs once."""

    entries: tuple[tuple[Scalar, Node], ...]
    span: Span

    def get(self, key: str) -> Node | None:
        """Return the value of a key, or None."""
        return next((value for name, value in self.entries if name.text == key), None)

    def key(self, key: str) -> Scalar | None:
        """Return the key itself with its place, or None."""
        return next((name for name, _ in self.entries if name.text == key), None)

    def keys(self) -> tuple[str, ...]:
        """Return all keys in file order."""
        return tuple(name.text for name, _ in self.entries)


@dataclass(frozen=True, slots=True)
class Sequence:
    """Items of a list in file order."""

    items: tuple[Node, ...]
    span: Span


Node: TypeAlias = Scalar | Mapping | Sequence
Tree: TypeAlias = Mapping


def is_blank(node: Node | None) -> bool:
    """Return whether nothing is written here, as after `note:`."""
    return node is None or (isinstance(node, Scalar) and not node.quoted and not node.text)


def as_text(node: Node | None) -> str | None:
    """Return the text of a scalar, or None for anything else."""
    return node.text if isinstance(node, Scalar) else None


def as_list(node: Node | None) -> tuple[Node, ...]:
    """Return the items of a list, a single value as a list of one, nothing as an empty list."""
    if isinstance(node, Sequence):
        return node.items
    return () if node is None or is_blank(node) else (node,)


def as_plain(node: Node) -> Any:
    """Return dictionaries, lists, strings and None, as a JSON Schema judges them."""
    if isinstance(node, Mapping):
        return {key.text: as_plain(value) for key, value in node.entries}
    if isinstance(node, Sequence):
        return [as_plain(item) for item in node.items]
    return None if is_blank(node) else node.text


def walk(node: Node) -> Iterator[Node]:
    """Yield a node and all below it, keys included, in file order."""
    yield node
    if isinstance(node, Mapping):
        for key, value in node.entries:
            yield key
            yield from walk(value)
    elif isinstance(node, Sequence):
        for item in node.items:
            yield from walk(item)
