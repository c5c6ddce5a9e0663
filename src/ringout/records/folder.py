"""Several cells: what stands in a folder of cell files, and how far each is."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ringout import run
from ringout.base import Severity
from ringout.records.model import RunState, StoreError
from ringout.records.store import find_store, kept_as
from ringout.report.checkout_view import file_digest

if TYPE_CHECKING:
    from ringout.findings.model import Judgement

CLEAN, ERRORS, NOT_RUN, UNREADABLE, NOT_ASKED = (
    "clean", "errors", "not run", "unreadable", "not asked",
)  # fmt: skip
SUFFIXES = (".yaml", ".yml")
_CELL_WORD = b"cell:"
_LOOKED_AT = 65536  # bytes of a file in which `cell:` must stand


@dataclass(frozen=True, slots=True)
class CellEntry:
    """One cell file of a folder.

    Args:
        path: the file.
        name: name of the cell; empty where the file cannot be read.
        revision: its revision.
        file_hash: digest of everything that was read.
        verdict: `clean`, `errors`, `not run`, `unreadable` or `not asked`.
        problems: number of errors, in the text and in the findings that nobody accepted.
        runs: number of runs.
        last: the newest run and how far it is; None for none.
        same_file: the newest run was made with the file as it is now.
        open: steps of the newest run that have no reading.
        wrong: steps of the newest run that are wrong.
        trouble: why its records could not be read; empty when they could.
    """

    path: str
    name: str
    revision: str
    file_hash: str
    verdict: str
    problems: int
    runs: int = 0
    last: RunState | None = None
    same_file: bool = False
    open: int = 0
    wrong: int = 0
    trouble: str = ""


def cells_in(
    folder: str | Path, url: str | None = None, *, judged: bool = True
) -> tuple[CellEntry, ...]:
    """Return the cell files of a folder in order of name, each with how far it is.

    Args:
        folder: the folder; folders in it are not looked into.
        url: where records are kept; None for the database in the folder.
        judged: also prove each cell, which takes about a second each.

    Raises:
        StoreError: the folder cannot be read.
    """
    try:
        paths = sorted(p for p in Path(folder).iterdir() if _is_cell(p))
    except OSError as problem:
        raise StoreError(
            f"{folder} cannot be read: {problem.strerror or problem}", "name a folder"
        ) from problem
    return tuple(_entry(path, url, judged=judged) for path in paths)


def _is_cell(path: Path) -> bool:
    if path.suffix.lower() not in SUFFIXES or not path.is_file():
        return False
    try:
        with path.open("rb") as file:
            lines = file.read(_LOOKED_AT).removeprefix(b"\xef\xbb\xbf").splitlines()
    except OSError:
        return True  # its entry says that it cannot be read
    return any(line.startswith(_CELL_WORD) for line in lines)


def _entry(path: Path, url: str | None, *, judged: bool) -> CellEntry:
    loaded, judgement = run.prove(str(path), remedies=False) if judged else (
        run.load(str(path)), None
    )  # fmt: skip
    bad = sum(p.severity is Severity.ERROR for p in loaded.problems)
    cell = loaded.cell
    if cell is None:
        return CellEntry(str(path), "", "", "", UNREADABLE, bad)
    verdict = NOT_ASKED if judgement is None else _verdict(judgement)
    if judgement is not None:
        bad += sum(f.severity is Severity.ERROR and not f.accepted for f in judgement.findings)
    if bad:
        verdict = ERRORS
    name, digest = kept_as(cell, path), file_digest(cell)
    plain = CellEntry(str(path), name, cell.revision, digest, verdict, bad)
    try:
        store = find_store(path, url, cell=name)
        if store is None:
            return plain
        with store:
            states = store.runs()
    except StoreError as problem:
        return CellEntry(
            str(path), name, cell.revision, digest, verdict, bad, trouble=problem.message
        )
    if not states:
        return plain
    last = states[-1]
    return CellEntry(
        str(path), name, cell.revision, digest, verdict, bad, len(states), last,
        last.run.file_hash == digest, last.open, last.wrong,
    )  # fmt: skip


def _verdict(judgement: Judgement) -> str:
    return NOT_RUN if judgement.not_run else CLEAN
