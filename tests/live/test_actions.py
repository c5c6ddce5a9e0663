"""Live checkout against the twin: the right input, a swap caught and named, a bounce counted."""

from __future__ import annotations

import asyncio

import pytest

from ringout import run
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import find_fault, single_faults
from ringout.find import Finder
from ringout.find.words import understand_all
from ringout.live import Change, Twin
from ringout.live.actions import LiveCheckout, actions_of
from ringout.live.judge import FLICKER, INVERTED, NONE, RIGHT, SEVERAL, WRONG, judge

CELL = "examples/caddy-lidder/corrected.yaml"


@pytest.fixture(scope="module")
def cell():
    return run.load(CELL).cell


def worked_through(cell, twin):
    """Return (action, answer) of every action, done on the twin as soon as it is asked for."""
    events: asyncio.Queue = asyncio.Queue()
    pending: list = []

    async def scene():
        out = []
        checkout = LiveCheckout(cell, events, pending.append, wait_s=0.05)
        actions = list(actions_of(cell))
        stream = checkout.run(iter(actions))
        for action in actions:
            task = asyncio.ensure_future(stream.__anext__())
            await asyncio.sleep(0)
            twin.move(action.actor, action.position)
            for item, channel, on in twin.advance(0.2):
                events.put_nowait(Change(item, channel, on, twin.now_s))
            out.append(await task)
        return out

    return asyncio.run(scene())


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr("ringout.live.actions.QUIET_S", 0.01)


def test_the_healthy_cell_passes_every_action(cell):
    answers = worked_through(cell, Twin(cell))
    assert len(answers) > 15
    assert [(a.ask, r.text) for a, r in answers if r.verdict != RIGHT] == []


@pytest.mark.parametrize(
    "hidden",
    ["swap W3:BK W3:WH@K1", "open W1:BK@S1", "short K1-X1:1-K1-X1:4", "welded S2.contact"],
)
def test_a_hidden_fault_is_caught_and_named(cell, hidden):
    fault = find_fault(single_faults(compile_circuit(cell)), hidden)
    assert fault is not None
    finder = Finder(cell)
    wrong = [r for _, r in worked_through(cell, Twin(cell, [fault])) if r.verdict != RIGHT]
    assert wrong
    seen = []
    for answer in wrong:
        for text in answer.seen:
            found, problems = understand_all(cell, text)
            assert not problems
            seen += found
    first = {f.delta for c in finder.find(seen).culprits[:3] for f in c.faults}
    named = {fault.delta} & first
    # what no input tells apart from it may stand first: the next measurement decides
    assert named or finder.find(seen).next is not None


def test_verdicts(cell):
    i1, i2 = ("K1", "I1"), ("K1", "I2")

    def told(wanted, *changes):
        events = [Change("K1", c, on, 0.02 * n) for n, (c, on) in enumerate(changes)]
        return judge(cell, wanted, events, "S1 pressed").verdict

    assert told({i1: True}, ("I1", True)) == RIGHT
    assert told({i1: True}, ("I1", True), ("I1", False), ("I1", True)) == RIGHT  # bounce, 40 ms
    assert told({i1: True}) == NONE
    assert told({i1: True}, ("I2", True)) == WRONG
    assert told({i1: True}, ("I1", True), ("I2", True)) == SEVERAL
    assert told({i1: True}, ("I1", False)) == INVERTED
    assert told({i1: True, i2: False}, ("I1", True)) == NONE
    long = [("I1", bool(n % 2 == 0)) for n in range(7)]
    assert told({i1: True}, *long) == FLICKER
