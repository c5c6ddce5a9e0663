"""A file's bytes to clean lines: size, encoding, tabs and stray characters are judged here."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from ringout.base.diagnostic import Diagnostic, Severity
from ringout.base.span import Span

LARGEST_BYTES = 2_000_000
_MOST_REPORTED = 20  # stray characters or tabs that are reported one by one

# What the YAML reader takes for a line end or cannot take at all.
_STRAY = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff\ud800-\udfff]"
)
_LEADING = re.compile(r"[ \t]*")


@dataclass(frozen=True, slots=True)
class Source:
    """The text of one file.

    Args:
        file: path as the user gave it.
        text: the text, without byte order mark, line ends as in the file.
        sha256: hexadecimal digest of the file's bytes.
    """

    file: str
    text: str
    sha256: str


def load_source(path: str | Path) -> tuple[Source | None, tuple[Diagnostic, ...]]:
    """Read a text file.

    Args:
        path: the file.

    Returns:
        Its text, or None and the reason why it cannot be read.
    """
    file = str(path)
    try:
        data = _load_bytes(Path(path))
    except _RefusedError as refused:
        code, message, fix = refused.args
        return None, (Diagnostic(code, Severity.ERROR, message, Span(file, 1, 1, 1), fix=fix),)
    if b"\x00" in data:
        return None, (_binary(file, data),)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        return None, (_not_utf8(file, data, error),)
    return Source(file, text.removeprefix("\ufeff"), hashlib.sha256(data).hexdigest()), ()


class _RefusedError(Exception):
    pass


def _load_bytes(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise _RefusedError(
                "T002",
                f"{path} is a folder, not a cell file",
                "name a file in it, such as cell.yaml",
            )
        if not path.exists():
            raise _RefusedError("T001", f"there is no file {path}", "check the name and the folder")
        if not path.is_file():
            raise _RefusedError("T002", f"{path} is no plain file", "name a text file")
        with path.open("rb") as stream:
            data = stream.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (
            error.strerror if isinstance(error, OSError) and error.strerror else "no valid name"
        )
        raise _RefusedError(
            "T003",
            f"{path!s} cannot be read: {reason.lower()}",
            "check the name and the permissions",
        ) from None
    if len(data) > LARGEST_BYTES:
        raise _RefusedError(
            "T004",
            f"{path} is larger than {LARGEST_BYTES // 1_000_000} MB, the most that is read",
            "split it with `include`, or check that it is the right file",
        )
    return data


def _binary(file: str, data: bytes) -> Diagnostic:
    before = data[: data.index(b"\x00")]
    line = before.count(b"\n") + 1
    column = len(before) - before.rfind(b"\n")
    return Diagnostic(
        "T005",
        Severity.ERROR,
        "this is no text file: it holds a byte 0",
        Span(file, line, column, column),
        fix="name a text file saved as UTF-8",
    )


def _not_utf8(file: str, data: bytes, error: UnicodeDecodeError) -> Diagnostic:
    before = data[: error.start]
    line = before.count(b"\n") + 1
    begin = before.rfind(b"\n") + 1
    column = len(before[begin:].decode("utf-8").removeprefix("\ufeff")) + 1
    return Diagnostic(
        "T006",
        Severity.ERROR,
        f"the byte {data[error.start]:#04x} here is no UTF-8 text",
        Span(file, line, column, column + 1),
        fix="save the file as UTF-8",
    )


@dataclass(frozen=True, slots=True)
class CleanText:
    """Lines the YAML reader can take.

    Args:
        lines: the lines without their ends.
        widened: line number to how many leading tabs were made two blanks there.
    """

    lines: list[str]
    widened: Mapping[int, int]


def split_lines(text: str) -> list[str]:
    """Return the lines of a text as an editor counts them."""
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def clean_text(text: str, file: str) -> tuple[CleanText, tuple[Diagnostic, ...]]:
    """Make lines of a text, with tabs and stray characters replaced and reported.

    Args:
        text: the file's text.
        file: name of the file for places.

    Returns:
        The lines, and a diagnostic for whatever had to be replaced.
    """
    lines = split_lines(text)
    widened: dict[int, int] = {}
    problems: list[Diagnostic] = []
    if _STRAY.search(text):
        problems += _replace_strays(lines, file)
    if "\t" in text:
        problems += _replace_tabs(lines, file, widened)
    problems += _cut_documents(lines, file)
    return CleanText(lines, widened), tuple(problems)


def _replace_strays(lines: list[str], file: str) -> list[Diagnostic]:
    problems = []
    for number, line in enumerate(lines, start=1):
        found = _STRAY.search(line)
        if found is None:
            continue
        column = found.start() + 1
        # In front of the first word a blank in its place would change the indentation.
        blank = " " if line[: found.start()].strip() else ""
        lines[number - 1] = _STRAY.sub(" ", line.replace(found[0], blank, 1))
        problems.append(
            Diagnostic(
                "T007",
                Severity.ERROR,
                f"an invisible character (U+{ord(found[0]):04X}) stands here",
                Span(file, number, column, column + 1),
                fix="delete it and type the blank or line end again",
            )
        )
    return problems[:_MOST_REPORTED]


def _replace_tabs(lines: list[str], file: str, widened: dict[int, int]) -> list[Diagnostic]:
    problems = []
    for number, line in enumerate(lines, start=1):
        if "\t" not in line:
            continue
        found = _LEADING.match(line)
        lead = found[0] if found is not None else ""
        tabs = lead.count("\t")
        if not line.strip():
            lines[number - 1] = ""
            continue
        if tabs and not line.lstrip().startswith("#"):
            column = lead.index("\t") + 1
            problems.append(
                Diagnostic(
                    "T008",
                    Severity.ERROR,
                    "a tab indents this line; how deep that is, nobody can tell",
                    Span(file, number, column, column + 1),
                    fix="indent with blanks (read here as two)",
                )
            )
            widened[number] = tabs
        lines[number - 1] = lead.replace("\t", "  ") + line[len(lead) :].replace("\t", " ")
    return problems[:_MOST_REPORTED]


def _cut_documents(lines: list[str], file: str) -> list[Diagnostic]:
    """Blank the marks of a document's start and end, and whatever a second document holds."""
    problems = []
    begun = False
    for index, line in enumerate(lines):
        mark = line[:3] in {"---", "..."} and line[3:4] in {"", " "}
        if not begun and line.startswith("%"):
            lines[index] = ""
            problems.append(
                Diagnostic(
                    "T019",
                    Severity.ERROR,
                    "a line that begins with `%` is an instruction to a reader; none is needed",
                    Span(file, index + 1, 1, len(line.rstrip()) + 1),
                    fix="take the line away",
                )
            )
        elif mark and not begun and not line[3:].split("#")[0].strip():
            lines[index] = ""
        elif mark and begun:
            rest = [i for i in range(index, len(lines)) if _is_content(lines[i])]
            if rest:
                problems.append(
                    Diagnostic(
                        "T010",
                        Severity.ERROR,
                        f"`{line[:3]}` ends the file's first part; what follows is not read",
                        Span(file, index + 1, 1, 4),
                        fix="take the line away, or put the rest into a file of its own",
                    )
                )
            del lines[index:]
            break
        elif _is_content(line):
            begun = True
    return problems


def _is_content(line: str) -> bool:
    text = line.strip()
    return bool(text) and not text.startswith("#") and text not in {"---", "..."}
