"""The checkout on the bench: judged step by step, kept over reload and restart."""

from __future__ import annotations

import json
import math
import re
import shutil
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout import run
from ringout.find.words import understand_all
from ringout.records import open_store
from ringout.web.runs import FAIL, PASS, Entry, Runs, RunsError
from ringout.web.steps import Judged, judge_glance, judge_reading
from tests.web.conftest import DEMO, HOME, client_of, field_of, text_of
from tests.web.test_jobs_faults import when_done

SEND = {"origin": HOME}


@pytest.fixture(scope="module")
def cell():
    return run.load(str(DEMO)).cell


@pytest.fixture(scope="module")
def plan(cell):
    return run.checkout(cell)


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """Return a cell file whose checkout the tests of this module walk through."""
    target = tmp_path_factory.mktemp("walk") / "cell.yaml"
    shutil.copy(DEMO, target)
    return target


@pytest.fixture(scope="module")
def walker(place):
    with client_of(place) as client:
        when_done(client, "/checkout")
        yield client


@pytest.fixture
def fresh(walker, place):
    shutil.rmtree(place.parent / ".ringout", ignore_errors=True)
    return walker


def send(client, path: str, **fields):
    return client.post(path, data={"token": "right-token", **fields}, headers=SEND)


def good_value(step) -> str:
    """Return a reading within the limits, in ohms or volts."""
    if math.isinf(step.high):
        return "open"
    return f"{(max(step.low, 0.0) + step.high) / 2:.6g}"


def bad_value(step) -> str:
    """Return a reading outside the limits."""
    return "1" if math.isinf(step.high) else f"{step.high * 3 + 1:.0f}"


def numbers(plan, want) -> int:
    return next(n for n, s in enumerate(plan.steps, 1) if want(s))


def test_a_good_reading_passes_and_leads_on(fresh, plan):
    one = plan.steps[0]
    answer = send(fresh, "/checkout/1", reading=good_value(one), unit="Ω")
    assert (answer.status_code, answer.headers["location"]) == (303, "/checkout/2")
    assert "Passed" in text_of(fresh.get("/checkout/1"))
    assert re.search(r"\b1 of \d+ steps done", text_of(fresh.get("/checkout")))


def test_a_bad_reading_stays_and_leads_to_the_culprit(fresh, plan, cell):
    bad = bad_value(plan.steps[0])
    answer = send(fresh, "/checkout/1", reading=bad, unit="Ω")
    assert answer.headers["location"] == "/checkout/1"
    page = fresh.get("/checkout/1")
    assert "Failed" in text_of(page)
    link = re.search(r'href="(/find\?seen=[^"]+)"', page.text)
    assert link
    from urllib.parse import parse_qs, urlsplit

    seen = parse_qs(urlsplit(link[1]).query)["seen"]
    found, problems = understand_all(cell, seen[0])
    assert not problems
    assert found[0].low <= float(bad) <= found[0].high


def test_it_goes_on_after_a_restart(fresh, place, plan):
    send(fresh, "/checkout/1", reading=good_value(plan.steps[0]))
    send(fresh, "/checkout/2", reading=bad_value(plan.steps[1]))
    with client_of(place) as second:
        page = text_of(when_done(second, "/checkout"))
        assert re.search(r"\b2 of \d+ steps done, ✗ 1 failed", page)
        assert "Go on with step 3" in page
        send(second, "/checkout/undo")
        assert re.search(r"\b1 of \d+ steps done", text_of(second.get("/checkout")))


def test_power_waits_for_the_dead_steps(fresh, plan):
    number = numbers(plan, lambda s: s.phase == "power")
    assert "Do not switch on yet" in text_of(fresh.get(f"/checkout/{number}"))


