"""The checkout on the bench: judged step by step, kept over reload and restart."""

from __future__ import annotations

import math
import re
import shutil
from contextlib import contextmanager
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from ringout import run
from ringout.find.words import understand_all
from ringout.records import UnclearReadingError, open_store, read_reading, run_steps
from ringout.records.model import RIGHT, WRONG
from ringout.web.person import Person, from_cookie, to_cookie
from ringout.web.steps import evidence_of, read_picked
from tests.web.conftest import DEMO, HOME, client_of, field_of, text_of, when_done

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
    walker.cookies.clear()
    be(walker, "Ada")
    return walker


def be(client, who: str, meter: str = "") -> None:
    """Say a name in this browser."""
    assert send(client, "/checkout/who", who=who, meter=meter).status_code == 303


@contextmanager
def other(client):
    """Yield a second browser at the same bench."""
    mate = TestClient(client.app, base_url=HOME, follow_redirects=False)
    yield mate


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
        ("", "Nothing was said"),
        ("24 V", "this step reads ohms"),
        ("many", "nothing a meter shows"),
        ("0.1 Ω to 9 MΩ", "may be right or wrong"),
        ("-4", "below nothing"),
        ("1" * 61, "longer than"),
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


@pytest.mark.parametrize("path", ["/checkout/1", "/checkout/begin", "/checkout/who"])
def test_nothing_is_kept_without_the_token(fresh, place, path):
    answer = fresh.post(path, data={"reading": "1"}, headers=SEND)
    assert answer.status_code == 403
    assert not (place.parent / ".ringout").exists()


def test_a_changed_file_asks_to_begin_anew(tmp_path, plan):
    target = tmp_path / "cell.yaml"
    shutil.copy(DEMO, target)
    with client_of(target) as client:
        when_done(client, "/checkout")
        be(client, "Ada")
        send(client, "/checkout/1", reading=good_value(plan.steps[0]))
        target.write_text(target.read_text().replace("note: start lidding", "note: begin lidding"))
        page = text_of(when_done(client, "/checkout"))
        assert "begun with another state of the file" in page
        assert send(client, "/checkout/1", reading="1").status_code == 400
        assert send(client, "/checkout/begin").status_code == 303
        assert send(client, "/checkout/1", reading="1").status_code == 303
    with open_store(target) as records:
        assert [s.run.number for s in records.runs()] == [1, 2]  # the old run stays


# -- judging, without pages ------------------------------------------------------------------


@given(share=st.floats(0, 2, allow_nan=False))
def test_the_limits_decide(plan, share):
    """A number passes exactly when it lies within the limits the step prints."""
    step = next(s for s in run_steps(plan) if s.unit == "V" and s.low > 1)
    value = round(step.low + (step.high - step.low) * (share - 0.5), 2)
    wanted = RIGHT if step.low <= value <= step.high else WRONG
    assert read_reading(step, f"{value}", "V").verdict == wanted


def test_units_and_signs(plan):
    steps = run_steps(plan)
    volts = next(s for s in steps if s.unit == "V" and s.low == -s.high)
    wide = replace(volts, low=-0.06, high=0.06)
    for text, unit, verdict in (
        ("55", "mV", RIGHT), ("-0.05", "V", RIGHT), ("0,07", "V", WRONG), ("24", "V", WRONG),
        ("60 mV", "V", RIGHT),
    ):  # fmt: skip
        assert read_reading(wide, text, unit).verdict == verdict
    ohms = replace(steps[0], low=2260.0, high=101e3)
    for text, unit, verdict in (
        ("2.3", "kΩ", RIGHT), ("4k7", "Ω", RIGHT), ("open", "Ω", WRONG), ("OL", "Ω", WRONG),
        ("0.1", "MΩ", RIGHT), ("2.3", "Ω", WRONG),
    ):  # fmt: skip
        assert read_reading(ohms, text, unit).verdict == verdict, text
    assert read_reading(replace(ohms, high=math.inf), "open", "Ω").verdict == RIGHT


@given(text=st.text(max_size=60), unit=st.sampled_from(["", "Ω", "kΩ", "MΩ", "V", "mV"]))
def test_any_text_is_judged_or_answered(plan, text, unit):
    steps = run_steps(plan)
    for step in (steps[0], next(s for s in steps if s.unit == "V")):
        try:
            verdict = read_reading(step, text, unit).verdict
        except UnclearReadingError as problem:
            verdict = RIGHT if problem.message else ""
        assert verdict in (RIGHT, WRONG)


def test_all_evidence_can_be_understood(plan, cell):
    """What a failed step hands to the search is in the search's own language."""
    for step, planned in zip(plan.steps, run_steps(plan), strict=True):
        if step.unit:
            for said in ("open", "0.2 to 0.4") if step.unit == "ohm" else ("12.3", "nothing"):
                try:
                    read = read_reading(planned, said)
                except UnclearReadingError:
                    continue  # a range across a limit is asked back
                sentences = evidence_of(step, read)
        else:
            flipped = {n: {"on": "off", "off": "on", "dark": "lit", "lit": "dark",
                           "at rest": "energised", "energised": "at rest"}[w]
                       for n, w in step.levels}  # fmt: skip
            sentences = evidence_of(step, read_picked(step, flipped))
            assert len(sentences) == len(step.levels)
        for text in sentences:
            seen, problems = understand_all(cell, text)
            assert not problems, text
            assert seen[0].look.state == step.state


