"""Live checkout against the twin: the right input, a swap caught and named, a bounce counted."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest

from ringout import run
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import find_fault, single_faults
from ringout.find import Finder
from ringout.find.words import understand_all
from ringout.live import Change, Connection, Twin
from ringout.live.actions import Answered, Asked, Doubt, LiveCheckout, Unasked, actions_of
from ringout.live.judge import (
    FLICKER,
    INVERTED,
    NONE,
    RIGHT,
    SEVERAL,
    SKIPPED,
    WRONG,
    evidence,
    judge,
)

CELL = "examples/caddy-lidder/corrected.yaml"


@pytest.fixture(scope="module")
def cell():
    return run.load(CELL).cell


class Scripted:
    """Events that come as soon as an action is asked for; time passes only when they are read."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.coming: list = []

    def clock(self) -> float:
        return self.now_s

    async def get(self, timeout_s: float):
        if self.coming and self.coming[0].at_s <= self.now_s + timeout_s:
            event = self.coming.pop(0)
            self.now_s = max(self.now_s, event.at_s)
            return event
        self.now_s += timeout_s
        raise TimeoutError


def worked_through(cell, twin, late_s=0.0):
    """Return what a checkout tells while each action is done on the twin when it is asked for."""
    source = Scripted()
    told = []

    async def scene():
        for item in ("K1", "K2"):
            levels = tuple((c, on) for (i, c), on in twin.levels.items() if i == item)
            source.coming.append(Connection(item, True, f"{item} is read", "", 0.0, levels))
        checkout = LiveCheckout(cell, source, wait_s=5.0, clock=source.clock)
        async for event in checkout.run(list(actions_of(cell))):
            told.append(event)
            if isinstance(event, Asked):
                twin.move(event.action.actor, event.action.position)
                begin = twin.now_s
                for item, channel, on in twin.advance(0.2):
                    at = source.now_s + late_s + twin.now_s - begin
                    source.coming.append(Change(item, channel, on, at))

    asyncio.run(scene())
    return [e for e in told if isinstance(e, Answered)]


def verdicts(answered):
    return {f"{e.action.actor} {e.action.position}": e.answer for e in answered}


def test_the_healthy_cell_passes_every_action(cell):
    answers = worked_through(cell, Twin(cell))
    assert len(answers) > 15
    assert [(e.action.ask, e.answer.text) for e in answers if e.answer.verdict != RIGHT] == []


@pytest.fixture(scope="module")
def finder(cell):
    return Finder(cell)  # keeps what it has solved


def fault_of(cell, name):
    found = find_fault(single_faults(compile_circuit(cell)), name)
    assert found is not None, name
    return found


CAUGHT = {
    # hidden fault: (action, verdict, words of the answer)
    "swap W3:BK W3:WH@K1": ("S3 right", WRONG, "cores on K1-X8:4 and K1-X8:2 exchanged"),
    "open W1:BK@S1": ("S1 pressed", NONE, "start_lidding on was wanted"),
    "short K1-X1:1-K1-X1:4": ("S1 released", NONE, "start_lidding stays on"),
    "welded S2.contact": ("S2 released", NONE, "finish_cycle stays on"),
}


@pytest.mark.parametrize("hidden", list(CAUGHT))
def test_a_hidden_fault_is_caught_and_find_names_it(cell, finder, hidden):
    fault = fault_of(cell, hidden)
    answers = worked_through(cell, Twin(cell, [fault]))
    action, verdict, words = CAUGHT[hidden]
    answer = verdicts(answers)[action]
    assert answer.verdict == verdict
    assert words in answer.text
    assert {e.action.actor for e in answers if e.answer.verdict != RIGHT} == {action.split()[0]}
    seen = []
    for text in evidence(e.answer for e in answers):
        found, problems = understand_all(cell, text)
        assert not problems
        seen += found
    found = finder.find(seen)
    assert not found.contradictions
    first = [f.id for c in found.culprits for f in c.faults]
    assert fault.id in first
    if fault.kind == "swap":
        assert found.culprits[0].probability > 0.9


@pytest.mark.parametrize(
    ("wanted", "changes", "verdict"),
    [
        ({"I1": True}, [("I1", True)], RIGHT),
        ({"I1": True}, [("I1", True), ("I1", False), ("I1", True)], RIGHT),  # bounce, 40 ms
        ({"I1": True}, [], NONE),
        ({"I1": True}, [("I2", True)], WRONG),
        ({"I1": True, "I2": False}, [("I1", False), ("I2", True)], WRONG),
        ({"I1": True}, [("I1", True), ("I2", True)], SEVERAL),
        ({"I1": True}, [("I1", False)], INVERTED),
        ({"I1": True, "I2": False}, [("I1", True)], NONE),
        ({"I1": True}, [("I1", n % 2 == 0) for n in range(7)], FLICKER),
        ({}, [], RIGHT),
        ({}, [("I2", True)], SEVERAL),
    ],
)
def test_verdicts(cell, wanted, changes, verdict):
    events = [Change("K1", c, on, 0.02 * n) for n, (c, on) in enumerate(changes)]
    answer = judge(cell, {("K1", c): on for c, on in wanted.items()}, events, "S1 pressed")
    assert answer.verdict == verdict
    assert answer.text


