"""`prove` starts at once: what it loads is looked at in a fresh interpreter."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.contract.house import ROOT
from tests.contract.test_layers import HEAVY

CELL = ROOT / "examples" / "caddy-lidder" / "corrected.yaml"

PROBE = """
import sys
from ringout.cli.main import main
try:
    main({words!r})
except SystemExit as stop:
    code = stop.code or 0
else:
    code = 0
print("loaded:", code, *sorted({{name.split(".")[0] for name in sys.modules}}))
"""


@pytest.mark.parametrize("words", [["--help"], ["prove", str(CELL)]], ids=["help", "prove"])
def test_nothing_heavy_is_loaded(words):
    done = subprocess.run(
        [sys.executable, "-c", PROBE.format(words=words)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    _, code, *loaded = done.stdout.splitlines()[-1].split()
    assert code == "0", done.stdout + done.stderr
    assert not HEAVY & set(loaded)
    # Seen at all: otherwise the line above could not fail.
    assert {"ringout", "click"} <= set(loaded)


def test_the_room_of_records_alone_loads_no_database():
    code = "import sys, ringout.records; print(*{n.split('.')[0] for n in sys.modules})"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert "ringout" in done.stdout.split()
    assert not HEAVY & set(done.stdout.split())
