"""The plain form of YAML that nearly every file keeps to, read ten times as fast.

What is not surely plain (references, escapes, block text, odd indentation, any error) is left to
the full reader: `build_swiftly` then returns None. Where it returns a tree, the full reader gives
the same one, with the same places.
"""

from __future__ import annotations

import re

from ringout.base.span import Span
from ringout.cellfile.tree import Mapping, Node, Scalar, Sequence

_DEEPEST = 10
_FIRST = r"A-Za-z0-9_.+<=/$(~°µΩ±\u00c0-\u024f"
_KEY = re.compile(r"([A-Za-z0-9_$][A-Za-z0-9_.+/$-]{0,80}):(?: +|$)")
_PLAIN = re.compile(rf"[{_FIRST}]|-[A-Za-z0-9.]")
_FLOW_PLAIN = re.compile(rf"(?:[{_FIRST}]|-[A-Za-z0-9.])(?:[^,\[\]{{}}:?#]|:(?=[A-Za-z0-9+_-]))*")
_FLOW_KEY = re.compile(r"([A-Za-z0-9_$+][A-Za-z0-9_.+/$-]{0,80}|'[^'\\]*'|\"[^\"\\]*\"):(?= |$)")
_QUOTED = re.compile(r"'[^']*'|\"[^\"\\]*\"")
_COMMENT = re.compile(r"(?:^|\s)#")


class _NotPlainError(Exception):
    pass


def build_swiftly(lines: list[str], file: str, first_line: int = 1) -> Node | None:
    """Return the tree of some clean lines, or None where the full reader is needed.

    Args:
        lines: clean lines of the file, or of a piece of it.
        file: name of the file for places.
        first_line: number of the first of these lines in the file.
    """
    try:
        return _Swift(lines, file, first_line).read()
    except _NotPlainError:
        return None


class _Swift:
    def __init__(self, lines: list[str], file: str, first_line: int) -> None:
        self.raw = lines
        self.first_line = first_line
        self.file = file
        # Lines that hold something: number from 0, indentation, text without remark.
        self.numbers: list[int] = []
        self.indents: list[int] = []
        self.texts: list[str] = []
        self.at = 0
        self.depth = 0
        for number, line in enumerate(lines):
            text = line.strip(" ")
            if not text or text[0] == "#":
                continue
            if "#" in text and (found := _COMMENT.search(text)) is not None:
                if "'" in text or '"' in text:
                    raise _NotPlainError
                text = text[: found.start()].rstrip(" ")
            self.numbers.append(number)
            self.indents.append(len(line) - len(line.lstrip(" ")))
            self.texts.append(text)

    def read(self) -> Node:
        """Return the tree of all lines."""
        if not self.texts:
            raise _NotPlainError
        column = self.indents[0]
        dash = self.texts[0].startswith("- ")
        root = self._sequence(column) if dash else self._mapping(column)
        if self.at < len(self.texts):
            raise _NotPlainError
        return root

    # -- places ------------------------------------------------------------------------

    def _span(self, line: int, start: int, end: int) -> Span:
        return Span(self.file, line + self.first_line, start + 1, end + 1)

    def _long_span(self, line: int, start: int) -> Span:
        """Return the place of what goes on over the end of a line."""
        return self._span(line, start, len(self.raw[line].rstrip()))

    # -- blocks ------------------------------------------------------------------------

    def _enter(self) -> None:
        self.depth += 1
        if self.depth > _DEEPEST:
            raise _NotPlainError

    def _mapping(self, column: int) -> Mapping:
        self._enter()
        span = self._long_span(self.numbers[self.at], column)
        entries: list[tuple[Scalar, Node]] = []
        seen: set[str] = set()
        while self.at < len(self.texts) and self.indents[self.at] >= column:
            text = self.texts[self.at]
            key = _KEY.match(text)
            if self.indents[self.at] != column or key is None or key[1] in seen:
                raise _NotPlainError
            seen.add(key[1])
            line = self.numbers[self.at]
            name = Scalar(key[1], self._span(line, column, column + len(key[1])))
            value = self._value(text[key.end() :], column + key.end(), column, key.end(1) + 1)
            entries.append((name, value))
        self.depth -= 1
        return Mapping(tuple(entries), span)

    def _sequence(self, column: int) -> Sequence:
        self._enter()
        span = self._long_span(self.numbers[self.at], column)
        items: list[Node] = []
        while self.at < len(self.texts) and self.indents[self.at] == column:
            text = self.texts[self.at]
            if not text.startswith("- "):
                break
            rest = text[2:].lstrip(" ")
            start = column + len(text) - len(rest)
            if _KEY.match(rest):
                self.indents[self.at] = start
                self.texts[self.at] = rest
                items.append(self._mapping(start))
            else:
                items.append(self._value(rest, start, column, 0))
        self.depth -= 1
        return Sequence(tuple(items), span)

    def _value(self, text: str, start: int, column: int, blank: int) -> Node:
        """Read a value; `column` is that of its name or dash, `blank` where nothing stands."""
        line = self.numbers[self.at]
        if not text:
            return self._below(line, column, column + blank)
        first = text[0]
        if first in "{[":
            return self._flow_value(start, column)
        self.at += 1
        if first in "'\"":
            found = _QUOTED.fullmatch(text)
            if found is None or self._goes_on(column):
                raise _NotPlainError
            return Scalar(text[1:-1], self._span(line, start, start + len(text)), True)
        self._check_plain(text)
        if not _PLAIN.match(text):
            raise _NotPlainError
        if not self._goes_on(column):
            return Scalar(text, self._span(line, start, start + len(text)))
        return self._long_plain(line, text, start, column)

    def _goes_on(self, column: int) -> bool:
        return self.at < len(self.texts) and self.indents[self.at] > column

    @staticmethod
    def _check_plain(text: str) -> None:
        if ": " in text or text[-1] == ":":
            raise _NotPlainError

    def _below(self, line: int, column: int, blank: int) -> Node:
        self.at += 1
        if self.at < len(self.texts):
            indent = self.indents[self.at]
            dash = self.texts[self.at].startswith("- ")
            if dash and indent >= column:
                return self._sequence(indent)
            if indent > column and not dash:
                return self._mapping(indent)
        return Scalar("", self._span(line, blank, blank))

    def _long_plain(self, line: int, text: str, start: int, column: int) -> Scalar:
        """Read a text that goes on in lines indented deeper."""
        parts = [text]
        last = line
        if len(self.raw[line].rstrip(" ")) != start + len(text):
            raise _NotPlainError  # a remark ends a text
        while self._goes_on(column):
            number, text = self.numbers[self.at], self.texts[self.at]
            self._check_plain(text)
            if number != last + 1 or len(self.raw[number].strip(" ")) != len(text):
                raise _NotPlainError
            parts.append(text)
            last = number
            self.at += 1
        return Scalar(" ".join(parts), self._long_span(line, start))

    # -- braces and brackets -----------------------------------------------------------

    def _flow_value(self, start: int, column: int) -> Node:
        flow = _Flow(self, start, column)
        node = flow.node()
        if flow.text[flow.pos :].strip(" "):
            raise _NotPlainError
        self.at += 1
        if self._goes_on(column):
            raise _NotPlainError
        return node


