"""What is wrong with text that is no YAML, in words of the trade and at the place it is wrong."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Protocol

from ruamel.yaml.error import MarkedYAMLError

from ringout.base.diagnostic import Diagnostic, Severity
from ringout.base.span import Span


class Trouble(Exception):  # noqa: N818  (never leaves this room: it becomes a diagnostic)
    """Text that cannot be read any further."""

    def __init__(self, code: str, message: str, span: Span, fix: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.span = span
        self.fix = fix

    def diagnostic(self) -> Diagnostic:
        """Return it as the user will see it."""
        return Diagnostic(self.code, Severity.ERROR, self.message, self.span, fix=self.fix)


class _Places(Protocol):
    def span(self, line: int, start: int, end: int) -> Span: ...


_VALUE_COLON = re.compile(r"[:](?=\s|$)")
_CLOSER = {"{": "}", "[": "]"}


class _Explainer:
    """Knows the piece of text an error arose in."""

    def __init__(
        self, error: MarkedYAMLError, lines: list[str], places: _Places, first_line: int
    ) -> None:
        self.lines = lines
        self.places = places
        self.first_line = first_line
        self.problem = str(error.problem or "")
        self.context = str(error.context or "")
        mark = error.problem_mark or error.context_mark
        self.at_end = mark is not None and mark.line >= len(lines)
        self.line = min(mark.line, len(lines) - 1) if mark is not None else 0
        self.column = min(mark.column, len(lines[self.line])) if mark is not None else 0
        begun = error.context_mark or mark
        self.begun_line = min(begun.line, len(lines) - 1) if begun is not None else 0
        self.begun_column = begun.column if begun is not None else 0

    def trouble(
        self, code: str, message: str, fix: str, *, begun: bool = False, whole: bool = False
    ) -> Trouble:
        """Return trouble at the place of the problem, or where what it is about began."""
        line = self.begun_line if begun else self.line
        text = self.lines[line]
        start = min(self.begun_column if begun else self.column, len(text))
        end = start + 1
        if whole:
            start, end = len(text) - len(text.lstrip()), len(text.rstrip())
        return Trouble(code, message, self.places.span(self.first_line + line, start, end), fix)

    def character(self, *, begun: bool = False) -> str:
        """Return the character at the place."""
        text = self.lines[self.begun_line if begun else self.line]
        column = self.begun_column if begun else self.column
        return text[column] if column < len(text) else ""


def explain_error(
    error: MarkedYAMLError, lines: list[str], places: _Places, first_line: int
) -> Trouble:
    """Return what a reader's error means to the person who wrote the file."""
    told = _Explainer(error, lines or [""], places, first_line)
    for context, problem, explain in _EXPLAINED:
        if context in told.context and problem in told.problem:
            return explain(told)
    return _unclear(told)


def _quotes(told: _Explainer) -> Trouble:
    if "escape" in told.problem or "escape" in told.context:
        return told.trouble(
            "T021",
            "a backslash between double quotes begins a special character, and this is none",
            "use single quotes, or write the backslash twice",
        )
    mark = told.character(begun=True) or '"'
    return told.trouble(
        "T012",
        f"the quotation mark {mark} opened here is never closed",
        f"close it with {mark}",
        begun=True,
    )


def _brackets(told: _Explainer) -> Trouble:
    opener = told.character(begun=True)
    closer = _CLOSER.get(opener, "}")
    found = told.character()
    same_line = told.line == told.begun_line and not told.at_end
    if same_line and found in {"}", "]"}:
        return told.trouble(
            "T012", f"`{opener}` is closed by `{found}`", f"close it with `{closer}`"
        )
    if same_line and found and found != "#":
        return told.trouble(
            "T022",
            f"a comma is missing inside `{opener} ... {closer}`",
            "put a comma between one value and the next name",
        )
    return told.trouble(
        "T012",
        f"`{opener}` is opened here and never closed",
        f"close it with `{closer}`",
        begun=True,
    )


def _no_colon(told: _Explainer) -> Trouble:
    text = told.lines[told.begun_line]
    start, end = len(text) - len(text.lstrip()), len(text.rstrip())
    return explain_no_colon(text, told.places.span(told.first_line + told.begun_line, start, end))


def explain_no_colon(text: str, span: Span) -> Trouble:
    """Return what is wrong with a line that is neither a name with its value nor a list line."""
    if re.fullmatch(r"\s*[A-Za-z_][\w-]*:[^\s:].*", text):
        return Trouble("T023", "a blank is missing after the colon", span, "write `name: value`")
    return Trouble(
        "T024",
        "this line has no colon, so it is neither a name nor a value",
        span,
        "write `name: value`, or begin a list line with a dash",
    )


def _second_colon(told: _Explainer) -> Trouble:
    before = told.lines[told.line][: told.column]
    if _VALUE_COLON.search(before):
        return told.trouble(
            "T025",
            "a colon followed by a blank stands inside a value",
            "put the value in quotes",
        )
    return told.trouble(
        "T013",
        "this line is indented deeper than the line above allows",
        "give it the same indentation as its neighbours",
        whole=True,
    )


def _misfit(told: _Explainer) -> Trouble:
    text = told.lines[told.line]
    if text[: told.column].strip():
        return told.trouble(
            "T026",
            "something follows a value that had already ended",
            "take it away, or put the whole value in quotes",
        )
    if text.lstrip().startswith("-"):
        return told.trouble(
            "T013",
            "a list line stands among `name: value` lines",
            "give the list a name of its own, or take the dash away",
            whole=True,
        )
    return told.trouble(
        "T013",
        "the indentation of this line fits none of the lines above",
        "give it the same indentation as its neighbours",
        whole=True,
    )


def _reserved(told: _Explainer) -> Trouble:
    message = f"a value cannot begin with `{told.character()}`"
    return told.trouble("T020", message, "put the value in quotes")


def _early_list(told: _Explainer) -> Trouble:
    return told.trouble("T013", "a list cannot begin here", "put each `- ` on a line of its own")


def _reference(told: _Explainer) -> Trouble:
    message = (
        f"a value that begins with `{told.character(begun=True)}` would be a reference, "
        "and a cell file has none"
    )
    return told.trouble("T015", message, "put the value in quotes", begun=True)


def _tag(told: _Explainer) -> Trouble:
    message = "a value that begins with `!` would name a data type, and a cell file has none"
    return told.trouble("T016", message, "put the value in quotes", begun=True)


def _instruction(told: _Explainer) -> Trouble:
    message = "a line that begins with `%` is an instruction to a reader; none is needed"
    return told.trouble("T019", message, "take the line away", whole=True)


def _unclear(told: _Explainer) -> Trouble:
    fix = "compare it with the examples"
    return told.trouble("T011", "this line cannot be read", fix, whole=True)


# What the reader says it was doing, and what went wrong; the first row that fits counts.
_EXPLAINED: tuple[tuple[str, str, Callable[[_Explainer], Trouble]], ...] = (
    ("quoted scalar", "", _quotes),
    ("flow", "", _brackets),
    ("simple key", "", _no_colon),
    ("", "mapping values are not allowed", _second_colon),
    ("", "cannot start any token", _reserved),
    ("block scalar", "", _unclear),
    ("block", "", _misfit),
    ("", "entries are not allowed", _early_list),
    ("", "keys are not allowed", _reserved),
    ("", "document start", _misfit),
    ("directive", "", _instruction),
    ("anchor", "", _reference),
    ("alias", "", _reference),
    ("tag", "", _tag),
)
