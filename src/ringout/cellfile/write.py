"""Changing a cell file without touching anything else: comments, order, quotes, line ends stay.

An edit replaces, adds or removes exactly the characters it is about. Afterwards the new text is
read again, and unless it says what the old one said but for the edit, the edit is refused.
"""

from __future__ import annotations

import re
from collections.abc import Mapping as MappingABC
from collections.abc import Sequence as SequenceABC
from dataclasses import dataclass
from typing import Any, TypeAlias

from ringout.cellfile.read import parse_tree
from ringout.cellfile.tree import Mapping, Node, Scalar, Sequence, as_plain, is_blank

Path: TypeAlias = tuple[str | int, ...]
Value: TypeAlias = str | SequenceABC[str] | MappingABC[str, "str | SequenceABC[str]"]
_LINE_END = re.compile(r"(\r\n|\n|\r)")


@dataclass(frozen=True, slots=True)
class SetValue:
    """Give the value at `path` another text; a name that is not there yet is added."""

    path: Path
    value: str


@dataclass(frozen=True, slots=True)
class AddEntry:
    """Add `name: value` at the end of `items`, `cables`, `signals` or `house`."""

    section: str
    name: str
    value: Value


@dataclass(frozen=True, slots=True)
class AddLine:
    """Add a list line at the end of `joins`, `expect`, `accept` or `include`."""

    section: str
    text: str


@dataclass(frozen=True, slots=True)
class Remove:
    """Take away what stands at `path`, such as `("items", "S1")` or `("joins", 3)`."""

    path: Path


Edit: TypeAlias = SetValue | AddEntry | AddLine | Remove


class EditError(ValueError):
    """An edit that does not fit the text; the message says why."""


def rewrite(text: str, edits: SequenceABC[Edit]) -> str:
    """Return the text of a cell file after some edits.

    Args:
        text: the file's text.
        edits: made one after the other; numbers in a path count lines from 0.

    Returns:
        The new text, the same as the old one wherever no edit reaches.

    Raises:
        EditError: the text cannot be read without errors, a path leads nowhere, or the edit
            would change more than it says.
    """
    for edit in edits:
        text = _rewrite_one(text, edit)
    return text


def format_value(value: Value, *, inside: bool = False) -> str:
    """Return a value as it stands in a cell file: a word, `[a, b]` or `{part: a, length: 6 m}`."""
    if isinstance(value, str):
        return _quote(value, inside=inside)
    if isinstance(value, MappingABC):
        pairs = (
            f"{_quote(k, inside=True)}: {format_value(v, inside=True)}" for k, v in value.items()
        )
        return "{" + ", ".join(pairs) + "}"
    return "[" + ", ".join(_quote(item, inside=True) for item in value) + "]"


def _quote(text: str, *, inside: bool) -> str:
    """Return a text plain if it is then read as it stands, else in quotes."""
    for written in (text, "'" + text.replace("'", "''") + "'"):
        line = f"a: {{a: {written}, b: c}}" if inside else f"a: {written}"
        root, problems = parse_tree(line, "")
        wanted: Any = {"a": {"a": text, "b": "c"}} if inside else {"a": text}
        if root is not None and not problems and as_plain(root) == wanted and "\n" not in text:
            return written
    raise EditError(f"`{text!r}` cannot be written on one line")


def _rewrite_one(text: str, edit: Edit) -> str:
    before = _read(text)
    lines = _Lines(text)
    if isinstance(edit, SetValue):
        _set_value(lines, before, edit)
    elif isinstance(edit, Remove):
        _remove(lines, before, edit)
    else:
        _add(lines, before, edit)
    after = _read(lines.text())
    if as_plain(after) != _expected(as_plain(before), edit):
        raise EditError("the edit would change more than it says; edit this place by hand")
    return lines.text()


def _read(text: str) -> Mapping:
    root, problems = parse_tree(text.removeprefix("\ufeff"), "")
    if problems or root is None:
        message = problems[0].message if problems else "the file is empty"
        raise EditError(f"the text has an error: {message}")
    return root


