"""A bench's cell file: what is on disk now, written safely, and what can be taken back."""

from __future__ import annotations

import hashlib
import threading
from pathlib import Path

from ringout import run
from ringout.base import Diagnostic, Severity, Span
from ringout.cell.catalogue import user_files
from ringout.cellfile.save import save
from ringout.cellfile.source import LARGEST_BYTES
from ringout.web.reckoner import Reckoner
from ringout.web.snapshot import Shelf, Snapshot

MOST_UNDO = 100
KEPT = 200  # things that outlive a change of the file


def _bytes_of(path: Path) -> bytes | None:
    """Return what a file holds; None for what is not there, no file, or too large to be a cell."""
    try:
        small = path.is_file() and path.stat().st_size <= LARGEST_BYTES
        return path.read_bytes() if small else None
    except OSError:
        return None


class Session:
    """One bench: a cell file, what was reckoned of it, and what can be undone.

    Args:
        path: the cell file; it need not exist yet.
        records: URL of the database of records; None for the file beside the cell.
    """

    def __init__(self, path: str, records: str | None = None) -> None:
        self.records = records
        self.path = str(Path(path).resolve())
        self.folder = Path(self.path).parent
        self.lock = threading.RLock()
        self.undo: list[tuple[str, str]] = []  # (digest after, text before)
        self.kept = Shelf(KEPT)
        self.reckoner = Reckoner()
        self._now: Snapshot | None = None

    @property
    def name(self) -> str:
        """Return the name of the file."""
        return Path(self.path).name

    @property
    def exists(self) -> bool:
        """Return whether the file is there."""
        return Path(self.path).is_file() and not self.led_astray

    @property
    def led_astray(self) -> bool:
        """Return whether a link now stands where the file was: it could lead out of the folder."""
        return Path(self.path).is_symlink()

    def now(self) -> Snapshot:
        """Return the cell as it is on disk now; read again only when a byte has changed."""
        with self.lock:
            files = [self.path]
            if self._now is not None and self._now.cell is not None:
                files += [f for f, _ in self._now.cell.files]
            key = self._stamp(files)
            if self._now is None or self._now.key != key:
                first = self._stamp([self.path])
                made = Snapshot(self._loaded(), first)
                if made.cell is not None:
                    made.key = self._stamp([self.path, *(f for f, _ in made.cell.files)])
                if self._now is not None:
                    self._now.drop()
                self._now = made
            return self._now

    def _loaded(self) -> run.Loaded:
        return run.Loaded(self.path, None, ()) if self.led_astray else run.load(self.path)

    def _stamp(self, files: list[str]) -> str:
        """Return a digest of files, the user's own parts included."""
        total = hashlib.sha256()
        own = user_files(str(self.folder))
        for file in [*dict.fromkeys(files), *map(str, own)]:
            total.update(file.encode("utf-8", "surrogateescape") + b"\0")
            data = _bytes_of(Path(file))
            total.update(b"-" if data is None else hashlib.sha256(data).digest())
        return total.hexdigest()

    def read(self) -> tuple[str, str]:
        """Return text and digest of the file; both empty when it is not there.

        What is no UTF-8 has no digest, so that it is never written over with what was made of it.
        """
        data = None if self.led_astray else _bytes_of(Path(self.path))
        if data is None:
            return "", ""
        try:
            text, digest = data.decode("utf-8"), hashlib.sha256(data).hexdigest()
        except UnicodeDecodeError:
            text, digest = data.decode("utf-8", "replace"), ""
        return text.removeprefix("\ufeff"), digest

    def save(self, text: str, digest: str) -> str | Diagnostic:
        """Write the file if it is still the one with this digest, and remember the old text.

        Args:
            text: the new text.
            digest: digest of the file the text was made from; empty for a new file.
        """
        with self.lock:
            before, _ = self.read()
            done = self._write(text, digest)
            if isinstance(done, str):
                self.undo.append((done, before))
                del self.undo[:-MOST_UNDO]
            return done

    def _write(self, text: str, digest: str) -> str | Diagnostic:
        if self.led_astray:
            message = f"{self.name} is now a link, which the bench does not follow"
            fix = "start the bench with the file it leads to"
            return Diagnostic("T029", Severity.ERROR, message, Span(self.path, 1, 1, 1), fix=fix)
        return save(self.path, text, digest)

    def take_back(self, digest: str) -> str | Diagnostic | None:
        """Write the text from before the last save; None when there is nothing to take back.

        Args:
            digest: digest of the file as the person sees it.
        """
        with self.lock:
            if not self.undo or self.undo[-1][0] != digest:
                return None
            _, before = self.undo[-1]
            done = self._write(before, digest)
            if isinstance(done, str):
                self.undo.pop()
                if self.undo:  # what was written is what the save before had written
                    self.undo[-1] = (done, self.undo[-1][1])
            return done
