"""The exercise: a fault is hidden, measured for and named; nothing tells it before the end."""

from __future__ import annotations

import html
import itertools
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout import run
from ringout.find.words import understand_all
from ringout.findings.looks import Look, Predictor
from ringout.web.exercise import Exercises, Wanted, hide, measure, visible
from ringout.web.least import least_looks, smallest_cover
from tests.web.conftest import DEMO, HOME, text_of, when_done

SEND = {"origin": HOME}
TOKEN = {"X-Bench-Token": "right-token"}


@pytest.fixture(scope="module")
def cell():
    return run.load(str(DEMO)).cell


@pytest.fixture(scope="module")
def table(cell):
    return run.faults(cell)


def begin(client, seed: str = "") -> str:
    data = {"token": "right-token", "seed": seed}
    answer = client.post("/exercise", data=data, headers=SEND)
    assert answer.status_code == 303
    where = answer.headers["location"]
    when_done(client, where)
    return where


def send(client, path: str, **fields):
    return client.post(path, data={"token": "right-token", **fields}, headers=SEND)


def hidden_in(client, where: str):
    """Return the exercise itself, as only the bench sees it."""
    exercises = client.app.app.state.session.kept.get("exercises", Exercises)
    return exercises.get(where.rpartition("/")[2])


def test_nothing_tells_the_fault_before_the_end(still):
    """Address, page, every answer and every API path are read for its name and text."""
    where = begin(still)
    fault = hidden_in(still, where).fault
    token = where.rpartition("/")[2]
    send(still, f"{where}/measure", red="T1:+", black="T1:-", do="measure")
    send(still, f"{where}/measure", do="look")
    other = next(i for i in ("S4", "B7", "P1") if i not in fault.items)
    told = [
        where,
        still.get(where).text,
        still.get(f"{where}?about={other}").text,
        still.get(f"/api/exercise/{token}").text,
        still.get("/api/session").text,
        still.get("/exercise").text,
        send(still, f"{where}/name", fault="no such fault").text,
        send(still, f"{where}/measure", red="nowhere", black="T1:-", do="measure").text,
    ]
    for text in map(html.unescape, told):
        assert fault.id not in text
        assert fault.text not in text
    assert still.get(f"/api/exercise/{token}").json()["least"] is None


def test_readings_are_those_of_a_cell_with_the_fault(still, cell):
    where = begin(still, "a word")
    fault = hidden_in(still, where).fault
    eye = Predictor(cell)
    for red, black in (("T1:+", "T1:-"), ("K1-X1:4", "K1-X1:3"), ("K1-X2:4", "K1-X2:3")):
        answer = send(still, f"{where}/measure", red=red, black=black, do="measure")
        assert answer.status_code == 303
        page = still.get(answer.headers["location"].partition("#")[0])
        figure = re.search(r'<output class="display">([^<]*)<', page.text)[1]
        a, b = (
            understand_all(cell, f"{red} to {black} = 0 V")[0][0].look.a,
            understand_all(cell, f"{red} to {black} = 0 V")[0][0].look.b,
        )
        volts = float(eye.see(Look("volts", a, b), [fault]).typ[0])
        assert float(figure.split()[0]) == pytest.approx(volts, abs=0.06)
    assert "Readings and looks 3" in text_of(still.get(where))


def test_the_one_who_names_it_has_found_it(still):
    where = begin(still, "friday")
    exercise = hidden_in(still, where)
    wrong = "swap W30:BN W30:BU@T1"
    send(still, f"{where}/name", fault=wrong)
    page = still.get(where)
    assert f"Not it: {wrong}" in text_of(page)
    send(still, f"{where}/name", fault=exercise.fault.id)
    page = text_of(when_done(still, where))
    assert f"Found: {exercise.fault.text}" in page
    assert re.search(r"The least possible: \d|the complaint alone|More than six", page)
    assert "Named wrongly 1" in page
    assert send(still, f"{where}/measure", do="look").status_code == 400
    told = still.get(f"/api{where}").json()
    assert (told["end"], told["fault"]) == ("found", exercise.fault.id)


def test_giving_up_tells_it(still):
    where = begin(still, "sunday")
    send(still, f"{where}/name", do="give up")
    assert hidden_in(still, where).fault.text in text_of(still.get(where))


def test_the_same_word_hides_the_same_fault(still):
    first, second = begin(still, "monday"), begin(still, "monday")
    assert first != second
    assert hidden_in(still, first).fault == hidden_in(still, second).fault