def test_a_glance_is_entered_by_picking(fresh, plan):
    number = numbers(plan, lambda s: s.kind == "inputs")
    step = plan.steps[number - 1]
    name, word = step.levels[0]
    other = "off" if word == "on" else "on"
    assert send(fresh, f"/checkout/{number}", shown="otherwise").status_code == 400
    send(fresh, f"/checkout/{number}", shown="otherwise", **{f"level-{name}": other})
    assert f"Failed: {name} {other}" in text_of(fresh.get(f"/checkout/{number}"))
    send(fresh, f"/checkout/{number}", shown="expected")
    assert "Passed: as expected" in text_of(fresh.get(f"/checkout/{number}"))


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "Type what the display shows"),
        ("24 V", "reads ohms"),
        ("many", "nothing a meter shows"),
        ("about 3", "the one number"),
        ("-4", "below nothing"),
        ("1" * 60, "longer than"),
    ],
)
def test_what_is_no_reading_is_said(fresh, typed, words):
    answer = send(fresh, "/checkout/1", reading=typed, unit="Ω")
    assert answer.status_code == 400
    assert words in text_of(answer)


@pytest.mark.parametrize("number", ["0", "x", "-1", "99999999", "500"])
def test_no_such_step(fresh, number):
    assert fresh.get(f"/checkout/{number}").status_code == 404
    assert send(fresh, f"/checkout/{number}", reading="1").status_code == 404


@pytest.mark.parametrize("path", ["/checkout/1", "/checkout/begin", "/checkout/undo"])
def test_nothing_is_kept_without_the_token(fresh, place, path):
    answer = fresh.post(path, data={"reading": "1"}, headers=SEND)
    assert answer.status_code == 403
    assert not (place.parent / ".ringout").exists()


def test_a_changed_file_asks_to_begin_anew(tmp_path, plan):
    target = tmp_path / "cell.yaml"
    shutil.copy(DEMO, target)
    with client_of(target) as client:
        when_done(client, "/checkout")
        send(client, "/checkout/1", reading=good_value(plan.steps[0]))
        target.write_text(target.read_text().replace("note: start lidding", "note: begin lidding"))
        page = text_of(when_done(client, "/checkout"))
        assert "begun with another state of the file" in page
        assert send(client, "/checkout/1", reading="1").status_code == 400
        assert send(client, "/checkout/begin").status_code == 303
        assert len(list((tmp_path / ".ringout").glob("*.json"))) == 2  # the old run is put aside
        assert send(client, "/checkout/1", reading="1").status_code == 303


# -- judging, without pages ------------------------------------------------------------------


@given(share=st.floats(0, 2, allow_nan=False))
def test_the_limits_decide(plan, share):
    """A number passes exactly when it lies within the limits the step prints."""
    step = next(s for s in plan.steps if s.unit == "V" and s.low > 1)
    value = round(step.low + (step.high - step.low) * (share - 0.5), 2)
    found = judge_reading(step, f"{value}", "V")
    assert isinstance(found, Judged)
    assert found.verdict == (PASS if step.low <= value <= step.high else FAIL)


def test_units_and_signs(plan):
    volts = next(s for s in plan.steps if s.unit == "V" and s.low == -s.high)
    wide = replace(volts, low=-0.06, high=0.06)
    for text, unit, verdict in (
        ("55", "mV", PASS), ("-0.05", "V", PASS), ("0,07", "V", FAIL), ("24", "V", FAIL),
        ("60 mV", "V", PASS),
    ):  # fmt: skip
        assert judge_reading(wide, text, unit).verdict == verdict
    ohms = replace(plan.steps[0], low=2260.0, high=101e3)
    for text, unit, verdict in (
        ("2.3", "kΩ", PASS), ("4k7", "Ω", PASS), ("open", "Ω", FAIL), ("OL", "Ω", FAIL),
        ("0.1", "MΩ", PASS), ("2.3", "Ω", FAIL),
    ):  # fmt: skip
        assert judge_reading(ohms, text, unit).verdict == verdict, text
    over = replace(ohms, high=math.inf)
    assert judge_reading(over, "open", "Ω").verdict == PASS


@given(text=st.text(max_size=60), unit=st.text(max_size=4))
def test_any_text_is_judged_or_answered(plan, text, unit):
    for step in (plan.steps[0], next(s for s in plan.steps if s.unit == "V")):
        found = judge_reading(step, text, unit)
        assert isinstance(found, Judged | str)


