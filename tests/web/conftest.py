"""A bench over a copy of the demo cell, asked without a network."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from ringout.web import create_app
from ringout.web.doors import Keys

DEMO = Path(__file__).parents[2] / "examples" / "caddy-lidder" / "corrected.yaml"
PORT = 8741
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