def test_only_what_is_seen_and_harms_nothing_is_hidden(table, cell):
    exercises, kinds = Exercises(), set()
    for k in range(60):
        one = exercises.begin(f"word {k}", "key")
        assert hide(one, table)
        row = next(r for r in table.rows if r.fault is one.fault)
        assert not row.harm
        assert any(e.kind in ("level", "moves") for e in row.effects)
        assert understand_all(cell, one.sentence)[0]
        kinds.add(one.fault.kind)
    assert len(kinds) >= 6
    assert len(visible(table)) > 100


def test_an_exercise_is_forgotten_not_mixed_up(still):
    assert still.get("/exercise/none").status_code == 404
    assert still.get("/api/exercise/none").status_code == 404
    assert send(still, "/exercise/none/measure", do="look").status_code == 404


def test_a_changed_file_ends_it(bench, cell_file):
    where = begin(bench)
    cell_file.write_text(cell_file.read_text().replace("note: start lidding", "note: begin"))
    page = bench.get(where)
    assert page.status_code == 404
    assert "The file has changed" in text_of(page)


@pytest.mark.parametrize("path", ["", "/measure", "/name"])
def test_nothing_is_done_without_the_token(still, path):
    where = begin(still) if path else "/exercise"
    assert still.post(f"{where}{path}", data={}, headers=SEND).status_code == 403
    assert still.post(f"/api{where}{path}", json={}).status_code == 403


def test_it_goes_by_json_too(still):
    token = still.post("/api/exercise", json={"seed": "x"}, headers=TOKEN).json()["token"]
    told = when_done(still, f"/api/exercise/{token}").json()
    assert told["complaint"]
    path = f"/api/exercise/{token}"
    body = {"red": "T1:+", "black": "T1:-", "while": "S1 pressed"}
    told = still.post(f"{path}/measure", json=body, headers=TOKEN).json()
    assert told["taken"][0]["seen"][""].endswith("V")
    told = still.post(f"{path}/measure", json={}, headers=TOKEN).json()
    assert told["taken"][1]["seen"]["start_lidding"] in ("off", "undefined", "on")
    bad = still.post(f"{path}/measure", json={"red": "X9:1"}, headers=TOKEN)
    assert bad.status_code == 422


def test_core_ends_can_be_taken_off(table, cell):
    """An open core reads the same whether it is broken or taken off at that end (hand-solved)."""
    one = Exercises().begin("w", "key")
    hide(one, table)
    one.fault = next(r.fault for r in table.rows if r.fault.id == "open W1:BK@S1")
    eye = Predictor(cell)
    broken = measure(eye, one, Wanted("K1-X1:4", "K1-X1:3", states=("S1 pressed",)))
    one.fault = next(r.fault for r in table.rows if r.fault.id == "open W2:BK@S2")
    lifted = measure(
        eye, one, Wanted("K1-X1:4", "K1-X1:3", states=("S1 pressed",), lifted="W1:BK@S1")
    )
    assert broken.seen == lifted.seen


# -- the least number ---------------------------------------------------------------------------


def brute(masks, wanted, most):
    for count in range(most + 1):
        for chosen in itertools.combinations(range(len(masks)), count):
            total = 0
            for k in chosen:
                total |= masks[k]
            if total & wanted == wanted:
                return count
    return None


@given(
    masks=st.lists(st.integers(0, 255), max_size=7), wanted=st.integers(0, 255),
    most=st.integers(0, 5),
)  # fmt: skip
def test_the_smallest_cover_is_the_smallest(masks, wanted, most):
    """Checked against trying all subsets."""
    found = smallest_cover(masks, wanted, most)
    least = brute(masks, wanted, most)
    assert (found is None) == (least is None)
    if found is not None:
        assert len(found) == least
        total = 0
        for k in found:
            total |= masks[k]
        assert total & wanted == wanted


def test_the_least_number_goes_by_all_who_explain_the_complaint(cell):
    finder = run.finder(cell)
    complaint = understand_all(cell, "start_lidding off while S1 pressed")[0][0]
    least = least_looks(finder, complaint, "open W1:BK@S1")
    assert least.count is not None
    assert least.count >= 1  # more than one fault gives this complaint
    assert "open W1:BK@S1" in least.alike
    assert least.suspects > 5
    with pytest.raises(ValueError, match="no fault"):
        least_looks(finder, complaint, "nothing")
