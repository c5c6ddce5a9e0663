"""A bench over a copy of the demo cell, asked without a network."""

from __future__ import annotations

import re
import shutil
import time
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from ringout.web import create_app
from ringout.web.doors import Keys

DEMO = Path(__file__).parents[2] / "examples" / "caddy-lidder" / "corrected.yaml"
PORT = 8741
LONGEST_S = 120.0
HOME = f"http://127.0.0.1:{PORT}"


class Client(TestClient):
    """A browser whose bench ends with it, the process beside it included."""

    def __exit__(self, *problem) -> None:
        super().__exit__(*problem)
        self.app.app.state.session.reckoner.close()


def client_of(path: Path, **more) -> TestClient:
    keys = more.pop("keys", None) or Keys(token="right-token")
    app = create_app(str(path), port=PORT, keys=keys, **more)
    return Client(app, base_url=HOME, follow_redirects=False, raise_server_exceptions=True)


@pytest.fixture
def cell_file(tmp_path):
    target = tmp_path / "cell.yaml"
    shutil.copy(DEMO, target)
    return target


@pytest.fixture
def bench(cell_file):
    with client_of(cell_file) as client:
        yield client


@pytest.fixture(scope="session")
def still(tmp_path_factory):
    """Return a bench that no test writes to: what was reckoned once is there for the next."""
    target = tmp_path_factory.mktemp("still") / "cell.yaml"
    shutil.copy(DEMO, target)
    with client_of(target) as client:
        yield client


def text_of(answer) -> str:
    """Return a page as a person reads it: without tags, blanks pressed together."""
    import html

    plain = re.sub(r"<(script|style)[^>]*>.*?</\1>", " ", answer.text, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", plain)).split())


def field_of(answer, name: str) -> str:
    """Return the value of a hidden field."""
    found = re.search(rf'name="{name}" value="([^"]*)"', answer.text)
    assert found, f"no field {name}"
    return found[1]


def until(check, seconds: float = 20.0):
    """Return what a check finds, as soon as it finds something."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = check()
        if found:
            return found
        time.sleep(0.02)
    raise AssertionError("it did not happen in time")


def when_done(client, path: str):
    """Return a page when what it waits for is worked out."""
    end = time.monotonic() + LONGEST_S
    while time.monotonic() < end:
        answer = client.get(path)
        if answer.status_code != 202 and "data-again" not in answer.text:
            return answer
        time.sleep(0.2)
    raise AssertionError(f"{path} is never done")


# -- in a real browser ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def serve(tmp_path_factory):
    """Return a maker of benches, each a process of its own that ends with the module."""
    from tests.web.chromium import start_bench

    running = []

    def start(name: str, *, demo: bool) -> tuple[str, Path]:
        target = tmp_path_factory.mktemp("bench") / name
        if demo:
            shutil.copy(DEMO, target)
        process, home = start_bench(target)
        running.append(process)
        return home, target

    yield start
    for process in running:
        process.terminate()
        process.wait(10)


@pytest.fixture(scope="module")
def home(serve):
    return serve("cell.yaml", demo=True)[0]


@pytest.fixture(scope="module")
def browser():
    from tests.web.chromium import CHROMIUM, playwright

    with playwright.sync_playwright() as p:
        made = p.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield made
        made.close()


@pytest.fixture
def page(browser, home):
    context = browser.new_context(base_url=home)
    made = context.new_page()
    complaints = []
    made.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
    made.on("pageerror", lambda e: complaints.append(str(e)))
    yield made
    context.close()
    assert not complaints  # the policy of the page is among what is complained about