class _Flow:
    """Reads what stands between braces or brackets, over as many lines as it takes."""

    def __init__(self, swift: _Swift, start: int, column: int) -> None:
        self.swift = swift
        self.column = column
        self.depth = 0
        self._load()
        self.pos = start - self.indent

    def _load(self) -> None:
        self.text = self.swift.texts[self.swift.at]
        self.indent = self.swift.indents[self.swift.at]
        self.line = self.swift.numbers[self.swift.at]

    def _next(self) -> str:
        """Skip blanks and line ends; return the next character."""
        while True:
            while self.pos < len(self.text) and self.text[self.pos] == " ":
                self.pos += 1
            if self.pos < len(self.text):
                return self.text[self.pos]
            self.swift.at += 1
            if self.swift.at >= len(self.swift.texts) or (
                self.swift.indents[self.swift.at] <= self.column
            ):
                raise _NotPlainError
            self._load()
            self.pos = 0

    def _close(self, line: int, start: int) -> Span:
        """Return the place of a list or mapping whose closing character comes next."""
        self.pos += 1
        self.depth -= 1
        if self.line == line:
            return self.swift._span(line, start, self.indent + self.pos)  # noqa: SLF001
        return self.swift._long_span(line, start)  # noqa: SLF001

    def node(self) -> Node:
        """Read one value."""
        first = self._next()
        if first == "{":
            return self._mapping()
        if first == "[":
            return self._sequence()
        return self._scalar(first)

    def _scalar(self, first: str) -> Scalar:
        quoted = first in "'\""
        found = (_QUOTED if quoted else _FLOW_PLAIN).match(self.text, self.pos)
        if found is None:
            raise _NotPlainError
        text = found[0].rstrip(" ")
        start = self.indent + self.pos
        span = self.swift._span(self.line, start, start + len(text))  # noqa: SLF001
        self.pos += len(text)
        if self._next() not in ",]}":
            raise _NotPlainError
        return Scalar(text[1:-1], span, True) if quoted else Scalar(text, span)

    def _open(self) -> tuple[int, int]:
        self.depth += 1
        if self.depth > _DEEPEST:
            raise _NotPlainError
        place = (self.line, self.indent + self.pos)
        self.pos += 1
        return place

    def _mapping(self) -> Mapping:
        line, start = self._open()
        entries: list[tuple[Scalar, Node]] = []
        seen: set[str] = set()
        if self._next() == "}":
            return Mapping((), self._close(line, start))
        while True:
            self._next()
            found = _FLOW_KEY.match(self.text, self.pos)
            if found is None:
                raise _NotPlainError
            written = found[1]
            quoted = written[0] in "'\""
            text = written[1:-1] if quoted else written
            if text in seen:
                raise _NotPlainError
            seen.add(text)
            column = self.indent + self.pos
            span = self.swift._span(self.line, column, column + len(written))  # noqa: SLF001
            self.pos = found.end()
            if self._next() in ",}":
                raise _NotPlainError
            entries.append((Scalar(text, span, quoted), self.node()))
            if self._next() == "}":
                return Mapping(tuple(entries), self._close(line, start))
            self._comma()

    def _sequence(self) -> Sequence:
        line, start = self._open()
        items: list[Node] = []
        if self._next() == "]":
            return Sequence((), self._close(line, start))
        while True:
            items.append(self.node())
            if self._next() == "]":
                return Sequence(tuple(items), self._close(line, start))
            self._comma()

    def _comma(self) -> None:
        if self.text[self.pos] != ",":
            raise _NotPlainError
        self.pos += 1
