from __future__ import annotations

import hashlib
import os
import stat

import pytest

from ringout.base import Diagnostic
from ringout.cellfile.save import save


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def test_writes_and_returns_the_new_digest(tmp_path):
    path = tmp_path / "cell.yaml"
    path.write_bytes(b"old\r\n")
    path.chmod(0o640)
    found = save(path, "new µ\r\n", digest(b"old\r\n"))
    assert path.read_bytes() == "new µ\r\n".encode()
    assert found == digest(path.read_bytes())
    assert list(tmp_path.iterdir()) == [path]
    if os.name == "posix":
        assert stat.S_IMODE(path.stat().st_mode) == 0o640


def test_keeps_a_byte_order_mark(tmp_path):
    path = tmp_path / "cell.yaml"
    path.write_bytes(b"\xef\xbb\xbfold")
    save(path, "new", digest(b"\xef\xbb\xbfold"))
    assert path.read_bytes() == b"\xef\xbb\xbfnew"


@pytest.mark.parametrize(
    ("on_disk", "expected"),
    [(b"changed", digest(b"old")), (None, digest(b"old")), (b"there", "")],
)
def test_refuses_what_it_has_not_seen(tmp_path, on_disk, expected):
    path = tmp_path / "cell.yaml"
    if on_disk is not None:
        path.write_bytes(on_disk)
    found = save(path, "new", expected)
    assert isinstance(found, Diagnostic)
    assert (found.code, bool(found.fix)) == ("T028", True)
    assert (path.read_bytes() if path.exists() else None) == on_disk


def test_a_new_file(tmp_path):
    path = tmp_path / "cell.yaml"
    assert save(path, "new", "") == digest(b"new")


def test_a_failing_disk_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "cell.yaml"
    path.write_bytes(b"old")

    def fail(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    found = save(path, "new", digest(b"old"))
    assert isinstance(found, Diagnostic)
    assert found.code == "T029"
    assert "no space left" in found.message
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_link_stays_a_link(tmp_path):
    real = tmp_path / "real.yaml"
    real.write_bytes(b"old")
    link = tmp_path / "link.yaml"
    try:
        link.symlink_to(real)
    except OSError:  # some systems let only administrators make links
        return
    save(link, "new", digest(b"old"))
    assert link.is_symlink()
    assert real.read_bytes() == b"new"
