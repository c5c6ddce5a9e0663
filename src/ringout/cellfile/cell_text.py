"""A cell file and the files it includes to one `CellText`."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path
from typing import TypeVar

from ringout.base.diagnostic import Diagnostic, Related, Severity
from ringout.base.span import Span
from ringout.base.suggest import did_you_mean
from ringout.cellfile.expect import ExpectLine
from ringout.cellfile.read import parse_tree
from ringout.cellfile.sections import SectionReader
from ringout.cellfile.source import load_source
from ringout.cellfile.statements import (
    AcceptLine,
    CableLine,
    CellText,
    ItemLine,
    JoinLine,
    LiveLine,
    SignalLine,
)
from ringout.cellfile.tree import Mapping, Scalar, as_list
from ringout.cellfile.words import Word

_Line = TypeVar("_Line", ItemLine, CableLine, SignalLine)

SHARED_KEYS = ("items", "cables", "joins", "signals", "expect", "include", "note")
TOP_KEYS = ("cell", "revision", "ambient", *SHARED_KEYS, "accept", "house", "live")
MOST_FILES = 50


def read_cell_text(path: str | Path) -> tuple[CellText | None, tuple[Diagnostic, ...]]:
    """Read a cell file with all files it includes.

    Args:
        path: the cell file.

    Returns:
        Every statement that could be read, None if the file could not be read at all, and what is
        wrong.
    """
    source, problems = load_source(path)
    if source is None:
        return None, problems
    gatherer = _Gatherer(Path(path))
    return gatherer.gather(source.text, source.file, source.sha256)


def parse_cell_text(text: str, file: str) -> tuple[CellText | None, tuple[Diagnostic, ...]]:
    """Read the text of a cell file that need not be on disk; what it includes must be.

    Args:
        text: the text.
        file: name of the file for places; included files are looked for beside it.
    """
    digest = sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
    return _Gatherer(Path(file)).gather(text, file, digest)


class _Gatherer:
    """Collects the statements of one cell file and of what it includes."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.folder = path.parent.resolve()
        self.reader = SectionReader()
        self.texts: list[Diagnostic] = []
        self.files: list[tuple[str, str]] = []
        self.read_at: dict[Path, Span] = {}
        self.items: list[ItemLine] = []
        self.cables: list[CableLine] = []
        self.joins: list[JoinLine] = []
        self.signals: list[SignalLine] = []
        self.expects: list[ExpectLine] = []
        self.accepts: list[AcceptLine] = []
        self.house: list[tuple[Word, Word]] = []
        self.lives: list[LiveLine] = []

    def gather(
        self, text: str, file: str, digest: str
    ) -> tuple[CellText | None, tuple[Diagnostic, ...]]:
        """Read the cell file and return all statements."""
        root, problems = parse_tree(text, file)
        self.texts += problems
        if root is None:
            return None, tuple(self.texts)
        top = Span(file, 1, 1, 1)
        self.files.append((file, digest))
        self.read_at[self.path.resolve()] = top
        reader = self.reader
        for key, _ in root.entries:
            if key.text not in TOP_KEYS:
                reader.unknown("N010", f"a cell file has no section `{key.text}`", key, TOP_KEYS)
        name, revision, note, ambient = (
            reader.word(root.get(key), f"`{key}`")
            for key in ("cell", "revision", "note", "ambient")
        )
        if name is None and not isinstance(root.get("cell"), Mapping):
            reader.error(
                "N011",
                "the file does not say what the cell is called",
                top,
                "begin with `cell: NAME`",
            )
        ambient_c = reader.ambient(ambient)
        if (node := root.get("accept")) is not None:
            self.accepts += reader.accepts(node)
        if (node := root.get("house")) is not None:
            self.house += reader.house(node)
        if (node := root.get("live")) is not None:
            self.lives += reader.lives(node)
        self._shared(root, self.path, ())
        self._check_twice()
        return (
            CellText(
                name,
                revision,
                note,
                ambient,
                ambient_c,
                tuple(self.items),
                tuple(self.cables),
                tuple(self.joins),
                tuple(self.signals),
                tuple(self.expects),
                tuple(self.accepts),
                tuple(self.house),
                tuple(self.lives),
                tuple(self.files),
                root.span,
            ),
            self._in_order(),
        )

    def _shared(self, root: Mapping, path: Path, chain: tuple[str, ...]) -> None:
        """Read the sections any file may have."""
        reader = self.reader
        if (node := root.get("items")) is not None:
            self.items += reader.items(node)
        if (node := root.get("cables")) is not None:
            self.cables += reader.cables(node)
        if (node := root.get("joins")) is not None:
            self.joins += reader.joins(node)
        if (node := root.get("signals")) is not None:
            self.signals += reader.signals(node)
        if (node := root.get("expect")) is not None:
            self.expects += reader.expects(node)
        for line in as_list(root.get("include")):
            word = reader.word(line, "a file to include")
            if word is not None:
                self._include(word, path, (*chain, str(path)))

    def _include(self, word: Word, path: Path, chain: tuple[str, ...]) -> None:
        reader = self.reader
        other = path.parent / word.text.replace("\\", "/")
        try:
            full = other.resolve()
            inside = full.is_relative_to(self.folder) and not Path(word.text).is_absolute()
        except (OSError, ValueError, RuntimeError):
            reader.error("N036", f"`{word.text}` is no file name", word.span, "write `joins.yaml`")
            return
        if not inside:
            message = f"`{word.text}` lies outside the folder of the cell file"
            reader.error("N040", message, word.span, "keep it in that folder or one below")
            return
        if str(other) in chain or full in {Path(step).resolve() for step in chain}:
            way = " includes ".join([*chain, str(other)])
            message = f"these files include each other in a circle: {way}"
            reader.error("N041", message, word.span, "take one of the `include` lines away")
            return
        if full in self.read_at:
            message = f"`{word.text}` is included a second time"
            related = (Related("first", "included here", self.read_at[full]),)
            self.reader.problems.append(
                Diagnostic(
                    "N044", Severity.ERROR, message, word.span, related, "take this line away"
                )
            )
            return
        if len(self.files) >= MOST_FILES:
            message = f"a cell has no more than {MOST_FILES} files"
            reader.error("N045", message, word.span, "put some of them together")
            return
        self.read_at[full] = word.span
        self._read_included(word, other, chain)

    def _read_included(self, word: Word, path: Path, chain: tuple[str, ...]) -> None:
        source, problems = load_source(path)
        if source is None:
            reason = problems[0]
            self.texts.append(
                Diagnostic(reason.code, reason.severity, reason.message, word.span, fix=reason.fix)
            )
            return
        self.files.append((source.file, source.sha256))
        root, problems = parse_tree(source.text, source.file)
        self.texts += problems
        if root is None:
            return
        for key, _ in root.entries:
            if key.text not in SHARED_KEYS:
                self._not_here(key)
        self._shared(root, path, chain)

    def _not_here(self, key: Scalar) -> None:
        if key.text in TOP_KEYS:
            message = f"`{key.text}` stands in the cell file only, not in a file it includes"
            self.reader.error("N042", message, key.span, "move it to the cell file")
            return
        near = did_you_mean(key.text, SHARED_KEYS)
        fix = f"did you mean `{near}`?" if near else f"known here: {', '.join(SHARED_KEYS)}"
        self.reader.error("N010", f"an included file has no section `{key.text}`", key.span, fix)

    def _check_twice(self) -> None:
        """Report names that stand in two files; the first counts."""
        if len(self.files) > 1:
            self.items = self._once(self.items)
            self.cables = self._once(self.cables)
            self.signals = self._once(self.signals)

    def _once(self, lines: list[_Line]) -> list[_Line]:
        first: dict[str, _Line] = {}
        for line in lines:
            name = line.name
            if name.text not in first:
                first[name.text] = line
                continue
            message = f"`{name.text}` stands here a second time"
            related = (Related("first", "the one that counts", first[name.text].span),)
            fix = "rename or remove one of the two"
            self.reader.problems.append(
                Diagnostic("N043", Severity.ERROR, message, name.span, related, fix)
            )
        return list(first.values())

    def _in_order(self) -> tuple[Diagnostic, ...]:
        """Return all diagnostics, file by file and line by line."""
        rank = {file: number for number, (file, _) in enumerate(self.files)}

        def place(problem: Diagnostic) -> tuple[int, int, int]:
            span = problem.span
            if span is None:
                return (-1, 0, 0)
            return (rank.get(span.file, len(rank)), span.line, span.column)

        return tuple(sorted(self.texts + self.reader.problems, key=place))
