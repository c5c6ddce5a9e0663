"""The poller against a port that misbehaves: gone and back, slow, flooding, a jumping clock."""

from __future__ import annotations

import asyncio

import pytest

from ringout.base import Span
from ringout.cell.model import Link
from ringout.live import Change, Connection, Poller, PortError

LINK = Link("K1", "modbus", "127.0.0.1:1", 1, "discrete", {"I1": 0}, Span("x", 1, 1, 1))


class Port:
    """A port that answers from a script: levels, an error, or seconds to wait first."""

    def __init__(self, script, opens=()):
        self.link = LINK
        self.script, self.opens = list(script), list(opens)
        self.opened = 0

    async def open(self):
        self.opened += 1
        if self.opens:
            error = self.opens.pop(0)
            if error is not None:
                raise error

    async def read(self):
        step = self.script.pop(0) if len(self.script) > 1 else self.script[0]
        if isinstance(step, PortError):
            raise step
        if isinstance(step, float):
            await asyncio.sleep(step)
            step = self.script.pop(0)
        return {"I1": step}

    async def write(self, channel, *, on):
        raise PortError(f"{channel} cannot be {on}")

    async def close(self):
        pass


def told_by(port, seconds=0.5, cycle_s=0.005, clock=None):
    poller = Poller(port, cycle_s, **({"clock": clock} if clock else {}))
    events = []

    async def scene():
        async def collect():
            async for event in poller.events():
                events.append(event)  # noqa: PERF401  # what came before an error counts

        task = asyncio.create_task(collect())
        done, _ = await asyncio.wait([task], timeout=seconds)
        poller.stop()
        if not done:
            await asyncio.wait([task], timeout=2)
        if task.done() and task.exception():
            raise task.exception()

    asyncio.run(scene())
    return poller, events


@pytest.fixture(autouse=True)
def impatient(monkeypatch):
    monkeypatch.setattr("ringout.live.poll.WAITS_S", (0.01,))


def changes(events):
    return [e.on for e in events if isinstance(e, Change)]


def test_each_change_is_told_once():
    _, events = told_by(Port([False, True, True, False, True, True]))
    assert changes(events) == [True, False, True]


def test_what_moved_while_the_line_was_down_is_told_when_it_is_back():
    gone = PortError("K1 does not answer", "wait")
    poller, events = told_by(Port([False, False, gone, True, True]))
    assert changes(events) == [True]
    assert [e.up for e in events if isinstance(e, Connection)] == [True, False, True]
    assert poller.figures.lost == 1


def test_a_server_that_is_not_there_yet_is_told_once_and_tried_again():
    away = PortError("K1 cannot be reached", "check the cable")
    port = Port([True, True], opens=[away, away, away, None])
    _, events = told_by(port)
    assert port.opened == 4
    assert [e.up for e in events if isinstance(e, Connection)] == [False, True]


def test_what_waiting_cannot_cure_ends_it():
    wrong = PortError("K1 refuses address 9000", "compare the manual", lasting=True)
    with pytest.raises(PortError, match="9000"):
        told_by(Port([False, wrong]))


def test_a_slow_answer_makes_the_next_poll_late_and_no_burst_follows():
    poller, events = told_by(Port([False, False, 0.1, True, True]), seconds=0.4)
    assert changes(events) == [True]
    assert poller.figures.late >= 1
    assert poller.figures.polls <= 0.4 / 0.005  # never more than one a cycle


def test_a_flood_of_changes_is_told_whole_and_in_order():
    flood = [bool(n % 2) for n in range(60)]
    _, events = told_by(Port([*flood, True]), seconds=1.0)
    assert changes(events) == flood[1:]


def test_a_clock_that_jumps_loses_nothing():
    jumps = iter([0.0] * 5 + [1000.0] * 5)
    state = {"t": 0.0}

    def clock():
        state["t"] = max(next(jumps, state["t"]), state["t"]) + 0.001
        return state["t"]

    _, events = told_by(Port([False, True, False, True, True]), clock=clock)
    assert changes(events) == [True, False, True]
    assert [e.at_s for e in events] == sorted(e.at_s for e in events)