class _Lines:
    """The text as lines with their own ends; places count from 0."""

    def __init__(self, text: str) -> None:
        pieces = _LINE_END.split(text)
        self.lines = pieces[::2]
        self.ends = [*pieces[1::2], ""]
        self.end = self.ends[0] or "\n"

    def text(self) -> str:
        """Return the whole text."""
        return "".join(line + end for line, end in zip(self.lines, self.ends, strict=True))

    def replace(self, line: int, start: int, end: int, new: str) -> None:
        """Replace a stretch of one line."""
        old = self.lines[line]
        self.lines[line] = old[:start] + new + old[end:]

    def insert(self, line: int, new: str) -> None:
        """Insert a line in front of another, or behind the last."""
        if line >= len(self.lines) or (line == len(self.lines) - 1 and not self.lines[line]):
            if self.lines[-1]:
                self.ends[-1] = self.end
                self.lines.append("")
                self.ends.append("")
            self.lines.insert(len(self.lines) - 1, new)
            self.ends.insert(len(self.ends) - 1, self.end)
            return
        self.lines.insert(line, new)
        self.ends.insert(line, self.end)

    def delete(self, first: int, last: int) -> None:
        """Delete lines `first` to before `last`."""
        if last == len(self.lines):
            self.lines[last - 1] = ""
            last -= 1
        del self.lines[first:last]
        del self.ends[first:last]

    def indent(self, line: int) -> int:
        """Return how deep a line is indented."""
        return len(self.lines[line]) - len(self.lines[line].lstrip(" "))

    def is_content(self, line: int) -> bool:
        """Return whether a line holds more than a remark."""
        text = self.lines[line].strip()
        return bool(text) and not text.startswith("#")

    def after(self, line: int, column: int) -> int:
        """Return the line after the last one of a statement that begins at a column."""
        last = line
        for number in range(line + 1, len(self.lines)):
            if self.is_content(number):
                if self.indent(number) <= column:
                    break
                last = number
        return last + 1


def _find(root: Mapping, path: Path) -> list[Node]:
    """Return the nodes along a path as far as it leads, the root first."""
    found: list[Node] = [root]
    for step in path:
        here = found[-1]
        below: Node | None = None
        if isinstance(here, Mapping):
            below = here.get(str(step))
        elif isinstance(here, Sequence) and isinstance(step, int) and 0 <= step < len(here.items):
            below = here.items[step]
        if below is None:
            break
        found.append(below)
    return found


def _named(path: Path) -> str:
    return " / ".join(str(step) for step in path)


def _is_flow(lines: _Lines, node: Node) -> bool:
    column = node.span.column - 1
    return lines.lines[node.span.line - 1][column : column + 1] in {"{", "["}


def _extent(lines: _Lines, node: Node) -> tuple[int, int, int]:
    """Return line, first column and column after the last of a node on one line."""
    line, start, end = node.span.line - 1, node.span.column - 1, node.span.end_column - 1
    written = lines.lines[line][start:end]
    if isinstance(node, Scalar):
        quotes = len(written) > 1 and written[0] in "'\"" and written[-1] == written[0]
        whole = quotes if node.quoted else len(written) == len(node.text)
    else:
        whole = written[:1] + written[-1:] in {"{}", "[]"}
    if not whole:
        raise EditError("this value runs over several lines; edit it by hand")
    return line, start, end


def _set_value(lines: _Lines, root: Mapping, edit: SetValue) -> None:
    found = _find(root, edit.path)
    rest = edit.path[len(found) - 1 :]
    here = found[-1]
    if not rest:
        if isinstance(here, Scalar) and is_blank(here):
            _set_blank(lines, found[-2], edit)
            return
        line, start, end = _extent(lines, here)
        inside = any(_is_flow(lines, node) for node in found[1:-1])
        lines.replace(
            line, start, end, _keep_quotes(lines.lines[line][start:end], edit.value, inside)
        )
    elif len(rest) == 1 and isinstance(here, Mapping):
        _add_pair(lines, here, str(rest[0]), edit.value)
    elif len(rest) == 1 and isinstance(here, Scalar) and here.text:
        line, start, end = _extent(lines, here)
        fields = {"part": here.text, str(rest[0]): edit.value}
        lines.replace(line, start, end, format_value(fields, inside=True))
    else:
        raise EditError(f"there is nothing at {_named(edit.path)}")


def _keep_quotes(old: str, new: str, inside: bool) -> str:  # noqa: FBT001  (plain helper)
    if old[:1] == "'":
        return "'" + new.replace("'", "''") + "'"
    if old[:1] == '"' and not re.search(r'["\\]', new):
        return f'"{new}"'
    return format_value(new, inside=inside)


def _set_blank(lines: _Lines, parent: Node, edit: SetValue) -> None:
    key = parent.key(str(edit.path[-1])) if isinstance(parent, Mapping) else None
    if key is None:
        raise EditError(f"there is nothing at {_named(edit.path)}")
    line, _, end = _extent(lines, key)
    colon = lines.lines[line].index(":", end)
    inside = isinstance(parent, Mapping) and _is_flow(lines, parent)
    lines.replace(line, colon, colon + 1, ": " + format_value(edit.value, inside=inside))


