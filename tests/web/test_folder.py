"""A folder of cells: the index says how far each is, and each has a bench of its own."""

from __future__ import annotations

import json
import shutil
import time

import pytest
from click.testing import CliRunner
from starlette.testclient import TestClient

from ringout import run
from ringout.cli import cli
from ringout.records import open_store
from ringout.web.doors import Keys
from ringout.web.folder import Folder, create_index
from tests.web.conftest import DEMO, PORT, text_of
from tests.web.test_records import STEPS

KEYS = Keys(token="right-token")


@pytest.fixture
def hall(tmp_path):
    """Return a folder with two cells, one with a run, and a file that is no cell."""
    good, other = tmp_path / "a.yaml", tmp_path / "b.yaml"
    shutil.copy(DEMO, good)
    other.write_text(DEMO.read_text("utf-8").replace("Caddy lidder", "Second", 1), encoding="utf-8")
    (tmp_path / "notes.yaml").write_text("shopping: milk\n", encoding="utf-8")
    with open_store(good) as store:
        store.start_run(run.load(str(good)).cell, STEPS, who="Ada")
    return tmp_path


def app_of(hall):
    cells = {PORT + 1: str(hall / "a.yaml"), PORT + 2: str(hall / "b.yaml")}
    index = create_index(str(hall), cells, keys=KEYS, port=PORT)
    return Folder((PORT, index), cells, KEYS)


def client(app, port):
    return TestClient(app, base_url=f"http://127.0.0.1:{port}", follow_redirects=False)


def test_the_index_names_every_cell_and_its_last_run(hall):
    page = client(app_of(hall), PORT).get("/")
    text = text_of(page)
    assert "Second" in text
    assert "run 1 open, Ada" in text
    assert "1 open" in text
    assert "notes.yaml" not in text
    assert f'href="http://127.0.0.1:{PORT + 2}/"' in page.text


def test_the_verdict_comes_when_it_is_worked_out(hall):
    with client(app_of(hall), PORT) as asked:
        for _ in range(200):
            found = asked.get("/api/cells").json()
            if not found["waiting"]:
                break
            time.sleep(0.2)
    assert [c["verdict"] for c in found["cells"]] == ["clean", "clean"]
    want = CliRunner().invoke(cli, ["records", "cells", str(hall), "--json"])
    ports = [c.pop("port") for c in found["cells"]]
    assert found["cells"] == json.loads(want.output)["cells"]  # one answer at both doors
    assert len(set(ports)) == 2


def test_each_port_has_its_own_cell_and_no_other(hall):
    app = app_of(hall)
    assert "a.yaml" in client(app, PORT + 1).get("/sockets").text
    assert "b.yaml" in client(app, PORT + 2).get("/sockets").text
    # the name of another bench at this port is refused, as any wrong name is
    wrong = client(app, PORT + 1).get("/", headers={"host": f"127.0.0.1:{PORT + 2}"})
    assert wrong.status_code == 421


def test_a_code_opens_all_of_them(hall):
    keys = Keys(token="t", code="ABCDEFGH")
    cells = {PORT + 1: str(hall / "a.yaml")}
    app = Folder((PORT, create_index(str(hall), cells, keys=keys, port=PORT)), cells, keys)
    asked = client(app, PORT)
    assert asked.get("/").headers["location"] == "/door"
    done = asked.post("/door", data={"code": "abcd-efgh"})
    pass_ = done.cookies["ringout_door"]
    assert asked.get("/", headers={"cookie": f"ringout_door={pass_}"}).status_code == 200
    bench = client(app, PORT + 1)
    assert bench.get("/sockets").status_code == 303
    assert bench.get("/sockets", headers={"cookie": f"ringout_door={pass_}"}).status_code == 200
