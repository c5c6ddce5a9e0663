"""A checkout that is being worked through: kept in a file beside the cell, whole at any time."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from ringout.report.sheet_files import write_whole

FOLDER = ".ringout"
FORMAT = 1
LARGEST_BYTES = 4_000_000
MOST_ENTRIES = 5_000
PASS, FAIL = "pass", "fail"


class RunsError(Exception):
    """A run cannot be read or kept; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What was seen at one step.

    Args:
        step: its number.
        check: what tells the step from any other, should numbers change.
        seen: what was read, in words.
        verdict: `pass` or `fail`.
        evidence: sentences for the search of a culprit; none where all is as expected.
        at: when, UTC.
    """

    step: int
    check: str
    seen: str
    verdict: str
    evidence: tuple[str, ...]
    at: str


@dataclass(frozen=True, slots=True)
class Run:
    """One walk through a checkout.

    Args:
        digest: of the files of the cell it was begun with.
        begun: when, UTC.
        entries: what was seen, in the order it was entered; the last of a step counts.
    """

    digest: str
    begun: str
    entries: tuple[Entry, ...] = ()

    @property
    def last(self) -> dict[int, Entry]:
        """Return step to the entry that counts."""
        return {e.step: e for e in self.entries}


class Runs:
    """The run of one cell file, as it is on disk now.

    Args:
        file: the cell file.
    """

    def __init__(self, file: str | Path) -> None:
        self.file = Path(file)
        self.folder = self.file.parent / FOLDER
        self.path = self.folder / f"checkout-{self.file.stem}.json"

    def current(self) -> Run | None:
        """Return the run that is under way; None where none was begun.

        Raises:
            RunsError: there is one that cannot be read.
        """
        self._check_place()
        try:
            if not self.path.is_file():
                return None
            if self.path.stat().st_size > LARGEST_BYTES:
                raise RunsError(self._broken("it is too large"))
            return _read(json.loads(self.path.read_text("utf-8")))
        except OSError as problem:
            raise RunsError(self._broken(problem.strerror or str(problem))) from problem
        except (ValueError, TypeError, KeyError, RecursionError) as problem:
            raise RunsError(self._broken("it does not hold a run")) from problem

    def begin(self, digest: str) -> Run:
        """Begin anew; a run that is there already is put aside under the time it was begun.

        Args:
            digest: of the files of the cell.

        Raises:
            RunsError: it cannot be written.
        """
        self._check_place()
        run = Run(digest, now_words())
        try:
            if self.path.is_file():
                self.path.replace(self._aside())
        except OSError as problem:
            raise RunsError(self._unwritten(problem)) from problem
        self._write(run)
        return run

    def add(self, run: Run, entry: Entry) -> Run:
        """Write an entry at the end of a run.

        Raises:
            RunsError: it cannot be written, or there are too many.
        """
        if len(run.entries) >= MOST_ENTRIES:
            raise RunsError(f"There are {MOST_ENTRIES} entries already: begin anew.")
        made = replace(run, entries=(*run.entries, entry))
        self._write(made)
        return made

    def take_back(self, run: Run) -> Run:
        """Take the last entry out of a run.

        Raises:
            RunsError: it cannot be written.
        """
        made = replace(run, entries=run.entries[:-1])
        self._write(made)
        return made

    def _write(self, run: Run) -> None:
        self._check_place()
        told = {"format": FORMAT, "file": self.file.name, **asdict(run)}
        text = json.dumps(told, ensure_ascii=False, indent=1)
        try:
            write_whole(self.path, f"{text}\n".encode())
        except OSError as problem:
            raise RunsError(self._unwritten(problem)) from problem

    def _check_place(self) -> None:
        """Refuse a folder that leads somewhere else."""
        if self.folder.is_symlink() or self.path.is_symlink():
            raise RunsError(f"{FOLDER} leads out of the cell's folder: replace it by a folder.")

    def _aside(self) -> Path:
        stamp = datetime.fromtimestamp(self.path.stat().st_mtime, UTC).strftime("%Y%m%dT%H%M%S")
        free = self.path.with_name(f"{self.path.stem}-{stamp}.json")
        number = 2
        while free.exists():
            free = self.path.with_name(f"{self.path.stem}-{stamp}-{number}.json")
            number += 1
        return free

    def _broken(self, why: str) -> str:
        return f"{FOLDER}/{self.path.name} cannot be read: {why}. Begin anew; it is put aside."

    def _unwritten(self, problem: OSError) -> str:
        why = problem.strerror or str(problem)
        return f"{FOLDER}/{self.path.name} cannot be written: {why}. Make the folder writable."


def _read(told: dict[str, object]) -> Run:
    """Return a run from what a file holds.

    Raises:
        KeyError, TypeError, ValueError: it is none.
    """
    if told["format"] != FORMAT:
        raise ValueError("another format")
    entries = told["entries"]
    if not isinstance(entries, list):
        raise TypeError("entries")
    return Run(_text(told["digest"]), _text(told["begun"]), tuple(_entry(e) for e in entries))


def _entry(told: dict[str, object]) -> Entry:
    evidence = told["evidence"]
    if not isinstance(evidence, list) or told["verdict"] not in (PASS, FAIL):
        raise TypeError("entry")
    step = told["step"]
    if not isinstance(step, int) or isinstance(step, bool):
        raise TypeError("step")
    return Entry(
        step,
        _text(told["check"]),
        _text(told["seen"]),
        _text(told["verdict"]),
        tuple(_text(e) for e in evidence),
        _text(told["at"]),
    )


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError("text")
    return value


def now_words() -> str:
    """Return the time, UTC, as it is written."""
    return datetime.now(UTC).strftime("%Y-%m-%d %H:%M:%S")