# -- names, and two people --------------------------------------------------------------------


def test_a_reading_needs_a_name_and_carries_it(fresh, place, plan):
    fresh.cookies.clear()
    good = good_value(plan.steps[0])
    asked = send(fresh, "/checkout/1", reading=good)
    assert asked.status_code == 400
    assert "Say who you are" in text_of(asked)
    assert f'value="{good}"' in asked.text  # what was typed is still there
    assert not (place.parent / ".ringout").exists()
    done = send(fresh, "/checkout/1", reading=good, who=" Ada  <b> ", meter="M7")
    assert done.status_code == 303
    again = send(fresh, "/checkout/2", reading=good_value(plan.steps[1]))  # said once
    assert again.status_code == 303
    with open_store(place) as records:
        (state,) = records.runs()
        read = [r for s in records.steps_of(1) for r in s.readings]
    assert (state.run.who, state.run.meter) == ("Ada <b>", "M7")
    assert [(r.step, r.who, r.value is None) for r in read] == [
        (1, "Ada <b>", False), (2, "Ada <b>", False),
    ]  # fmt: skip
    page = fresh.get("/checkout/1")
    assert "Passed" in text_of(page)
    assert "Ada <b>" in text_of(page)
    assert "<b>" not in page.text.replace('<b aria-hidden="true">', "")


def test_two_people_see_each_others_steps(fresh, plan):
    with other(fresh) as mate:
        be(mate, "Ben")
        head = mate.get("/api/checkout/news").json()["head"]
        send(fresh, "/checkout/1", reading=good_value(plan.steps[0]))
        send(mate, "/checkout/2", reading=bad_value(plan.steps[1]))
        news = fresh.get(f"/api/checkout/news?after={head}").json()
        assert [(r["step"], r["who"], r["verdict"]) for r in news["readings"]] == [
            (1, "Ada", "right"), (2, "Ben", "wrong"),
        ]  # fmt: skip
        assert f'data-head="{news["head"]}"' in fresh.get("/checkout").text
        assert not fresh.get(f"/api/checkout/news?after={news['head']}").json()["readings"]
        for client in (fresh, mate):
            page = text_of(client.get("/checkout"))
            assert re.search(r"\b2 of \d+ steps done, ✗ 1 failed", page)
            assert re.search(r"seen: [^;]+, Ada, ", page)
            assert re.search(r"seen: [^;]+, Ben, ", page)
        send(fresh, "/checkout/2", reading=good_value(plan.steps[1]))
        page = text_of(mate.get("/checkout/2"))
        assert "Two people did not see the same" in page
        assert re.search(r"before: .*wrong: Ben", page)


def test_an_entry_that_is_sent_twice_is_stored_once(fresh, place, plan):
    once = field_of(fresh.get("/checkout/1"), "once")
    for _ in range(2):
        send(fresh, "/checkout/1", reading=good_value(plan.steps[0]), once=once)
    with open_store(place) as records:
        assert len(records.steps_of(1)[0].readings) == 1


def test_begin_anew_keeps_the_old_run_and_makes_no_empty_ones(fresh, place, plan):
    send(fresh, "/checkout/1", reading=good_value(plan.steps[0]))
    for _ in range(3):
        assert send(fresh, "/checkout/begin").status_code == 303
    assert re.search(r"\b0 of \d+ steps done", text_of(fresh.get("/checkout")))
    with open_store(place) as records:
        assert [s.right for s in records.runs()] == [1, 0]


def test_records_that_cannot_be_read_are_told(fresh, place):
    (place.parent / ".ringout").mkdir()
    (place.parent / ".ringout" / "records.db").write_bytes(b"no database" * 99)
    page = fresh.get("/checkout")
    assert page.status_code == 200
    assert "no database of records, or it is damaged" in text_of(page)
    assert send(fresh, "/checkout/1", reading="1").status_code == 400
    assert fresh.get("/api/checkout/news").status_code == 409


def test_a_folder_that_leads_elsewhere_is_refused(fresh, place, tmp_path):
    (place.parent / ".ringout").symlink_to(tmp_path)
    try:
        answer = send(fresh, "/checkout/1", reading="1")
        assert answer.status_code == 400
        assert "leads out of the folder" in text_of(answer)
        assert not list(tmp_path.iterdir())
    finally:
        (place.parent / ".ringout").unlink()


@given(st.text(max_size=90), st.text(max_size=90))
def test_a_name_survives_the_cookie(name, meter):
    kept = from_cookie(to_cookie(Person(name, meter)))
    assert from_cookie(to_cookie(kept)) == kept
    assert len(kept.name) <= 80
    assert kept.name == " ".join(kept.name.split())


@given(st.text())
def test_any_cookie_is_somebody_or_nobody(text):
    assert isinstance(from_cookie(text), Person)


def test_the_token_field_is_on_every_form(fresh):
    assert field_of(fresh.get("/checkout/1"), "token") == "right-token"
