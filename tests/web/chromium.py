"""What browser tests share: where the browser is, and how a page is waited for and walked."""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from tests.contract.house import ROOT

playwright = pytest.importorskip("playwright.sync_api")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
BROWSED = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no chromium on this machine"),
]
AXE = ROOT / "node_modules" / "axe-core" / "axe.min.js"  # from the npm registry, for tests only
LONG_MS = 120_000  # what is worked out in the background may take that


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def start_bench(target: Path) -> tuple[subprocess.Popen, str]:
    """Return a bench in a process of its own, as the command starts it, and its address."""
    port = free_port()
    code = "import sys; from ringout.cli.serve import serve; serve(sys.argv[1:])"
    words = [sys.executable, "-c", code, str(target), "--port", str(port), "--no-open"]
    process = subprocess.Popen(words, stderr=subprocess.DEVNULL)
    home = f"http://127.0.0.1:{port}"
    for _ in range(300):
        try:
            with urllib.request.urlopen(f"{home}/api/session", timeout=1):
                return process, home
        except OSError:
            time.sleep(0.1)
    process.kill()
    raise AssertionError("the bench did not start")


def expect(page, selector: str):
    """Return what waits for a place to say something; the page's policy forbids `eval`."""
    return playwright.expect(page.locator(selector))


def settle(page) -> None:
    """Wait until nothing is being worked out any more."""
    playwright.expect(page.locator("[data-again]")).to_have_count(0, timeout=LONG_MS)


def go(page, path: str) -> None:
    """Open a page and wait until it is all there."""
    page.goto(path)
    settle(page)


def press_to(page, key: str, most: int = 200) -> None:
    """Press Tab until the focus is on the place with this key."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.getAttribute('data-key')") == key:
            return
    raise AssertionError(f"{key} is not reached by Tab")
