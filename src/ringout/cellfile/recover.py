"""Reading on past what cannot be read: one bad line costs one statement.

A file that is no YAML is cut at its indentation into sections and the sections into entries. Each
entry is read by itself; those that can be read are kept, each of the others is reported once.
"""

from __future__ import annotations

import re

from ringout.base.diagnostic import Diagnostic
from ringout.base.span import Span
from ringout.cellfile.build import Builder
from ringout.cellfile.source import CleanText
from ringout.cellfile.swift import build_swiftly
from ringout.cellfile.tree import Mapping, Node, Scalar, Sequence
from ringout.cellfile.trouble import Trouble, explain_no_colon

MOST_TROUBLES = 50
_LONG = 500  # lines of a section
_MANY = 3000  # lines of a file
_HEADER = re.compile(r"\s*([A-Za-z_][\w-]*)\s*(:?)\s*(?:#.*)?")
_NO_BLANK = re.compile(r"\s*([A-Za-z_][\w-]*):(\S.*?)\s*")  # `revision:A` means what it says


def build_or_salvage(clean: CleanText, file: str) -> tuple[Node | None, tuple[Diagnostic, ...]]:
    """Return the tree of a file, or of whatever of it can be read, and what is wrong.

    Args:
        clean: the file's lines.
        file: name of the file for places.
    """
    builder = Builder(file, clean.widened)
    if len(clean.lines) > _MANY:  # the full reader would take many seconds
        salvage = Salvage(clean.lines, builder)
        root = salvage.read(None)
        return root, (*salvage.problems, *builder.problems)
    try:
        return builder.build(clean.lines), tuple(builder.problems)
    except Trouble as trouble:
        salvage = Salvage(clean.lines, builder)
        root = salvage.read(trouble)
        return root, (*salvage.problems, *builder.problems)


