"""A skipped test is named, and where RINGOUT_NO_SKIP is set it fails the run."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

from tests.contract.house import ROOT

SKIPPING = """
import pytest

def test_passes():
    pass

@pytest.mark.skip(reason="no second solver")
def test_referee():
    pass

def test_asks_late():
    pytest.skip("not on this machine")

@pytest.mark.xfail(strict=True, reason="known")
def test_known_to_fail():
    raise ValueError
"""
WHOLE_MODULE = "import pytest\npytest.importorskip('no_such_module_anywhere')\n"


def run_in(folder, *words: str, no_skip: str = "") -> subprocess.CompletedProcess[str]:
    shutil.copy(ROOT / "tests" / "conftest.py", folder)
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *words]
    command += ["-c", str(ROOT / "pyproject.toml"), "--rootdir", str(folder), str(folder)]
    environment = {k: v for k, v in os.environ.items() if not k.startswith("PYTEST_")}
    environment["RINGOUT_NO_SKIP"] = no_skip
    return subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, check=False
    )


def test_skips_are_named(tmp_path):
    (tmp_path / "test_some.py").write_text(SKIPPING, encoding="utf-8")
    (tmp_path / "test_module.py").write_text(WHOLE_MODULE, encoding="utf-8")
    done = run_in(tmp_path, "-n", "2")
    assert done.returncode == 0, done.stdout
    lines = done.stdout.splitlines()
    for name in ("test_some.py::test_referee", "test_some.py::test_asks_late", "test_module.py"):
        assert any(line.startswith("SKIPPED") and name in line for line in lines), done.stdout
    assert lines[-1].startswith("1 passed, 3 skipped, 1 xfailed")


def test_skips_fail_where_none_is_allowed(tmp_path):
    (tmp_path / "test_some.py").write_text(SKIPPING, encoding="utf-8")
    done = run_in(tmp_path, "-n", "2", no_skip="1")
    assert done.returncode == 1, done.stdout
    lines = done.stdout.splitlines()
    # What a mark skips never gets past its set-up, so pytest calls it an error.
    for kind, name in (("ERROR", "test_referee"), ("FAILED", "test_asks_late")):
        assert any(line.startswith(f"{kind} test_some.py::{name}") for line in lines), done.stdout
    assert "RINGOUT_NO_SKIP allows none: Skipped: no second solver" in done.stdout
    assert lines[-1].startswith("1 failed, 1 passed, 1 xfailed, 1 error")


def test_a_skipped_module_fails_too(tmp_path):
    (tmp_path / "test_module.py").write_text(WHOLE_MODULE, encoding="utf-8")
    done = run_in(tmp_path, "-n", "0", no_skip="1")
    assert done.returncode not in {0, 5}, done.stdout
    assert "ERROR" in done.stdout
    assert "test_module.py" in done.stdout
    assert "1 error" in done.stdout.splitlines()[-1]
