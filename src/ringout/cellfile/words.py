"""Words with their places, and the two shapes of name: a terminal and a channel."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ringout.base.span import Span
from ringout.cellfile.tree import Scalar

ITEM_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]*")
_PLACE = re.compile(r"([A-Za-z][A-Za-z0-9_]*)(?:-([A-Za-z0-9_]+))?(?::([^\s:]+))?")
_CHANNEL = re.compile(r"([A-Za-z][A-Za-z0-9_]*)\.([^\s.]+)")
_TOKEN = re.compile(r"[()]|[^\s()]+")


@dataclass(frozen=True, slots=True)
class Word:
    """A text with its place in the file."""

    text: str
    span: Span

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True, slots=True)
class PlaceText:
    """`S1:13`, `K1-X1:4`, `W4:BN`, or without pin `B1`, `K1-X2`, as it is written."""

    item: Word
    socket: Word | None
    pin: Word | None
    span: Span

    def __str__(self) -> str:
        socket = f"-{self.socket}" if self.socket else ""
        return f"{self.item}{socket}" + (f":{self.pin}" if self.pin else "")


@dataclass(frozen=True, slots=True)
class ChannelText:
    """`K1.I4`: an item and one of its channels, as it is written."""

    item: Word
    name: Word
    span: Span

    def __str__(self) -> str:
        return f"{self.item}.{self.name}"


@dataclass(frozen=True, slots=True)
class Token:
    """A word of a statement: characters `start` to `end` of its text."""

    text: str
    start: int
    end: int


def split_tokens(text: str) -> list[Token]:
    """Return the words and brackets of a statement."""
    return [Token(m[0], m.start(), m.end()) for m in _TOKEN.finditer(text)]


def word_of(scalar: Scalar) -> Word:
    """Return a scalar as a word."""
    return Word(scalar.text, scalar.span)


def word_at(scalar: Scalar, token: Token) -> Word:
    """Return one word of a statement with its place."""
    return Word(token.text, scalar.part(token.start, token.end))


def _piece(scalar: Scalar, start: int, found: re.Match[str], group: int) -> Word | None:
    if found[group] is None:
        return None
    span = scalar.part(start + found.start(group), start + found.end(group))
    return Word(found[group], span)


def read_place(scalar: Scalar, token: Token) -> PlaceText | None:
    """Return a word as item, socket and pin, or None if it has not that shape."""
    found = _PLACE.fullmatch(token.text)
    if found is None:
        return None
    item = _piece(scalar, token.start, found, 1)
    assert item is not None  # the first group always takes part
    socket, pin = (_piece(scalar, token.start, found, group) for group in (2, 3))
    return PlaceText(item, socket, pin, scalar.part(token.start, token.end))


def read_channel(scalar: Scalar) -> ChannelText | None:
    """Return a text as item and channel, or None if it has not that shape."""
    found = _CHANNEL.fullmatch(scalar.text)
    if found is None:
        return None
    item, name = (_piece(scalar, 0, found, group) for group in (1, 2))
    assert item is not None  # both groups always take part
    assert name is not None
    return ChannelText(item, name, scalar.span)
