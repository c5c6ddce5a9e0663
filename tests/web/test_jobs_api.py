"""Checkout and search by JSON: as the commands tell them, judged and refused as on the pages."""

from __future__ import annotations

import math
import shutil

import pytest

from ringout import run
from ringout.find.words import understand_all
from ringout.report.checkout_view import checkout_answer, numbered
from ringout.report.find_view import find_answer
from tests.web.conftest import DEMO, client_of, when_done

TOKEN = {"X-Bench-Token": "right-token"}


@pytest.fixture(scope="module")
def cell():
    return run.load(str(DEMO)).cell


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    target = tmp_path_factory.mktemp("api") / "cell.yaml"
    shutil.copy(DEMO, target)
    with client_of(target) as made:
        when_done(made, "/api/checkout")
        yield made


def test_the_checkout_is_told_as_the_command_tells_it(client, cell):
    plan = run.checkout(cell)
    want = checkout_answer(cell, plan, numbered(plan, ("dead", "power", "function")))
    told = client.get("/api/checkout").json()
    for key in ("stages", "optimal", "seconds", "file_hash"):
        assert told[key] == want[key]
    assert [s["do"] for s in told["steps"]] == [s["do"] for s in want["steps"]]


def test_a_step_is_judged_and_kept(client):
    steps = client.get("/api/checkout").json()["steps"]
    first = steps[0]
    assert (
        client.post("/api/checkout/run", json={"who": "Ada"}, headers=TOKEN).json()["entries"] == []
    )
    good = {"who": "Ada", "reading": f"{first['high'] / 2}", "unit": "Ω"}
    told = client.post("/api/checkout/steps/1", json=good, headers=TOKEN).json()
    assert (told["entries"][0]["verdict"], told["next"]) == ("right", 2)
    told = client.post(
        "/api/checkout/steps/2", json={"who": "Ada", "reading": "open"}, headers=TOKEN
    ).json()
    assert told["entries"][1]["verdict"] == "wrong"
    assert client.get("/api/checkout/run").json() == told
    glance = next(s for s in steps if s["kind"] == "inputs")
    name, word = glance["levels"][0]["name"], glance["levels"][0]["word"]
    body = {"who": "Ada", "levels": {name: "off" if word == "on" else "on"}}
    path = f"/api/checkout/steps/{glance['number']}"
    told = client.post(path, json=body, headers=TOKEN).json()
    assert told["entries"][-1]["verdict"] == "wrong"
    told = client.post(path, json={"who": "Ben"}, headers=TOKEN).json()
    last = told["entries"][-1]
    assert (last["verdict"], last["who"], last["disputed"]) == ("right", "Ben", True)


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        ("/api/checkout/steps/1", {"who": "Ada", "reading": "many"}, 422),
        ("/api/checkout/steps/1", {"who": "Ada", "reading": "1", "more": 2}, 422),
        ("/api/checkout/steps/1", {"reading": "1"}, 422),
        ("/api/checkout/steps/1", {"who": "", "reading": "1"}, 422),
        ("/api/checkout/steps/0", {"who": "Ada", "reading": "1"}, 422),
        ("/api/checkout/steps/9999", {"who": "Ada", "reading": "1"}, 404),
    ],
)
def test_what_does_not_fit_is_refused(client, path, body, status):
    answer = client.post(path, json=body, headers=TOKEN)
    assert answer.status_code == status
    assert answer.json()["detail"]
    assert client.post(path, json=body).status_code in (403, 422)


def test_culprits_are_told_as_the_command_tells_them(client, cell):
    seen = ["start_lidding off while S1 pressed", "lamp of S1 dark"]
    want = find_answer(run.finder(cell).find([o for s in seen for o in understand_all(cell, s)[0]]))
    told = when_done(client, "/api/find?seen=start_lidding off while S1 pressed&seen=lamp of S1 "
                     "dark").json()  # fmt: skip
    assert [c["fault"] for c in told["culprits"]] == [c["fault"] for c in want["culprits"]]
    for a, b in zip(told["culprits"], want["culprits"], strict=True):
        assert math.isclose(a["probability"], b["probability"], abs_tol=1e-3)
    answer = client.get("/api/find?seen=start_liding off")
    assert answer.status_code == 422
    assert "start_lidding" in answer.json()["detail"][0]["msg"]
    assert client.get("/api/find").status_code == 422


def test_every_path_of_these_pages_is_described(client):
    paths = client.get("/api/openapi.json").json()["paths"]
    for path in ("/faults", "/checkout", "/checkout/run", "/checkout/news",
                 "/checkout/steps/{number}", "/find",
                 "/exercise", "/exercise/{token}/measure"):  # fmt: skip
        assert path in paths
        for method in paths[path].values():
            assert method["description"]
            # what others have read is there at once; all else may have to be worked out
            assert ("202" in method["responses"]) == (path != "/checkout/news")