def test_all_evidence_can_be_understood(plan, cell):
    """What a failed step hands to the search is in the search's own language."""
    for step in plan.steps:
        if step.unit:
            found = judge_reading(step, "open" if step.unit == "ohm" else "12.3", "V")
            sentences = found.evidence
        else:
            flipped = {n: {"on": "off", "off": "on", "dark": "lit", "lit": "dark",
                           "at rest": "energised", "energised": "at rest"}[w]
                       for n, w in step.levels}  # fmt: skip
            sentences = judge_glance(step, flipped).evidence
            assert len(sentences) == len(step.levels)
        for text in sentences:
            seen, problems = understand_all(cell, text)
            assert not problems, text
            assert seen[0].look.state == step.state


# -- the file it is kept in -------------------------------------------------------------------


def test_what_is_written_is_read_back(tmp_path):
    runs = Runs(tmp_path / "cell.yaml")
    assert runs.current() is None
    run_ = runs.begin("d" * 64)
    for n in range(3):
        run_ = runs.add(run_, Entry(n, "c", "0.3 Ω", PASS, ("x",), "2026-01-01 00:00:00"))
    assert Runs(tmp_path / "cell.yaml").current() == run_
    assert runs.take_back(run_).entries == run_.entries[:-1]


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"format": 2}', '{"format": 1, "entries": [3]}',
             '{"format": 1, "entries": [], "digest": 4, "begun": ""}', "[" * 5000, "\ud7ff\x00"],
)  # fmt: skip
def test_a_broken_run_is_said_and_can_be_put_aside(tmp_path, text):
    runs = Runs(tmp_path / "cell.yaml")
    runs.folder.mkdir()
    runs.path.write_text(text, "utf-8")
    with pytest.raises(RunsError, match="Begin anew"):
        runs.current()
    runs.begin("d")
    assert runs.current().digest == "d"
    assert len(list(runs.folder.iterdir())) == 2


def test_a_folder_that_leads_elsewhere_is_refused(tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "here").mkdir()
    (tmp_path / "here" / ".ringout").symlink_to(tmp_path / "elsewhere")
    runs = Runs(tmp_path / "here" / "cell.yaml")
    with pytest.raises(RunsError, match="leads out"):
        runs.begin("d")
    assert not list((tmp_path / "elsewhere").iterdir())


def test_a_kill_while_writing_loses_nothing(tmp_path, monkeypatch):
    """The old file stands until the new one is whole: what is half written is beside it."""
    runs = Runs(tmp_path / "cell.yaml")
    run_ = runs.begin("d")
    entry = Entry(1, "c", "0.3 Ω", PASS, (), "2026-01-01 00:00:00")

    def stop(self, target):
        raise OSError("killed here")

    monkeypatch.setattr("pathlib.Path.replace", stop)
    with pytest.raises(RunsError, match="cannot be written"):
        runs.add(run_, entry)
    assert runs.current() == run_
    assert json.loads(runs.path.read_text())["entries"] == []


def test_the_token_field_is_on_every_form(fresh):
    assert field_of(fresh.get("/checkout/1"), "token") == "right-token"


def test_what_was_entered_is_stored_once_under_a_name(fresh, plan, place):
    asked = send(fresh, "/checkout/store", who="Ada")
    assert asked.status_code == 409
    assert "Nothing was entered yet" in text_of(asked)
    for number in (1, 2):
        send(fresh, f"/checkout/{number}", reading=good_value(plan.steps[number - 1]))
    assert send(fresh, "/checkout/store", who=" ").status_code == 422
    for _ in range(2):
        done = send(fresh, "/checkout/store", who="Ada", meter="M7")
        assert done.headers["location"] == "/records/run/1"
    send(fresh, "/checkout/3", reading=good_value(plan.steps[2]))
    assert send(fresh, "/checkout/store", who="Ben").headers["location"] == "/records/run/1"
    with open_store(place) as records:
        (state,) = records.runs()
        read = [r for s in records.steps_of(1) for r in s.readings]
    assert (state.right, state.wrong) == (3, 0)
    assert [(r.step, r.turn, r.who) for r in read] == [(1, 1, "Ada"), (2, 1, "Ada"), (3, 1, "Ben")]
