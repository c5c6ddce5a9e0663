"""One piece of YAML text to a tree; what stops the reading is raised as `Trouble`."""

from __future__ import annotations

from collections.abc import Mapping as MappingABC
from dataclasses import dataclass, field

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    Event,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

from ringout.base.diagnostic import Diagnostic, Related, Severity
from ringout.base.span import Span
from ringout.cellfile.tree import Mapping, Node, Scalar, Sequence
from ringout.cellfile.trouble import Trouble, explain_error

DEEPEST = 24  # levels of lists and mappings inside each other; a cell file needs five


@dataclass(slots=True)
class _Open:
    """A list or mapping whose end has not been read yet."""

    start: Event
    nodes: list[Node] = field(default_factory=list)


def _behind_name(here: _Open, span: Span) -> Span:
    """Return the place behind `name:` where a value is missing; the reader may be lines further."""
    if not isinstance(here.start, MappingStartEvent) or len(here.nodes) % 2 == 0:
        return span
    name = here.nodes[-1].span
    return Span(name.file, name.line, name.end_column + 1, name.end_column + 1)


class Builder:
    """Builds trees from pieces of one file, with places counted in the whole file.

    Args:
        file: name of the file for places.
        widened: line number to how many leading tabs were made two blanks there.
    """

    def __init__(self, file: str, widened: MappingABC[int, int] | None = None) -> None:
        self.file = file
        self.widened = widened or {}
        self.problems: list[Diagnostic] = []

    def build(self, lines: list[str], first_line: int = 1, depth: int = 0) -> Node | None:
        """Return the tree of some lines, None if they hold nothing.

        Args:
            lines: the piece of text.
            first_line: number of its first line in the file.
            depth: levels of the file around the piece.

        Raises:
            Trouble: the text is no YAML, or nested too deep.
        """
        before = len(self.problems)
        try:
            return self._build(lines, first_line, depth)
        except MarkedYAMLError as error:
            del self.problems[before:]
            raise explain_error(error, lines, self, first_line) from None
        except (YAMLError, ValueError, RecursionError, AttributeError, IndexError, TypeError):
            # The reader's own slips on strange text; the user needs to know only the place.
            del self.problems[before:]
            raise Trouble(
                "T011",
                "this part cannot be read",
                self.span(first_line, 0, len(lines[0]) if lines else 0),
                "compare it with the examples",
            ) from None

    def span(self, line: int, start: int, end: int) -> Span:
        """Return the place of characters `start` to `end` (from 0) of a line of the file."""
        tabs = self.widened.get(line, 0)
        if tabs:
            start = start - tabs if start >= 2 * tabs else start // 2
            end = end - tabs if end >= 2 * tabs else end // 2
        return Span(self.file, line, start + 1, max(end, start) + 1)

    def _error(self, code: str, message: str, span: Span, fix: str) -> None:
        self.problems.append(Diagnostic(code, Severity.ERROR, message, span, fix=fix))

    def _build(self, lines: list[str], first_line: int, depth: int) -> Node | None:
        reader = YAML(typ="safe", pure=True)
        top = _Open(Event())
        opened: list[_Open] = []
        here = top
        for event in reader.parse("\n".join(lines) + "\n"):
            if isinstance(event, ScalarEvent):
                self._check_extras(event, lines, first_line)
                span = self._event_span(event, lines, first_line)
                if not event.value and event.style is None:
                    span = _behind_name(here, span)
                here.nodes.append(Scalar(event.value, span, event.style is not None))
            elif isinstance(event, MappingStartEvent | SequenceStartEvent):
                self._check_extras(event, lines, first_line)
                if len(opened) + depth >= DEEPEST:
                    raise Trouble(
                        "T017",
                        f"lists and mappings stand more than {DEEPEST} deep inside each other",
                        self._event_span(event, lines, first_line),
                        "a cell file needs no more than five levels",
                    )
                opened.append(here)
                here = _Open(event)
            elif isinstance(event, MappingEndEvent | SequenceEndEvent):
                span = self._event_span(here.start, lines, first_line, event)
                node: Node = (
                    Mapping(self.pair(here.nodes), span)
                    if isinstance(event, MappingEndEvent)
                    else Sequence(tuple(here.nodes), span)
                )
                here = opened.pop()
                here.nodes.append(node)
            elif isinstance(event, AliasEvent):
                span = self._event_span(event, lines, first_line)
                self._error(
                    "T015",
                    f"`*{event.anchor}` refers to another place; a cell file has no references",
                    span,
                    "write the value out, or put it in quotes if the star is meant",
                )
                here.nodes.append(Scalar(f"*{event.anchor}", span))
        return top.nodes[0] if top.nodes else None

    def _event_span(
        self, event: Event, lines: list[str], first_line: int, last: Event | None = None
    ) -> Span:
        start, end = event.start_mark, (last or event).end_mark
        if end.line == start.line:
            stop = end.column
        else:
            stop = len(lines[start.line].rstrip()) if start.line < len(lines) else start.column
        return self.span(first_line + start.line, start.column, stop)

    def _check_extras(
        self,
        event: ScalarEvent | MappingStartEvent | SequenceStartEvent,
        lines: list[str],
        first_line: int,
    ) -> None:
        if event.anchor is not None:
            self._error(
                "T015",
                f"`&{event.anchor}` marks a place to refer to; a cell file has no references",
                self._event_span(event, lines, first_line),
                f"take `&{event.anchor}` away, or put the value in quotes if it is meant",
            )
        if event.tag is not None:
            line = lines[event.start_mark.line] if event.start_mark.line < len(lines) else "!"
            tag = (line[event.start_mark.column :].split() or ["!"])[0]
            self._error(
                "T016",
                f"`{tag}` names a data type; a cell file has no types",
                self._event_span(event, lines, first_line),
                "take it away, or put the value in quotes if it is meant",
            )

    def pair(self, nodes: list[Node]) -> tuple[tuple[Scalar, Node], ...]:
        """Return keys with their values; of a key that stands twice, the first."""
        seen: dict[str, Scalar] = {}
        entries: list[tuple[Scalar, Node]] = []
        for key, value in zip(nodes[::2], nodes[1::2], strict=True):
            if not isinstance(key, Scalar):
                self._error(
                    "T018", "a name is wanted before the colon", key.span, "write `name: value`"
                )
            elif key.text in seen:
                first = seen[key.text]
                self.problems.append(
                    Diagnostic(
                        "T014",
                        Severity.ERROR,
                        f"`{key.text}` stands here a second time",
                        key.span,
                        (Related("first", "the one that counts", first.span),),
                        "rename or remove one of the two",
                    )
                )
            else:
                seen[key.text] = key
                entries.append((key, value))
        return tuple(entries)
