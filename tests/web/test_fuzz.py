"""Whatever is asked or sent: an answer in words, never a failure, and nothing written by chance."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.web.conftest import DEMO, HOME

WORDS = st.sampled_from(
    ["S1 pressed", "T1 off", "K1.O1 on", "not", "and", "(", "W1:BN", "W1:BN@S1", "K1-X1:4", "S1:13",
     "K1-X1", "open W1:BN@S1", "swap W1:BN W1:BK@S1", ",", "@", "S1,pushbutton-1nc", "B1,", "volts",
     "ohms", "lowz", "T1:+", "T1:-", "PE", "Y1-A:3"]
)  # fmt: skip
TEXT = st.one_of(WORDS, st.lists(WORDS, max_size=4).map(" ".join), st.text(max_size=30))
KEYS = ("while", "fault", "cut", "lift", "bridge", "swap", "part", "probe", "mode", "tool", "first")
QUERY = st.lists(st.tuples(st.sampled_from(KEYS), TEXT), max_size=6)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=8,
)
LASTING = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])


def sayable(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


@given(query=QUERY)
def test_any_setting_of_a_circuit_is_answered(still, query):
    pairs = [(k, v) for k, v in query if sayable(v)]
    page = still.get("/circuit/start_lidding", params=pairs)
    assert page.status_code in (200, 303, 404)
    assert still.get("/api/circuit/start_lidding", params=pairs).status_code in (200, 404)


@given(body=st.one_of(JSON, st.fixed_dictionaries({"text": st.text()})))
def test_any_json_to_check_is_answered(still, body):
    answer = still.post("/api/check", json=body, headers={"X-Bench-Token": "right-token"})
    assert answer.status_code in (200, 422)


@pytest.mark.parametrize(
    "raw", [b"", b"{", b"\xff", b'{"text": "\\ud800"}', b"[" * 10_000, b"NaN", b'{"text": 1e999}']
)
@pytest.mark.parametrize("path", ["check", "file", "add", "undo"])
def test_any_bytes_are_answered(still, raw, path):
    headers = {"X-Bench-Token": "right-token", "content-type": "application/json"}
    answer = still.post(f"/api/{path}", content=raw, headers=headers)
    assert 200 <= answer.status_code < 500


@LASTING
@given(
    kind=st.sampled_from(["item", "cable", "join", "cores", "signal", "expect", "remove", "x"]),
    words=st.dictionaries(
        st.sampled_from(["part", "name", "note", "settings", "length", "from", "core", "to",
                         "channel", "on", "drives", "line", "section", "cable"]),
        TEXT | st.sampled_from(["pushbutton-1no", "cable-4x0.34", "5 m", "K1.I4", "items"]),
    ),
)  # fmt: skip
def test_any_entry_is_written_whole_or_not_at_all(bench, cell_file, kind, words):
    from ringout import run
    from tests.web.test_file import sha

    cell_file.write_bytes(DEMO.read_bytes())
    words = {k: v for k, v in words.items() if sayable(v)}
    body = {"kind": kind, "digest": sha(cell_file), "words": words}
    answer = bench.post("/api/add", json=body, headers={"X-Bench-Token": "right-token"})
    assert answer.status_code in (200, 422)
    if answer.status_code == 422:
        assert cell_file.read_bytes() == DEMO.read_bytes()
    else:
        before = len(run.load(str(DEMO)).problems)
        problems = run.load(str(cell_file)).problems
        assert (
            kind == "remove" or len([p for p in problems if str(p.severity) == "error"]) == before
        )


@given(text=st.text(max_size=200))
def test_any_form_is_answered(still, text):
    if not sayable(text):
        return
    for path, field in (("/file", "text"), ("/add", "kind"), ("/new", "cell"), ("/door", "code")):
        data = {"token": "wrong", field: text}
        answer = still.post(path, data=data, headers={"origin": HOME})
        assert answer.status_code in (400, 403)
