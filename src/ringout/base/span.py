"""Where something stands in a file the user wrote."""

from __future__ import annotations

from dataclasses import dataclass

ASKED = "question"  # stands for the file name in places of typed text


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of one line of a user file; lines and columns count from 1.

    Args:
        file: path as the user gave it.
        line: line number, from 1.
        column: column of the first character, from 1.
        end_column: column just after the last character; equal to `column` when unknown.
    """

    file: str
    line: int
    column: int
    end_column: int = 0

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"

    def part(self, start: int, end: int) -> Span:
        """Return the span of characters `start` to `end` (from 0) inside this one."""
        return Span(self.file, self.line, self.column + start, self.column + end)
