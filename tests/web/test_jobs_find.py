"""The search on the bench: picking, typing, culprits, contradictions, the next look."""

from __future__ import annotations

import html
import re
from urllib.parse import parse_qsl, urlencode, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ringout import run
from ringout.find.words import understand_all
from ringout.web.exchange import Ask
from ringout.web.seen import SHOWN, pickable, picked
from tests.web.conftest import DEMO, text_of, when_done
from tests.web.test_fuzz import TEXT, sayable

SEEN = "start_lidding off while S1 pressed"


@pytest.fixture(scope="module")
def cell():
    return run.load(str(DEMO)).cell


def search(client, *sentences: str):
    return when_done(client, f"/find?{urlencode([('seen', s) for s in sentences])}")


def test_culprits_are_those_of_the_command(still, cell):
    found = run.finder(cell).find(understand_all(cell, SEEN)[0])
    page = search(still, SEEN)
    shown = re.findall(r'<strong class="percent">([\d.]+) %', page.text)
    assert len(shown) == min(len(found.culprits), 12)
    assert float(shown[0]) == pytest.approx(100 * found.culprits[0].probability, abs=1)
    assert found.culprits[0].faults[0].id in html.unescape(page.text)
    assert found.next is not None
    assert found.next.do in text_of(page)


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"pick": "signal", "what": "start_lidding", "shown": "off", "while": "S1 pressed"}, SEEN),
        (
            {"pick": "meter", "red": "K1-X1:4", "black": "K1-X1:3", "reading": "0.4", "unit": "V",
             "while": "S1 pressed"},
            "K1-X1:4 to K1-X1:3 = 0.4 V while S1 pressed",
        ),
        (
            {"pick": "meter", "red": "K1-X1:4", "black": "K1-X1:3", "as": "open"},
            "K1-X1:4 to K1-X1:3 = open",
        ),
        ({"pick": "lamp", "what": "B6", "shown": "lit", "while": "B6 target"},
         "lamp of B6 lit while B6 target"),
        ({"pick": "load", "what": "Q1", "shown": "at rest", "while": "K1.O1 on"},
         "Q1 at rest while K1.O1 on"),
        ({"pick": "say", "say": "replaced B1, no change"}, "replaced B1, no change"),
    ],
)  # fmt: skip
def test_a_pick_becomes_a_sentence_in_the_address(still, fields, sentence):
    answer = still.get(f"/find?{urlencode(fields)}")
    assert answer.status_code == 303
    assert parse_qsl(urlsplit(answer.headers["location"]).query) == [("seen", sentence)]


def test_everything_that_can_be_picked_is_understood(cell):
    """No choice of the forms leads to a sentence that is asked back."""
    can = pickable(cell)
    for kind, names in (("signal", can.signals), ("lamp", can.lamps), ("load", can.loads)):
        for name in names:
            for word in SHOWN[kind]:
                ask = Ask("/find", {}, (("pick", kind), ("what", name), ("shown", word)))
                text = picked(ask)
                found, problems = understand_all(cell, text)
                assert found, (text, problems)
                assert not problems, text
    for state in can.states:
        found, problems = understand_all(cell, f"start_lidding on while {state}")
        assert found, problems
        assert not problems


def test_what_is_missing_or_unknown_is_said_with_the_cure(still):
    page = still.get("/find?pick=signal&what=&shown=off")
    assert page.status_code == 400
    assert "something is still missing" in text_of(page)
    page = still.get("/find?" + urlencode({"pick": "say", "say": "start_liding off"}))
    assert page.status_code == 400
    assert "start_lidding" in text_of(page)  # what was meant
    page = text_of(search(still, "K1-X1:4 to nowhere = 3 V", SEEN))
    assert "nowhere" in page


def test_contradictions_stand_first(still):
    volts = "K1-X1:4 to K1-X1:3 = 24.1 V while S1 pressed"
    sentences = (SEEN, volts, "start_lidding on while S1 pressed")
    page = search(still, *sentences)
    text = page.text
    assert 0 < text.index("Does not go together") < text.index('id="h-next"')


def test_a_healthy_cell_is_said(still):
    assert "what a healthy cell shows" in text_of(search(still, "start_lidding off"))


def test_one_observation_is_taken_back(still):
    page = search(still, SEEN, "lamp of S1 dark")
    links = re.findall(r'href="(/find[^"]*)" aria-label="Take back', page.text)
    assert len(links) == 2
    left = [parse_qsl(urlsplit(html.unescape(link)).query) for link in links]
    assert [("seen", "lamp of S1 dark")] in left
    assert [("seen", SEEN)] in left


def test_a_core_that_is_open_is_found_by_following_the_bench(still, cell):
    """Answer each next look as the cell with `open W1:BK@S1` would; the bench must name it.

    What it would show is solved here by the predictor of looks, not by the page.
    """
    from ringout.circuit.compile import compile_circuit
    from ringout.circuit.faults import find_fault, single_faults
    from ringout.findings.looks import Predictor
    from ringout.web.seen import sentence_of

    fault = find_fault(single_faults(compile_circuit(cell)), "open W1:BK@S1")
    eye = Predictor(cell)
    sentences = [SEEN]
    finder = run.finder(cell)
    for _ in range(12):
        page = search(still, *sentences)
        seen = [o for s in sentences for o in understand_all(cell, s)[0]]
        found = finder.find(seen)
        if found.next is None:
            break
        look = found.next.look
        typ = float(eye.see(look, [fault]).typ[0])
        if look.by_meter:
            unit = "Ω" if look.kind == "ohms" else "V"
            fields = dict(
                re.findall(
                    r'type="hidden" name="(pick|red|black|meter|while|lifted)" '
                    r'value="([^"]*)"',
                    page.text.split('id="h-next"')[1],
                )
            )
            fields["reading"] = "open" if typ == float("inf") else f"{typ:.2f}"
            query = {**{k: html.unescape(v) for k, v in fields.items()}, "unit": unit}
            query.pop("reading") if fields["reading"] == "open" else None
            query |= {"as": "open"} if fields["reading"] == "open" else {}
            pairs = [("seen", s) for s in sentences] + list(query.items())
            answer = still.get(f"/find?{urlencode(pairs)}")
            assert answer.status_code == 303, text_of(answer)
            sentences = [v for _, v in parse_qsl(urlsplit(answer.headers["location"]).query)]
        else:
            sentences.append(sentence_of(look, look.words[round(typ)]))
            assert html.escape(urlencode([("seen", sentences[-1])]), quote=True) in page.text
    page = search(still, *sentences)
    first = page.text.split('<ol class="culprits">')[1].split("</li>")[0]
    assert "open W1:BK@S1" in html.unescape(first)


@given(
    query=st.lists(
        st.tuples(
            st.sampled_from(["seen", "pick", "say", "what", "shown", "while", "and", "red", "black",
                             "reading", "unit", "as", "lifted", "meter"]),
            TEXT | st.sampled_from(["meter", "signal", "lamp", "load", "say", "open", "off"]),
        ),
        max_size=6,
    )
)  # fmt: skip
def test_any_question_is_answered(still, query):
    pairs = [(k, v) for k, v in query if sayable(v) and (k != "seen" or len(v) < 3)]
    assert still.get("/find", params=pairs).status_code in (200, 303, 400)
