"""The live page: a stand-in within the bench, over real Modbus TCP, watched and led through."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
import urllib.parse
import urllib.request
from contextlib import contextmanager

import pytest

from ringout import run
from ringout.live.actions import WAIT_S, LiveCheckout
from ringout.live.enter import plain_link
from ringout.live.serve import ModbusTwin
from ringout.live.twin import Twin
from ringout.records import open_store
from ringout.web.pages.live import post_of
from ringout.web.watching import Order, Watching, free_port
from tests.web.conftest import DEMO, HOME, text_of, until

SEND = {"origin": HOME}


def send(client, path: str, **fields):
    answer = client.post(path, data={"token": "right-token", **fields}, headers=SEND)
    assert answer.status_code == 303
    return answer


@pytest.fixture
def live(bench):
    """Return a bench whose watch ends with the test."""
    yield bench
    post_of(bench.app.app.state.session).put(None)


def watch_of(client) -> Watching:
    return post_of(client.app.app.state.session).watching


def begin(client, **fields) -> Watching:
    send(client, "/live", source="twin", **fields)
    watching = watch_of(client)
    until(lambda: len(watching.view.connections) == 2)
    return watching


def test_the_caution_stands_before_anything_is_begun(live):
    page = live.get("/live")
    assert page.status_code == 200
    said = text_of(page)
    assert "The bench only reads" in said
    assert "no safety function" in said
    assert "does not say where a controller is read" in said  # the demo has no `live`


def test_what_is_pressed_at_the_stand_in_is_seen_on_the_page(live):
    watching = begin(live, do="watch")
    page = text_of(live.get("/live"))
    assert "start_lidding K1.I1 ○ off" in page
    assert "on_line K1.I8 ○ off" in page
    send(live, "/live/move", put="S1 pressed")
    until(lambda: watching.view.levels["K1", "I1"])
    page = text_of(live.get("/live"))
    assert "start_lidding K1.I1 ● on" in page
    assert "start_lidding ● on" in page.split("Last changes")[1]
    told = live.get("/api/live").json()
    assert told["source"] == "twin"
    assert {"item": "K1", "channel": "I1", "on": True} in told["levels"]


def events_of(answer) -> list[tuple[int, dict]]:
    found = re.findall(r"id: (\d+)\ndata: (.*)\n\n", answer.text)
    return [(int(n), json.loads(data)) for n, data in found]


def test_what_happens_goes_out_as_server_sent_events(live, monkeypatch):
    monkeypatch.setattr("ringout.web.api_live.SPAN_S", 1.0)
    watching = begin(live, do="watch")
    send(live, "/live/move", put="S1 pressed")
    until(lambda: watching.view.levels["K1", "I1"])
    answer = live.get("/api/live/events")
    assert answer.headers["content-type"].startswith("text/event-stream")
    events = events_of(answer)
    assert [n for n, _ in events] == list(range(1, len(events) + 1))
    kinds = [e["kind"] for _, e in events]
    assert kinds[:2] == ["connection", "connection"]
    assert ("start_lidding", True) in [
        (e["signal"], e["on"]) for _, e in events if e["kind"] == "change"
    ]
    last = events[-1][0]
    again = live.get("/api/live/events", headers={"last-event-id": str(last)})
    assert all(n > last for n, _ in events_of(again))


def test_an_open_stream_neither_holds_up_the_end_nor_makes_it_ugly(cell_file):
    home = f"http://127.0.0.1:{free_port()}"
    words = ["serve", str(cell_file), "--port", home.rsplit(":", 1)[1], "--no-open"]
    bench = subprocess.Popen(
        [sys.executable, "-m", "ringout", *words],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert home in bench.stderr.readline()
        with urllib.request.urlopen(f"{home}/api/session", timeout=20) as answer:
            token = json.load(answer)["token"]
        form = urllib.parse.urlencode({"token": token, "source": "twin", "do": "watch"}).encode()
        asked = urllib.request.Request(f"{home}/live", form, {"Origin": home})
        urllib.request.urlopen(asked, timeout=20).close()
        with urllib.request.urlopen(f"{home}/api/live/events", timeout=20) as stream:
            assert stream.readline() == b"retry: 300\n"
            bench.send_signal(signal.SIGINT)
            _, said = bench.communicate(timeout=10)
    finally:
        bench.kill()
    assert "Traceback" not in said


def test_no_stream_where_nothing_is_watched(live):
    assert live.get("/api/live/events").status_code == 404
    assert live.get("/api/live").json()["running"] is False


def led_through(client, watching, put=None) -> None:
    """Do at the stand-in what the page asks for, as a person would, until it is through."""

    def by_page(actor: str, position: str) -> None:
        send(client, "/live/move", put=f"{actor} {position}")

    put = put or by_page
    done = 0
    while not watching.view.finished:
        asked = until(lambda: watching.view.asked or watching.view.finished)
        if asked is True:
            return
        if watching.view.doubted is not None:
            send(client, "/live/say", said="done")
            until(lambda: watching.view.doubted is None)
        elif asked["step"] > done:
            done = asked["step"]
            put(asked["actor"], asked["position"])
        time.sleep(0.02)


def test_a_sound_cell_is_led_through(live):
    watching = begin(live, do="checkout")
    led_through(live, watching)
    answered = watching.view.answered
    page = text_of(live.get("/live"))
    assert f"{len(answered)} actions, 0 wrong" in page
    assert "Find what explains it" not in page
    # what a checkout is for: each input seen once at both levels, whoever moves how many of them
    inputs = [s.name for s in watching.cell.signals.values() if s.on is not None]
    shown = {(i["signal"], i["on"]) for a in answered for i in a["inputs"]}
    assert shown == {(name, on) for name in inputs for on in (True, False)}
    # and no move of a person is asked for twice
    asked = [(a["actor"], a["position"]) for a in answered]
    assert len(set(asked)) == len(asked)


def test_a_hidden_fault_is_caught_and_leads_to_find(live, monkeypatch):
    monkeypatch.setattr("ringout.web.watching.KINDS", {"": ("swap",)})
    watching = begin(live, do="checkout", hide="1", seed="19")
    assert watching.hidden
    page = live.get("/live").text
    assert not any(text in page for text in watching.hidden)  # not before the end
    led_through(live, watching)
    assert any(not a["right"] for a in watching.view.answered)
    page = live.get("/live")
    assert 'action="/find"' in page.text
    for sentence in watching.view.evidence:
        assert f'name="seen" value="{sentence}"' in page.text
    send(live, "/live/stop", do="stop")
    assert watching.hidden[0] in text_of(live.get("/live"))
    send(live, "/live/stop", do="new")
    assert "On a stand-in" in text_of(live.get("/live"))


@contextmanager
def controller(cell_file, *words: str):
    """Yield the hand at a stand-in outside the bench, read where the file says."""
    port = free_port()
    with cell_file.open("a", encoding="utf-8") as file:
        file.write(f"\nlive:\n  K1: {{modbus: '127.0.0.1:{port}', inputs: 0}}\n")
    twin = subprocess.Popen(
        [sys.executable, "-m", "ringout", "twin", str(cell_file), *words],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip

    def put(actor: str, position: str) -> None:
        twin.stdin.write(f"{actor} {position}\n")
        twin.stdin.flush()

    try:
        assert "K1 is served" in twin.stdout.readline()
        yield put
    finally:
        twin.communicate("quit\n", timeout=20)


def test_what_the_machine_answers_is_stored_under_the_name(live, cell_file):
    with controller(cell_file, "--fault", "swap W1 W2@K1-X1/X2") as put:
        answer = send(live, "/live", source="file", do="checkout", who="Ada")
        assert "Ada" in answer.headers["set-cookie"]
        watching = watch_of(live)
        led_through(live, watching, put)
    page = live.get("/live").text
    number = watching.view.run
    assert f'href="/records/run/{number}"' in page
    with open_store(str(cell_file)) as store:
        state = store.state_of(number)
        assert (state.state, state.run.source, state.run.who) == ("failed", "live", "Ada")
        assert state.run.meter == "K1 over modbus"
        kept = [(s.step.do, s.last.text, s.last.verdict) for s in store.steps_of(number)]
        told = [
            (f"{a['actor']} {a['position']}", a["text"], "right" if a["right"] else "wrong")
            for a in watching.view.answered
        ]
        assert [k[1:] for k in kept] == [t[1:] for t in told]
        assert [s.step.key for s in store.steps_of(number)] == [f"live {t[0]}" for t in told]
        assert store.verify().holds


@pytest.mark.parametrize("fields", [{"source": "twin", "who": "Ada"}, {"source": "file"}])
def test_neither_practice_nor_what_nobody_signs_is_stored(live, cell_file, fields):
    with controller(cell_file):
        send(live, "/live", do="checkout", **fields)
        assert watch_of(live).led is None
        said = text_of(live.get("/live"))
        assert ("Practice is not stored." in said) == (fields["source"] == "twin")
        assert ("no name was given" in said) == (fields["source"] == "file")


def test_records_that_cannot_be_used_end_the_checkout_with_a_cure(live, cell_file):
    live.app.app.state.session.records = f"sqlite:///{cell_file}"  # the cell is no database
    with controller(cell_file) as put:
        send(live, "/live", source="file", do="checkout", who="Ada")
        watching = watch_of(live)
        asked = until(lambda: watching.view.asked)
        put(asked["actor"], asked["position"])
        until(lambda: watching.problem)
    message, cure = watching.problem
    page = text_of(live.get("/live"))
    for said in (message, cure):
        assert f"{said[0].upper()}{said[1:]}." in page
    assert watching.view.answered == []  # nothing is told as done that is not kept


def test_nothing_moved_is_asked_back_and_what_is_left_out_stays_open(live, cell_file, monkeypatch):
    defaults = LiveCheckout.__init__.__defaults__
    monkeypatch.setattr(
        LiveCheckout.__init__, "__defaults__", tuple(0.5 if d == WAIT_S else d for d in defaults)
    )
    with controller(cell_file) as put:
        send(live, "/live", source="file", do="checkout", who="Ada")
        watching = watch_of(live)
        until(lambda: watching.view.doubted)
        assert "nothing moved. Was it done?" in text_of(live.get("/live"))
        send(live, "/live/say", said="whatever")  # none of the three answers: nothing happens
        assert watching.view.doubted is not None
        send(live, "/live/say", said="again")
        asked = until(lambda: watching.view.doubted is None and watching.view.asked)
        assert asked["step"] == 1
        until(lambda: watching.view.doubted)
        send(live, "/live/say", said="skip")
        first = until(lambda: watching.view.answered)[0]
        assert (first["step"], first["verdict"]) == (1, "left out")
        assert watching.view.run == 0  # what was left out is no reading
        asked = until(lambda: (watching.view.asked or {}).get("step") == 2 and watching.view.asked)
        put(asked["actor"], asked["position"])
        until(lambda: len(watching.view.answered) == 2 or watching.view.doubted)
        if watching.view.doubted:  # S1 was at rest already
            send(live, "/live/say", said="done")
            until(lambda: len(watching.view.answered) == 2)
    with open_store(str(cell_file)) as store:
        states = [s.state for s in store.steps_of(until(lambda: watching.view.run))]
    assert states[0] == "open"
    assert states[1] != "open"


def test_a_controller_of_the_file_that_is_away_is_told(live, cell_file):
    port = free_port()
    with cell_file.open("a", encoding="utf-8") as file:
        file.write(f"\nlive:\n  K1: {{modbus: '127.0.0.1:{port}', inputs: 0}}\n")
    assert f"K1: modbus, 127.0.0.1:{port}" in text_of(live.get("/live"))
    send(live, "/live", source="file", do="watch")
    watching = watch_of(live)
    until(lambda: watching.view.connections)
    page = text_of(live.get("/live"))
    assert "cannot be reached" in page
    assert "It is tried again" in page


def test_a_secret_that_is_missing_is_asked_for_by_name(live, cell_file, monkeypatch):
    monkeypatch.delenv("RINGOUT_PASSWORD", raising=False)
    line = (
        "{opcua: 'opc.tcp://127.0.0.1:1', user: setter, security: none, inputs: 'ns=2;s={channel}'}"
    )
    with cell_file.open("a", encoding="utf-8") as file:
        file.write(f"\nlive:\n  K1: {line}\n")
    send(live, "/live", source="file", do="watch")
    until(lambda: watch_of(live).problem)
    assert "RINGOUT_PASSWORD_K1" in text_of(live.get("/live"))


def test_what_writes_needs_the_token(live):
    for path in ("/live", "/live/move", "/live/say", "/live/stop"):
        answer = live.post(path, data={"token": "wrong", "put": "S1 pressed"}, headers=SEND)
        assert answer.status_code == 403


@pytest.mark.parametrize("put", ["", "S1", "S9 pressed", "S1 nowhere", "K1.O1 on off"])
def test_a_move_that_cannot_be_does_nothing(live, put):
    watching = begin(live, do="watch")
    before = watching.state()
    send(live, "/live/move", put=put)
    assert watching.state() == before


def test_two_watches_do_not_stand_side_by_side():
    cell = run.load(str(DEMO)).cell
    first = Watching(cell, Order("twin"))
    first.begin()
    until(lambda: first.view.connections)
    first.stop()
    assert not first.running
    assert first.after(0)[-1][1] == {"kind": "ended"}
    # a server on the usual places is what the page's own stand-in is
    link = plain_link(cell, "K1", "modbus", f"127.0.0.1:{free_port()}")
    assert set(ModbusTwin(Twin(cell), link).inputs) == {f"I{n}" for n in range(1, 17)}
