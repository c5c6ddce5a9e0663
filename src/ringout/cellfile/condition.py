"""Conditions such as `S1 pressed and not (B1 target or B2 target)`.

`not` binds closest, then `and`, then `or`; round brackets group.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

from ringout.base.diagnostic import Diagnostic, Severity
from ringout.base.span import Span
from ringout.cellfile.tree import Scalar
from ringout.cellfile.words import Token, Word, split_tokens, word_at

MOST_WORDS = 200
_DEEPEST = 30
_ACTOR = re.compile(r"[A-Za-z][A-Za-z0-9_]*(?:[.\-:][A-Za-z0-9_]+)*")
_POSITION = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_\-]*")
_KEYWORDS = frozenset({"and", "or", "not", "is", "(", ")"})
_EXAMPLE = "write it as in `S1 pressed and not B1 target`"


@dataclass(frozen=True, slots=True)
class Is:
    """An actor stands in a position: `S1 pressed`, `K1.O1 on`."""

    actor: Word
    position: Word
    span: Span

    def __str__(self) -> str:
        return f"{self.actor} {self.position}"


@dataclass(frozen=True, slots=True)
class Not:
    """The contrary of a condition."""

    inner: Condition
    span: Span

    def __str__(self) -> str:
        return f"not {_bracketed(self.inner)}"


@dataclass(frozen=True, slots=True)
class And:
    """All of several conditions."""

    parts: tuple[Condition, ...]
    span: Span

    def __str__(self) -> str:
        return " and ".join(_bracketed(part) for part in self.parts)


@dataclass(frozen=True, slots=True)
class Or:
    """At least one of several conditions."""

    parts: tuple[Condition, ...]
    span: Span

    def __str__(self) -> str:
        return " or ".join(_bracketed(part) for part in self.parts)


Condition: TypeAlias = Is | Not | And | Or


def _bracketed(condition: Condition) -> str:
    return f"({condition})" if isinstance(condition, And | Or) else str(condition)


def leaves(condition: Condition) -> Iterator[Is]:
    """Yield every `actor position` a condition names, in the order written."""
    if isinstance(condition, Is):
        yield condition
    elif isinstance(condition, Not):
        yield from leaves(condition.inner)
    else:
        for part in condition.parts:
            yield from leaves(part)


class _UnreadError(Exception):
    def __init__(self, message: str, index: int, fix: str = _EXAMPLE) -> None:
        super().__init__(message)
        self.message = message
        self.index = index
        self.fix = fix


def parse_condition(scalar: Scalar, start: int = 0) -> Condition | Diagnostic:
    """Read a condition.

    Args:
        scalar: the text it stands in.
        start: character of the text, from 0, where the condition begins.

    Returns:
        The condition, or what is wrong with it and how far it was understood.
    """
    tokens = [t for t in split_tokens(scalar.text) if t.start >= start]
    parser = _Parser(scalar, tokens, start)
    try:
        return parser.read()
    except _UnreadError as unread:
        return parser.diagnostic(unread)


class _Parser:
    """Reads one condition, word by word."""

    def __init__(self, scalar: Scalar, tokens: list[Token], start: int) -> None:
        self.scalar = scalar
        self.tokens = tokens
        self.start = start
        self.index = 0
        self.depth = 0

    def peek(self) -> str:
        """Return the next word, empty at the end."""
        return self.tokens[self.index].text if self.index < len(self.tokens) else ""

    def read(self) -> Condition:
        """Read the whole condition."""
        if len(self.tokens) > MOST_WORDS:
            raise _UnreadError(f"a condition has no more than {MOST_WORDS} words", MOST_WORDS)
        found = self.either()
        if self.index < len(self.tokens):
            raise _UnreadError("`and` or `or` is wanted here", self.index)
        return found

    def either(self) -> Condition:
        """Read conditions between `or`."""
        return self._list("or")

    def _list(self, joint: str) -> Condition:
        first = self.index
        parts = [self._list("and") if joint == "or" else self._single()]
        while self.peek() == joint:
            self.index += 1
            parts.append(self._list("and") if joint == "or" else self._single())
        if len(parts) == 1:
            return parts[0]
        span = self._span(first)
        return Or(tuple(parts), span) if joint == "or" else And(tuple(parts), span)

    def _single(self) -> Condition:
        first = self.index
        self.depth += 1
        if self.depth > _DEEPEST:
            raise _UnreadError("brackets and `not` stand too deep inside each other", first)
        word = self.peek()
        if word == "not":
            self.index += 1
            found: Condition = Not(self._single(), self._span(first))
        elif word == "(":
            self.index += 1
            found = self.either()
            if self.peek() != ")":
                raise _UnreadError("`)` is wanted here", self.index)
            self.index += 1
        else:
            found = self._leaf()
        self.depth -= 1
        return found

    def _leaf(self) -> Condition:
        first = self.index
        actor = self._word(
            _ACTOR, "the name of something that changes, such as `S1`, is wanted here"
        )
        if self.peek() == "is":
            self.index += 1
        negated = self.peek() == "not"
        if negated:
            self.index += 1
        wanted = f"a position of {actor}, such as `pressed` or `on`, is wanted here"
        position = self._word(_POSITION, wanted)
        span = self._span(first)
        found = Is(actor, position, span)
        return Not(found, span) if negated else found

    def _word(self, shape: re.Pattern[str], wanted: str) -> Word:
        word = self.peek()
        if word in _KEYWORDS or not shape.fullmatch(word):
            raise _UnreadError(wanted, self.index)
        self.index += 1
        return word_at(self.scalar, self.tokens[self.index - 1])

    def _span(self, first: int) -> Span:
        last = max(first, self.index - 1)
        return self.scalar.part(self.tokens[first].start, self.tokens[last].end)

    def diagnostic(self, unread: _UnreadError) -> Diagnostic:
        """Return what is wrong, with what was understood before it."""
        text = self.scalar.text
        if unread.index < len(self.tokens):
            token = self.tokens[unread.index]
            start, end = token.start, token.end
        else:
            start = end = len(text.rstrip()) if self.tokens else self.start
        understood = text[self.start : start].strip()
        message = unread.message + (f"; understood so far: `{understood}`" if understood else "")
        return Diagnostic(
            "N031", Severity.ERROR, message, self.scalar.part(start, end), fix=unread.fix
        )
