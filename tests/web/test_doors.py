"""The closed door: host, origin, token, size, paths, code, headers."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout.web.app import Late
from ringout.web.doors import MOST_BODY, Keys, host_allowed
from tests.web.conftest import HOME, PORT, client_of

PAGES = ("/", "/circuit", "/circuit/start_lidding", "/sockets", "/file", "/add", "/api/overview")


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1:1", "127.0.0.1", "", "localhost.evil"])
@pytest.mark.parametrize("page", PAGES)
def test_another_host_is_turned_away(still, host, page):
    assert still.get(page, headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", [f"localhost:{PORT}", f"127.0.0.1:{PORT}", f"[::1]:{PORT}"])
def test_own_names_are_answered(still, host):
    assert still.get("/api/session", headers={"host": host}).status_code == 200


@given(st.text(max_size=40))
def test_no_text_but_an_own_name_is_a_host(text):
    allowed = host_allowed(text, ("127.0.0.1", "localhost", "::1"), PORT)
    own = {f"127.0.0.1:{PORT}", f"localhost:{PORT}", f"[::1]:{PORT}", f"::1:{PORT}"}
    assert not allowed or text.strip().lower() in own


def test_an_open_bench_answers_to_numbers_only():
    assert host_allowed(f"{NUMBER}:8741", ("*",), 8741)
    assert host_allowed("[2001:db8::7]:8741", ("*",), 8741)
    assert not host_allowed("rebound.example:8741", ("*",), 8741)


NUMBER = "192.0.2" + ".7"  # one of those kept for examples
FORM = {"token": "right-token", "digest": "", "text": "cell: x\n"}


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https:" + "//evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:1"},
        {"origin": HOME.replace("http:", "https:")},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_a_write_from_elsewhere_is_refused(bench, cell_file, headers):
    before = cell_file.read_bytes()
    assert bench.post("/file", data=FORM, headers=headers).status_code == 403
    assert bench.post("/api/file", json={}, headers=headers).status_code == 403
    assert cell_file.read_bytes() == before


@pytest.mark.parametrize("token", ["", "wrong", "right-toke", "right-token "])
@pytest.mark.parametrize("path", ["/file", "/file/undo", "/add", "/new"])
def test_a_form_without_the_token_is_refused(bench, cell_file, path, token):
    before = cell_file.read_bytes()
    answer = bench.post(path, data={**FORM, "token": token}, headers={"origin": HOME})
    assert answer.status_code == 403
    assert cell_file.read_bytes() == before


@pytest.mark.parametrize("path", ["check", "file", "undo", "add"])
def test_json_without_the_token_is_refused(bench, path):
    body = {"text": "", "digest": "", "kind": "item", "words": {}}
    for headers in ({}, {"X-Bench-Token": "wrong"}):
        assert bench.post(f"/api/{path}", json=body, headers=headers).status_code == 403


def test_every_write_has_a_token_in_front(still):
    """Whatever can be posted, asked without a token, is refused: no door is forgotten."""
    posts = {}
    todo = [("", route) for route in still.app.app.routes]
    while todo:
        before, route = todo.pop()
        if isinstance(inner := getattr(route, "app", None), Late):
            todo += [(f"{before}{route.path}", r) for r in inner.made().routes]
        if "POST" in (getattr(route, "methods", None) or ()):
            posts[f"{before}{route.path}"] = route
    assert len(posts) >= 8
    for path in set(posts) - {"/door"}:  # the door has its code
        answer = still.post(path, headers={"origin": HOME})
        assert answer.status_code in (403, 422), path
        if path.startswith("/api"):  # 422 may be for the body alone: look at what stands in front
            needed = [d.call.__name__ for d in posts[path].dependant.dependencies]
            assert "writer" in needed, path
        else:
            assert answer.status_code == 403, path


def test_too_much_is_refused_by_its_length(bench, cell_file):
    before = cell_file.read_bytes()
    data = {**FORM, "text": "x" * (MOST_BODY + 1)}
    assert bench.post("/file", data=data).status_code == 413
    assert cell_file.read_bytes() == before


def test_too_much_is_refused_where_no_length_is_told(bench, cell_file):
    before = cell_file.read_bytes()

    def parts():
        yield b"token=right-token&text="
        for _ in range(MOST_BODY // 100_000 + 1):
            yield b"x" * 100_000

    kind = {"content-type": "application/x-www-form-urlencoded"}
    assert bench.post("/file", content=parts(), headers=kind).status_code == 413
    assert cell_file.read_bytes() == before


@pytest.mark.parametrize("length", ["-1", "1e9", "abc", "9" * 20, "١"])
def test_a_length_that_is_none(bench, length):
    headers = {"content-length": length.encode()}
    assert bench.post("/file", content=b"", headers=headers).status_code in (400, 413)


def test_long_addresses_are_refused(still):
    assert still.get("/circuit/start_lidding?while=" + "a" * 9000).status_code == 414
    assert still.get("/" + "a" * 9000).status_code == 414


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(still, method):
    assert still.request(method, "/").status_code == 405


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/..%2fapp.py",
        "/static/%2e%2e%2f%2e%2e%2f%2e%2e%2fpyproject.toml",
        "/static//etc/passwd",
        "/static/%5c..%5capp.py",
        "/circuit/..%2f..%2fetc%2fpasswd",
        "/file/../../etc/passwd",
        "/api/circuit/..%2f..%2fetc%2fpasswd",
    ],
)
def test_no_way_out_of_the_folder(still, path):
    answer = still.get(path)
    assert answer.status_code in (400, 404, 307)
    assert "create_app" not in answer.text
    assert "root:" not in answer.text


def test_a_text_includes_nothing_from_outside(bench, tmp_path):
    secret = tmp_path.parent / "secret.yaml"
    secret.write_text("items: {S9: pushbutton-1no}\n", encoding="utf-8")
    for name in ("../secret.yaml", str(secret), "..\\secret.yaml"):
        text = f"cell: x\ninclude: '{name}'\n"
        answer = bench.post(
            "/api/check", json={"text": text}, headers={"X-Bench-Token": "right-token"}
        )
        problems = answer.json()["problems"]
        assert any(p["code"] == "N040" for p in problems), problems
    secret.unlink()


def link(where, to):
    try:
        where.symlink_to(to)
    except OSError:  # not every system lets everybody make one
        pytest.skip("links cannot be made here")


def test_no_link_leads_a_text_or_a_part_out_of_the_folder(tmp_path):
    secret = tmp_path / "secret.yaml"
    secret.write_text("part: hush-hush\ntitle: Secret\nfamily: switch\n", encoding="utf-8")
    home = tmp_path / "home"
    (home / "parts").mkdir(parents=True)
    link(home / "more.yaml", secret)
    link(home / "parts" / "hush-hush.yaml", secret)
    text = "cell: x\ninclude: more.yaml\nitems:\n  S1: hush-hush\n"
    (home / "cell.yaml").write_text(text, encoding="utf-8")
    with client_of(home / "cell.yaml") as client:
        problems = client.get("/api/file").json()["problems"]
        assert any(p["code"] == "N040" for p in problems)
        assert any("hush-hush" in p["message"] and p["line"] == 4 for p in problems), problems
        for page in ("/", "/add", "/file", "/sockets"):
            assert "Secret" not in client.get(page).text


def test_a_link_in_the_place_of_the_file_is_not_followed(bench, cell_file, tmp_path):
    other = tmp_path / "other.txt"
    other.write_text("cell: other people's\n", encoding="utf-8")
    digest = bench.get("/api/session").json()["digest"]
    cell_file.unlink()
    link(cell_file, other)
    for path in ("/api/file", "/api/overview", "/api/sockets", "/"):
        assert "other people" not in bench.get(path, follow_redirects=True).text
    for known in (digest, ""):
        body = {"text": "cell: mine\n", "digest": known}
        answer = bench.post("/api/file", json=body, headers={"X-Bench-Token": "right-token"})
        assert answer.status_code == 409
    assert bench.post("/new", data={"token": "right-token", "cell": "x"}).status_code == 422
    assert other.read_text("utf-8") == "cell: other people's\n"


@pytest.mark.parametrize("page", [*PAGES, "/static/bench.js", "/nowhere", "/new"])
def test_every_answer_is_dressed(still, page):
    headers = still.get(page).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"


@pytest.mark.parametrize(
    "page",
    ["/", "/circuit/start_lidding?tool=fault&probe=K1-X1:4,K1-X1:3", "/sockets", "/file", "/add"],
)
def test_no_page_needs_what_the_policy_forbids(still, page):
    text = still.get(page).text
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=\"|javascript:", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)
    outside = re.findall(r'(?:src|href|action)="(?:https?:)?//[^"]*"', text)
    assert not outside
    assert not re.search(r"url\(|@import", still.get("/static/bench.css").text)


def test_words_of_a_url_are_shown_as_text(still):
    evil = '"><script>alert(1)</script>'
    for query in ({"while": evil}, {"cut": evil}, {"fault": evil}, {"probe": f"{evil},x"},
                  {"part": evil}, {"swap": evil}, {"bridge": evil}, {"first": evil}):  # fmt: skip
        answer = still.get("/circuit/start_lidding", params=query)
        assert answer.status_code == 200
        assert "<script>alert" not in answer.text


def test_a_code_lets_one_browser_in(cell_file):
    told = []
    keys = Keys(code="ABCD2345", tell=told.append)
    with client_of(cell_file, keys=keys, names=("*",)) as first:
        assert first.get("/").headers["location"] == "/door"
        assert first.get("/api/overview").status_code == 401
        assert first.get("/static/bench.js").status_code == 303
        assert first.post("/file", data={"token": keys.token}).status_code == 401
        assert first.get("/door").status_code == 200
        assert first.post("/door", data={"code": "WRONG"}).status_code == 403
        passed = first.post("/door", data={"code": "abcd-2345"})
        assert passed.status_code == 303
        cookie = passed.headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=strict" in cookie
        assert first.get("/").status_code == 200
        first.cookies.clear()
        assert first.get("/").status_code == 303
        assert first.post("/door", data={"code": "ABCD2345"}).status_code == 403  # used up
        assert told and told[-1] != "ABCD2345"
        assert first.post("/door", data={"code": told[-1]}).status_code == 303


def test_a_code_cannot_be_tried_out():
    told = []
    keys = Keys(code="ABCD2345", tell=told.append)
    for _ in range(5):
        assert keys.let_in("WRONGWRO") == ""
    assert told, "after five wrong ones there is a new code"
    assert keys.let_in("ABCD2345") == ""
    assert keys.let_in(told[-1])


def test_without_a_code_nobody_can_be_locked_out(cell_file):
    with client_of(cell_file) as client:
        for _ in range(7):
            assert client.post("/door", data={"code": "X"}).status_code == 403
        assert client.get("/").status_code == 200