def _add_pair(lines: _Lines, here: Mapping, key: str, value: Value) -> None:
    if _is_flow(lines, here):
        line, start, end = _extent(lines, here)
        comma = ", " if lines.lines[line][start + 1 : end - 1].strip() else ""
        blank = len(lines.lines[line][: end - 1].rstrip())
        pair = f"{comma}{format_value(key, inside=True)}: {format_value(value, inside=True)}"
        lines.replace(line, blank, end - 1, pair + lines.lines[line][blank : end - 1])
        return
    last = here.entries[-1][0].span
    column = here.entries[0][0].span.column - 1
    at = lines.after(last.line - 1, column)
    lines.insert(at, f"{' ' * column}{format_value(key)}: {format_value(value)}")


def _add(lines: _Lines, root: Mapping, edit: AddEntry | AddLine) -> None:
    here = root.get(edit.section)
    if here is None:
        lines.insert(len(lines.lines), f"{edit.section}:")
    if here is None or is_blank(here):
        key = _read(lines.text()).key(edit.section)
        assert key is not None  # there before, or just written
        lines.insert(key.span.line, "  " + _new_line(edit))
    elif isinstance(here, Mapping) and isinstance(edit, AddEntry):
        if edit.name in here.keys():  # noqa: SIM118  (a node, no dict)
            raise EditError(f"`{edit.name}` is there already")
        _add_pair(lines, here, edit.name, edit.value)
    elif isinstance(here, Sequence) and isinstance(edit, AddLine) and here.items:
        if _is_flow(lines, here):
            line, _, end = _extent(lines, here)
            lines.replace(line, end - 1, end - 1, ", " + format_value(edit.text, inside=True))
            return
        column = here.span.column - 1
        last = here.items[-1].span.line - 1
        lines.insert(lines.after(last, column), " " * column + _new_line(edit))
    else:
        raise EditError(f"`{edit.section}` takes no such line")


def _new_line(edit: AddEntry | AddLine) -> str:
    if isinstance(edit, AddLine):
        return f"- {format_value(edit.text)}"
    return f"{format_value(edit.name)}: {format_value(edit.value)}"


def _remove(lines: _Lines, root: Mapping, edit: Remove) -> None:
    found = _find(root, edit.path)
    if not edit.path or len(found) <= len(edit.path):
        raise EditError(f"there is nothing at {_named(edit.path)}")
    parent = found[-2]
    step = edit.path[-1]
    begin: Node | None = found[-1] if isinstance(parent, Sequence) else None
    if isinstance(parent, Mapping):
        begin = parent.key(str(step))
    assert begin is not None  # found above
    if _is_flow(lines, parent):
        _remove_inside(lines, begin, found[-1])
        return
    line = begin.span.line - 1
    column = parent.span.column - 1
    lines.delete(line, lines.after(line, column))


def _remove_inside(lines: _Lines, begin: Node, end: Node) -> None:
    """Take a pair or item out of braces, with one of the commas beside it."""
    line, start, _ = _extent(lines, begin)
    last_line, _, stop = _extent(lines, end)
    if line != last_line:
        raise EditError("this value runs over several lines; edit it by hand")
    text = lines.lines[line]
    behind = re.match(r"\s*,\s*", text[stop:])
    if behind is not None:
        stop += behind.end()
    else:
        start = len(text[:start].rstrip().removesuffix(",").rstrip())
    lines.replace(line, start, stop, "")


def _expected(plain: dict[str, Any], edit: Edit) -> dict[str, Any]:
    """Return what the edited file must say, from what it said before."""
    if isinstance(edit, AddEntry):
        value = edit.value
        if isinstance(value, MappingABC):
            value = {k: v if isinstance(v, str) else list(v) for k, v in value.items()}
        section = plain.get(edit.section) or {}
        return {**plain, edit.section: {**section, edit.name: value}}
    if isinstance(edit, AddLine):
        return {**plain, edit.section: [*(plain.get(edit.section) or []), edit.text]}
    new = edit.value if isinstance(edit, SetValue) else None
    changed: dict[str, Any] = _changed(plain, edit.path, new)
    return changed


def _changed(plain: Any, path: Path, value: str | None) -> Any:
    """Return data with the value at a path replaced, or removed where `value` is None."""
    if not path:
        return value
    step, rest = path[0], path[1:]
    if isinstance(plain, list) and isinstance(step, int):
        new: Any = list(plain)
        if value is None and not rest:
            del new[step]
            return new or None
        new[step] = _changed(plain[step], rest, value)
        return new
    if isinstance(plain, str):
        plain = {"part": plain}
    new = dict(plain)
    if value is None and not rest:
        del new[step]
        return new or None
    new[step] = _changed(plain.get(step, ""), rest, value)
    return new