class Salvage:
    """Reads one broken file piece by piece; `problems` says what was lost.

    Args:
        lines: clean lines of the file.
        builder: builds trees of this file.
    """

    def __init__(self, lines: list[str], builder: Builder) -> None:
        self.lines = lines
        self.builder = builder
        self.problems: list[Diagnostic] = []

    def read(self, whole: Trouble | None) -> Mapping:
        """Return all that can be read of the file, which stopped at `whole` if it was tried."""
        numbers = [i for i in range(len(self.lines)) if _is_content(self.lines[i])]
        indent = min((_indent(self.lines[i]) for i in numbers), default=0)
        entries: list[tuple[Scalar, Node]] = []
        for first, last in self._chunks(0, len(self.lines), indent, dashes=False):
            if len(self.problems) >= MOST_TROUBLES:
                break
            # To read a long section again only to fail again would take seconds.
            long = last - first > _LONG and _HEADER.fullmatch(self.lines[first]) is not None
            entries += self._section(first, last, None if long else self._try(first, last))
        if not self.problems and whole is not None:
            self.problems.append(whole.diagnostic())
        span = entries[0][0].span if entries else Span(self.builder.file, 1, 1, 1)
        nodes = [node for pair in entries for node in pair]
        return Mapping(self.builder.pair(nodes), span)

    def _try(self, first: int, last: int, depth: int = 0) -> Node | Trouble | None:
        if not self.builder.widened:
            plain = build_swiftly(self.lines[first:last], self.builder.file, first + 1)
            if plain is not None:
                return plain
        before = len(self.builder.problems)
        try:
            return self.builder.build(self.lines[first:last], first + 1, depth)
        except Trouble as trouble:
            del self.builder.problems[before:]
            return trouble

    def _chunks(self, first: int, last: int, indent: int, *, dashes: bool) -> list[tuple[int, int]]:
        """Return (first, after last) line of each piece that begins at an indentation."""
        starts = [
            i
            for i in range(first, last)
            if _is_content(self.lines[i])
            and _indent(self.lines[i]) <= indent
            and (dashes or not _is_dash(self.lines[i]))
        ]
        starts = starts or [i for i in range(first, last) if _is_content(self.lines[i])][:1]
        return list(zip(starts, [*starts[1:], last][: len(starts)], strict=True))

    def _section(
        self, first: int, last: int, got: Node | Trouble | None
    ) -> list[tuple[Scalar, Node]]:
        if isinstance(got, Mapping):
            return list(got.entries)
        pair = _NO_BLANK.fullmatch(self.lines[first])
        if pair is not None and isinstance(got, Scalar):
            self._lose(got, first)
            spans = (self.builder.span(first + 1, *pair.span(group)) for group in (1, 2))
            return [(Scalar(pair[1], next(spans)), Scalar(pair[2], next(spans)))]
        body = next((i for i in range(first + 1, last) if _is_content(self.lines[i])), None)
        header = _HEADER.fullmatch(self.lines[first])
        if header is None or body is None:
            self._lose(got, first)
            return []
        start = header.start(1)
        key = Scalar(header[1], self.builder.span(first + 1, start, start + len(header[1])))
        found = len(self.problems)
        if not header[2]:
            span = self.builder.span(first + 1, start, start + len(header[1]))
            fix = f"write `{header[1]}:`"
            trouble = Trouble("T024", f"a colon is missing after `{header[1]}`", span, fix)
            self.problems.append(trouble.diagnostic())
        value = self._body(body, last)
        if isinstance(got, Trouble) and len(self.problems) == found:
            self.problems.append(got.diagnostic())
        return [] if value is None else [(key, value)]

    def _body(self, first: int, last: int) -> Node | None:
        """Return all that can be read of the lines of a section."""
        entries: list[Node] = []
        items: list[Node] = []
        kind: type[Node] | None = None
        indent = _indent(self.lines[first])
        for start, stop in self._chunks(first, last, indent, dashes=True):
            if len(self.problems) >= MOST_TROUBLES:
                break
            if _indent(self.lines[start]) != indent:
                self.problems.append(self._misplaced(start).diagnostic())
            for got in self._entry(start, stop):
                kind = kind or type(got)
                if isinstance(got, Mapping) and kind is Mapping:
                    entries += [node for pair in got.entries for node in pair]
                elif isinstance(got, Sequence) and kind is Sequence:
                    items += got.items
                else:
                    self._lose(got, start)
        span = self.builder.span(first + 1, _indent(self.lines[first]), len(self.lines[first]))
        if kind is Sequence:
            return Sequence(tuple(items), span)
        return Mapping(self.builder.pair(entries), span) if kind is Mapping else None

    def _entry(self, first: int, last: int) -> list[Node]:
        """Return what one entry holds, and its neighbour if only its indentation is wrong."""
        got = self._try(first, last, 1)
        if isinstance(got, Mapping | Sequence):
            return [got]
        self._lose(got, first)
        if not isinstance(got, Trouble) or got.code != "T013":
            return []
        cut = got.span.line - 1
        if not first < cut < last:
            return []
        pieces = [self._try(first, cut, 1), self._try(cut, last, 1)]
        return [p for p in pieces if isinstance(p, Mapping | Sequence) and _is_complete(p)]

    def _misplaced(self, line: int) -> Trouble:
        text = self.lines[line]
        span = self.builder.span(line + 1, _indent(text), len(text.rstrip()))
        return Trouble(
            "T013",
            "the indentation of this line fits none of the lines above",
            span,
            "give it the same indentation as its neighbours",
        )

    def _lose(self, got: Node | Trouble | None, line: int) -> None:
        """Report a piece that is lost."""
        if isinstance(got, Trouble):
            self.problems.append(got.diagnostic())
            return
        text = self.lines[line]
        span = self.builder.span(line + 1, _indent(text), len(text.rstrip()))
        if isinstance(got, Scalar):
            self.problems.append(explain_no_colon(text, span).diagnostic())
            return
        self.problems.append(
            Trouble(
                "T013",
                "this line does not fit its neighbours: "
                "list lines have a dash, others a name and a colon",
                span,
                "write it like the lines above",
            ).diagnostic()
        )


def _is_complete(node: Mapping | Sequence) -> bool:
    """Return whether the last entry has a value on its own line."""
    if isinstance(node, Sequence):
        return bool(node.items)
    last = node.entries[-1][1] if node.entries else None
    return last is not None and not (isinstance(last, Scalar) and not last.text)


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _is_dash(line: str) -> bool:
    text = line.lstrip(" ")
    return text.startswith("- ") or text == "-"


def _is_content(line: str) -> bool:
    text = line.strip()
    return bool(text) and not text.startswith("#")
