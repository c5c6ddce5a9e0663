"""The file: shown, checked, saved only over what was read, taken back, never half written."""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
import time

import pytest

from tests.web.conftest import DEMO, client_of, field_of, text_of

TOKEN = {"X-Bench-Token": "right-token"}


def sha(path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def send(client, text, digest, **more):
    return client.post(
        "/file", data={"token": "right-token", "text": text, "digest": digest, **more}
    )


def test_the_text_is_shown_whole(bench, cell_file):
    import html
    import re

    page = bench.get("/file")
    shown = html.unescape(re.search(r"<textarea[^>]*>\n(.*?)</textarea>", page.text, re.DOTALL)[1])
    assert shown == cell_file.read_text("utf-8")
    assert field_of(page, "digest") == sha(cell_file)


def test_save_and_take_back(bench, cell_file):
    before = cell_file.read_bytes()
    text = before.decode() + "# one more remark\n"
    answer = send(bench, text.replace("\n", "\r\n"), sha(cell_file))  # as a browser sends lines
    assert answer.headers["location"] == "/file?done=saved"
    assert cell_file.read_text("utf-8") == text
    page = bench.get("/file?done=saved")
    assert "Saved." in text_of(page)
    assert "Take the last save back" in text_of(page)
    back = bench.post("/file/undo", data={"token": "right-token", "digest": sha(cell_file)})
    assert back.status_code == 303
    assert cell_file.read_bytes() == before
    again = bench.post("/file/undo", data={"token": "right-token", "digest": sha(cell_file)})
    assert again.status_code == 409


def test_several_saves_are_taken_back_one_by_one(bench, cell_file):
    texts = [cell_file.read_text("utf-8")]
    for n in range(3):
        texts.append(texts[-1] + f"# remark {n}\n")
        send(bench, texts[-1], sha(cell_file))
    for text in reversed(texts[:-1]):
        bench.post("/file/undo", data={"token": "right-token", "digest": sha(cell_file)})
        assert cell_file.read_text("utf-8") == text


def test_windows_line_ends_stay(bench, cell_file):
    cell_file.write_bytes(cell_file.read_bytes().replace(b"\n", b"\r\n"))
    text = cell_file.read_bytes().decode() + "# more\r\n"
    send(bench, text, sha(cell_file))
    assert cell_file.read_bytes() == text.encode()


def test_what_another_changed_is_never_written_over(bench, cell_file):
    digest = sha(cell_file)
    cell_file.write_text(cell_file.read_text("utf-8") + "# by another\n", encoding="utf-8")
    theirs = cell_file.read_bytes()
    answer = send(bench, "cell: mine\n", digest)
    assert answer.status_code == 409
    assert "cell: mine" in answer.text  # what was typed is not lost
    assert "changed by somebody else" in text_of(answer)
    assert cell_file.read_bytes() == theirs
    body = {"text": "cell: mine\n", "digest": digest}
    assert bench.post("/api/file", json=body, headers=TOKEN).status_code == 409
    assert cell_file.read_bytes() == theirs


def test_an_undo_never_writes_over_another(bench, cell_file):
    send(bench, cell_file.read_text("utf-8") + "# mine\n", sha(cell_file))
    digest = sha(cell_file)
    cell_file.write_text("cell: theirs\n", encoding="utf-8")
    answer = bench.post("/file/undo", data={"token": "right-token", "digest": digest})
    assert answer.status_code == 409
    assert cell_file.read_text("utf-8") == "cell: theirs\n"


def test_check_only_writes_nothing(bench, cell_file):
    before = cell_file.read_bytes()
    text = before.decode().replace("K1-X1:4", "K1-X1:44")
    answer = send(bench, text, sha(cell_file), do="check")
    assert answer.status_code == 200
    assert "K1-X1 has no pin 44" in text_of(answer)
    assert cell_file.read_bytes() == before


def test_problems_stand_at_their_lines(bench):
    lines = DEMO.read_text("utf-8").splitlines()
    number = next(k for k, line in enumerate(lines, 1) if "S1:14" in line)
    lines[number - 1] = lines[number - 1].replace("S1:14", "S1:15")
    found = bench.post("/api/check", json={"text": "\n".join(lines)}, headers=TOKEN).json()
    first = found["problems"][0]
    assert (first["line"], first["severity"]) == (number, "error")
    clean = bench.post("/api/check", json={"text": DEMO.read_text("utf-8")}, headers=TOKEN).json()
    assert clean["problems"] == []


@pytest.mark.parametrize("body", [{}, {"text": 3}, {"text": "", "more": 1}, [], "x", None])
def test_a_body_of_another_shape_is_refused(bench, body):
    assert bench.post("/api/check", json=body, headers=TOKEN).status_code == 422


@pytest.mark.parametrize("text", ["\x00", "a: [", "\ud7ff", "\t- x", "%", "&a *a", "? :", "- - -"])
def test_no_text_breaks_the_check(bench, text):
    answer = bench.post("/api/check", json={"text": text}, headers=TOKEN)
    assert answer.status_code == 200


SAVER = """
import sys
from pathlib import Path
from ringout.web.session import Session
session = Session(sys.argv[1])
texts = [f"cell: version {k}\\n# {'x' * 200_000}\\n# end {k}\\n" for k in (1, 2)]
print("ready", flush=True)
n = 0
while True:
    _, digest = session.read()
    assert isinstance(session.save(texts[n % 2], digest), str)
    n += 1
"""


@pytest.mark.skipif(sys.platform == "win32", reason="processes are killed another way there")
def test_a_kill_in_the_middle_of_saving_loses_nothing(tmp_path):
    target = tmp_path / "cell.yaml"
    whole = {f"cell: version {k}\n# {'x' * 200_000}\n# end {k}\n".encode() for k in (1, 2)}
    target.write_bytes(min(whole))
    for round_ in range(6):
        words = [sys.executable, "-c", SAVER, str(target)]
        with subprocess.Popen(words, stdout=subprocess.PIPE, env={**os.environ}) as running:
            assert running.stdout.readline() == b"ready\n"
            time.sleep(0.03 + 0.017 * round_)
            running.send_signal(signal.SIGKILL)
            running.wait()
        assert target.read_bytes() in whole


def test_nothing_there_yet_leads_to_a_new_cell(tmp_path):
    target = tmp_path / "new.yaml"
    with client_of(target) as client:
        for page in ("/", "/circuit", "/sockets", "/file", "/add"):
            assert client.get(page).headers["location"] == "/new"
        assert "new.yaml" in client.get("/new").text
        bad = client.post("/new", data={"token": "right-token", "cell": " "})
        assert bad.status_code == 422
        bad = client.post("/new", data={"token": "right-token", "cell": "x", "low": "cold"})
        assert bad.status_code == 422
        assert not target.exists()
        assert client.get("/api/overview").status_code == 200
        assert client.get("/api/circuit/x").status_code == 404


@pytest.mark.parametrize("name", ["Lid: 2", "# hash", "'quoted'", "Ωmega & co", "[x]", "yes", "-"])
def test_a_name_of_any_kind_is_written_so_that_it_is_read_again(tmp_path, name):
    from ringout import run

    target = tmp_path / "new.yaml"
    with client_of(target) as client:
        data = {"token": "right-token", "cell": name, "low": "10", "high": "40", "basis": "yes"}
        assert client.post("/new", data=data).headers["location"] == "/add"
        loaded = run.load(str(target))
        assert not loaded.problems
        assert loaded.cell.name == name
        assert client.get("/new").headers["location"] == "/"  # never written over
        assert client.post("/new", data=data).status_code == 422


def add(client, target, kind, **words):
    data = {"token": "right-token", "kind": kind, "digest": sha(target), **words}
    return client.post("/add", data=data)


def test_a_cell_of_two_buttons_and_a_sensor_from_forms_alone(tmp_path):
    from ringout import run

    target = tmp_path / "new.yaml"
    with client_of(target) as client:
        first = {"token": "right-token", "cell": "Small", "low": "10", "high": "40", "basis": "yes"}
        client.post("/new", data=first)
        steps = [
            ("item", {"part": "pushbutton-1no-gold", "note": "start"}),
            ("item", {"part": "pushbutton-1no-gold", "note": "stop"}),
            ("item", {"part": "inductive-pnp-no", "note": "part in place"}),
            ("cable", {"part": "cable-4x0.34", "length": "5 m"}),
            ("cable", {"part": "cable-4x0.34", "length": "5"}),
            ("cable", {"part": "cordset-m12-4", "length": "5 m"}),
            ("cores", {"cable": "W4", "from-BN": "S1:13", "to-BN": "K1-X1:1",
                       "from-BK": "S1:14", "to-BK": "K1-X1:4"}),
            ("cores", {"cable": "W5", "from-BN": "S2:13", "to-BN": "K1-X2:1",
                       "from-BK": "S2:14", "to-BK": "K1-X2:4"}),
            ("join", {"from": "B1", "core": "W6", "to": "K1-X3"}),
            ("signal", {"name": "start", "channel": "K1.I1", "on": "S1 pressed"}),
            ("signal", {"name": "stop", "channel": "K1.I2", "on": "S2 pressed"}),
            ("signal", {"name": "in_place", "channel": "K1.I3", "on": "B1 target"}),
        ]  # fmt: skip
        for kind, words in steps:
            answer = add(client, target, kind, **words)
            assert answer.status_code == 303, text_of(answer)
            assert client.get(answer.headers["location"]).status_code == 200
        loaded, judgement = run.prove(str(target), remedies=False)
        assert not loaded.problems
        assert [s.verdict for s in judgement.signals] == ["works"] * 3
        assert "3 works" in text_of(client.get("/"))


def test_a_form_keeps_remarks_and_order(bench, cell_file):
    before = cell_file.read_text("utf-8").splitlines()
    assert (
        add(bench, cell_file, "item", part="lamp-led-24v", name="P9", note="more").status_code
        == 303
    )
    after = cell_file.read_text("utf-8").splitlines()
    new = [line for line in after if "P9" in line]
    assert new == ["  P9: {part: lamp-led-24v, note: more}"]
    after.remove(new[0])
    assert after == before


@pytest.mark.parametrize(
    ("kind", "words", "told"),
    [
        ("item", {"part": "no-such-part"}, "no-such-part"),
        ("item", {}, "the part is missing"),
        ("item", {"part": "lamp-led-24v", "name": "S1"}, "there already"),
        ("cable", {"part": "cable-4x0.34", "length": "long"}, "long"),
        ("join", {"from": "S1:13", "core": "W1:BN", "to": "K1-X4:1"}, ""),
        ("join", {"from": "S1:99", "to": "K1-X4:1"}, "no terminal 99"),
        ("cores", {"cable": "W1", "from-WH": "S1:13", "to-WH": ""}, "one end only"),
        ("cores", {"cable": "W77"}, "no cable W77"),
        ("signal", {"name": "x", "channel": "K1.I4"}, "either"),
        ("signal", {"name": "x", "channel": "K1.I99", "on": "S1 pressed"}, "I99"),
        ("signal", {"name": "x\ny: z", "channel": "K1.I4", "on": "S1 pressed"}, ""),
        ("expect", {"line": "nonsense"}, ""),
        ("remove", {"section": "items", "name": "Z9"}, "nothing at"),
        ("remove", {"section": "cell", "name": "x"}, "nothing is removed"),
        ("remove", {"section": "joins", "name": "999"}, "nothing at"),
        ("explode", {}, "no form"),
    ],
)
def test_nothing_is_written_that_could_not_be_used(bench, cell_file, kind, words, told):
    before = cell_file.read_bytes()
    answer = add(bench, cell_file, kind, **words)
    assert answer.status_code == 422
    assert "Not written" in text_of(answer)
    assert told in text_of(answer)
    assert cell_file.read_bytes() == before


def test_a_stale_form_is_refused(bench, cell_file):
    data = {"token": "right-token", "kind": "item", "part": "lamp-led-24v", "digest": "0" * 64}
    before = cell_file.read_bytes()
    assert bench.post("/add", data=data).status_code == 409
    assert cell_file.read_bytes() == before


def test_remove_and_take_back(bench, cell_file):
    before = cell_file.read_bytes()
    assert (
        add(bench, cell_file, "remove", section="signals", name="start_lidding").status_code == 303
    )
    assert b"start_lidding:" not in cell_file.read_bytes()
    undo = {"token": "right-token", "digest": sha(cell_file), "to": "/add"}
    assert bench.post("/file/undo", data=undo).headers["location"] == "/add"
    assert cell_file.read_bytes() == before


def test_the_api_does_what_the_forms_do(bench, cell_file):
    body = {"kind": "item", "digest": sha(cell_file), "words": {"part": "lamp-led-24v"}}
    answer = bench.post("/api/add", json=body, headers=TOKEN)
    assert answer.status_code == 200
    assert answer.json()["digest"] == sha(cell_file)
    assert bench.post("/api/add", json=body, headers=TOKEN).status_code == 409
    undone = bench.post("/api/undo", json={"digest": sha(cell_file)}, headers=TOKEN)
    assert undone.json()["digest"] == sha(cell_file)
    assert cell_file.read_bytes() == DEMO.read_bytes()


def test_openapi_names_every_door_of_the_api(bench):
    found = bench.get("/api/openapi.json").json()
    assert found["servers"] == [{"url": "/api"}]
    assert set(found["paths"]) == {
        "/session", "/overview", "/circuit/{signal}", "/sockets", "/file",
        "/check", "/undo", "/add", "/faults", "/faults/exposed", "/checkout", "/checkout/run",
        "/checkout/news",
        "/checkout/steps/{number}", "/find", "/live", "/exercise", "/exercise/{token}",
        "/exercise/{token}/measure", "/exercise/{token}/name",
    }  # fmt: skip


def test_a_file_that_is_no_text_is_never_written_over(bench, cell_file):
    odd = b"cell: caf\xe9\n"  # as an old editor saves it
    cell_file.write_bytes(odd)
    page = bench.get("/file")
    assert "cannot be saved from here" in text_of(page)
    assert field_of(page, "digest") == ""
    assert send(bench, "cell: x\n", "").status_code == 409
    assert send(bench, "cell: x\n", sha(cell_file)).status_code == 303  # knowingly replaced
    assert cell_file.read_bytes() == b"cell: x\n"


def test_what_is_too_large_for_a_cell_is_left_alone(bench, cell_file):
    cell_file.write_bytes(b"# " + b"x" * 2_000_001)
    assert "cannot be saved from here" in text_of(bench.get("/file"))
    assert bench.get("/").status_code == 200