def test_a_wrong_channel_names_both_places(cell):
    answer = judge(cell, {("K1", "I5"): True}, [Change("K1", "I13", True, 0.0)], "B4 target")
    # docs of the demo cell: offset panel, channel 5 on pin 4 and channel 13 on pin 2 of socket 5
    assert "clamp_closed instead of clamp_open" in answer.text
    assert "cores on K1-X5:4 and K1-X5:2 exchanged" in answer.text
    assert answer.exchanged == ((("K1", "I5"), ("K1", "I13")),)
    far = judge(cell, {("K1", "I1"): True}, [Change("K1", "I6", True, 0.0)], "S1 pressed")
    assert "a plug one socket off" in far.text


def test_bounce_of_one_input_is_no_flicker_because_another_came_later(cell):
    wanted = {("K1", "I1"): True, ("K1", "I2"): True}
    came = [("I1", True, 0.0), ("I1", False, 0.004), ("I1", True, 0.008), ("I2", True, 0.2)]
    answer = judge(cell, wanted, [Change("K1", *c) for c in came], "")
    assert answer.verdict == RIGHT
    assert answer.counts == {("K1", "I1"): 3, ("K1", "I2"): 1}
    assert answer.span_s == pytest.approx(0.2)


def scripted(cell, script, actions, **more):
    """Return what a checkout tells when each action is followed by given (channel, on, after s)."""
    source = Scripted()
    source.coming.append(Connection("K1", True, "K1 is read", "", 0.0, (("I1", False),)))
    left = [list(s) for s in script]
    told = []

    async def scene():
        checkout = LiveCheckout(cell, source, wait_s=5.0, clock=source.clock, **more)
        async for event in checkout.run(actions):
            told.append(event)
            if isinstance(event, Asked) and left:
                for what in left.pop(0):
                    if isinstance(what, Connection):
                        source.coming.append(replace(what, at_s=source.now_s + what.at_s))
                    else:
                        channel, on, after = what
                        source.coming.append(Change("K1", channel, on, source.now_s + after))

    asyncio.run(scene())
    return told


def pressing(cell):
    return [a for a in actions_of(cell) if a.actor == "S1"]


def test_a_button_pressed_and_let_go_at_once_answers_both_steps(cell):
    told = scripted(cell, [[("I1", True, 0.4), ("I1", False, 0.6)]], pressing(cell))
    assert [type(e) for e in told if not isinstance(e, Change | Connection)] == [
        Asked,
        Answered,
        Answered,
    ]
    assert [e.answer.verdict for e in told if isinstance(e, Answered)] == [RIGHT, RIGHT]


def test_nothing_is_asked_before_the_inputs_are_known(cell):
    source = Scripted()
    source.coming = [
        Connection("K1", False, "K1 cannot be reached", "wait", 1.0),
        Connection("K1", True, "K1 is read", "", 90.0, (("I1", True),)),
    ]
    told = []

    async def scene():
        checkout = LiveCheckout(cell, source, wait_s=5.0, clock=source.clock)
        async for event in checkout.run(pressing(cell)[:1]):
            told.append(event)  # noqa: PERF401  # as in the others

    asyncio.run(scene())
    assert [type(e) for e in told] == [Connection, Connection, Asked, Answered]
    assert told[-1].answer.seen == ("start_lidding on while S1 pressed",)  # it was on before


def test_a_bounce_is_counted_with_its_duration(cell):
    script = [[("I1", True, 0.1), ("I1", False, 0.104), ("I1", True, 0.11)], [("I1", False, 0.1)]]
    told = scripted(cell, script, pressing(cell))
    first = next(e for e in told if isinstance(e, Answered))
    assert first.answer.verdict == RIGHT
    assert first.answer.counts == {("K1", "I1"): 3}
    assert first.answer.span_s == pytest.approx(0.01)


def test_nobody_is_blamed_while_the_line_is_down(cell):
    down = Connection("K1", False, "K1 does not answer", "wait", 0.1)
    up = Connection("K1", True, "K1 is read", "", 60.0, (("I1", False),))
    script = [[down, up, ("I1", True, 62.0)], [("I1", False, 0.2)]]
    told = scripted(cell, script, pressing(cell))
    assert down.text in [e.text for e in told if isinstance(e, Connection)]
    assert [e.answer.verdict for e in told if isinstance(e, Answered)] == [RIGHT, RIGHT]


@pytest.mark.parametrize(("said", "verdict"), [(Doubt.DONE, NONE), (Doubt.SKIP, SKIPPED)])
def test_the_person_says_whether_it_was_done(cell, said, verdict):
    asked = []

    async def doubt(action, answer):
        asked.append(action.actor)
        return Doubt.AGAIN if len(asked) == 1 else said

    told = scripted(cell, [], pressing(cell)[:1], doubt=doubt)
    assert len([e for e in told if isinstance(e, Asked)]) == 2
    answer = next(e.answer for e in told if isinstance(e, Answered))
    assert answer.verdict == verdict
    assert bool(evidence([answer])) == (verdict == NONE)


def test_what_moves_unasked_is_told_and_not_judged(cell):
    actions = pressing(cell)
    extra = [("I1", True, 0.1), ("I6", True, 0.5), ("I1", False, 5.0)]
    told = scripted(cell, [extra], actions)
    assert not [e for e in told if isinstance(e, Answered) and e.answer.verdict == FLICKER]
    late = scripted(cell, [[("I1", True, 0.1)], [("I1", False, 0.1)], []], [*actions, *actions])
    assert not [e for e in late if isinstance(e, Unasked)]


def test_only_what_is_read_is_asked_for(cell):
    watched = [("K1", f"I{n}") for n in range(1, 17)]
    actors = {a.actor for a in actions_of(cell, watched)}
    assert {"S1", "B4"} <= actors
    assert not actors & {"S4", "B6", "B3"}  # those stand on K2
