"""Saving a cell file: never half, and never over what somebody else has changed meanwhile."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path

from ringout.base.diagnostic import Diagnostic, Severity
from ringout.base.span import Span


def save(path: str | Path, text: str, expected_sha256: str) -> str | Diagnostic:
    """Write a file beside the old one and put it in its place.

    Args:
        path: the file; where it is a link, what it points to is replaced.
        text: the new text, with its line ends as they are to stand.
        expected_sha256: digest of the bytes the text was made from; empty for a new file.

    Returns:
        The digest of the bytes written, or why nothing was written.
    """
    real = Path(path).resolve()
    try:
        old = real.read_bytes() if real.exists() else None
        found = "" if old is None else hashlib.sha256(old).hexdigest()
        if found != expected_sha256:
            return _refused(path, old is None, expected_sha256)
        data = text.encode("utf-8")
        if (
            old is not None
            and old.startswith(b"\xef\xbb\xbf")
            and not data.startswith(b"\xef\xbb\xbf")
        ):
            data = b"\xef\xbb\xbf" + data
        _replace(real, data, real.stat().st_mode & 0o777 if old is not None else None)
    except OSError as error:
        reason = (error.strerror or "no reason given").lower()
        message = f"{path} cannot be written: {reason}"
        fix = "check the permissions and the space left"
        return Diagnostic("T029", Severity.ERROR, message, Span(str(path), 1, 1, 1), fix=fix)
    return hashlib.sha256(data).hexdigest()


def _refused(path: str | Path, missing: bool, expected: str) -> Diagnostic:  # noqa: FBT001
    if missing:
        message = f"{path} is no longer there, so it was not written"
    elif not expected:
        message = f"{path} exists already, so it was not written"
    else:
        message = f"{path} has been changed by somebody else, so it was not written"
    fix = "read it again and repeat the change"
    return Diagnostic("T028", Severity.ERROR, message, Span(str(path), 1, 1, 1), fix=fix)


def _replace(path: Path, data: bytes, mode: int | None) -> None:
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        if mode is None:
            umask = os.umask(0)
            os.umask(umask)
            mode = 0o666 & ~umask
        Path(name).chmod(mode)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    _sync_folder(path.parent)


def _sync_folder(folder: Path) -> None:
    """Make the new name last through a power cut, where the system can."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
