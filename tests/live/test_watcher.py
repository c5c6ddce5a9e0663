"""What inputs say beyond single changes, against the twin with the matching fault hidden."""

from __future__ import annotations

import asyncio

import pytest

from ringout import run
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import find_fault, single_faults
from ringout.live import Change, Connection, Feed, Pace, PortError, Settled, Standing, Twin
from ringout.live.poll import Poller
from ringout.live.tell import Teller
from ringout.live.watcher import Watcher, groups_of

CELL = "examples/caddy-lidder/corrected.yaml"


@pytest.fixture(scope="module")
def cell():
    return run.load(CELL).cell


class Scene:
    """A twin whose inputs go to a watcher, as a poller would tell them, in time of its own."""

    def __init__(self, cell, *hidden: str, **more) -> None:
        every = single_faults(compile_circuit(cell))
        faults = [find_fault(every, name) for name in hidden]
        assert None not in faults
        self.twin = Twin(cell, faults, **more)
        self.watcher = Watcher(cell, self.twin.levels)
        self.told: list = []
        for item in ("K1", "K2"):
            levels = tuple((c, on) for (i, c), on in self.twin.levels.items() if i == item)
            self.take(Connection(item, True, "read", "", 0.0, levels))

    def take(self, event) -> None:
        self.told += self.watcher.take(event)

    def move(self, actor: str, position: str, seconds: float = 1.0) -> None:
        self.twin.move(actor, position)
        self.wait(seconds)

    def wait(self, seconds: float) -> None:
        for _ in range(round(seconds / 0.02)):
            for item, channel, on in self.twin.advance(0.02):
                self.take(Change(item, channel, on, self.twin.now_s))
            self.told += self.watcher.tick(self.twin.now_s)

    def standing(self) -> list[tuple[str, str, bool]]:
        return [(e.kind, e.text, e.holds) for e in self.told if isinstance(e, Standing)]


def test_a_healthy_cell_moved_through_all_positions_says_nothing_standing(cell):
    scene = Scene(cell)
    for actor in cell.actors.values():
        if actor.moved_by == "person":
            for position in (*actor.positions[1:], actor.positions[0]):
                scene.move(actor.name, position)
    assert scene.standing() == []
    assert scene.watcher.unmoved() == []
    assert all(e.changes == 1 for e in scene.told if isinstance(e, Settled))


def test_signals_of_one_actor_cannot_have_every_combination(cell):
    groups = {g.actors: g for g in groups_of(cell, Twin(cell).levels)}
    assert set(groups) == {("B2",), ("S3",)}
    assert groups["S3",].possible == {(True, False), (False, True)}  # one contact or the other


def test_a_stuck_input_is_told_while_it_lasts(cell):
    scene = Scene(cell, "open W3:BK@S3")  # on_line never comes
    assert scene.standing() == []  # at rest on_line is off in a healthy cell too
    scene.move("S3", "right")
    ((kind, text, holds),) = scene.standing()
    assert (kind, holds) == ("stuck", True)
    assert text == "on_line stays off while S3 moves (local_mode off)"
    scene.move("S3", "left")
    assert scene.standing()[1:] == [(kind, text, False)]


def test_a_welded_contact_is_stuck_on(cell):
    every = single_faults(compile_circuit(cell))
    name = next(f.id for f in every if f.id.startswith("welded S3") and "right" not in f.id)
    scene = Scene(cell, name)
    scene.move("S3", "right")
    scene.move("S3", "left")
    kinds = {k for k, _, _ in scene.standing()}
    assert kinds == {"stuck"}
    assert "stays on while S3 moves" in scene.standing()[0][1]


def test_an_impossible_combination_at_the_start_is_told(cell):
    scene = Scene(cell, "open W3:WH@S3")  # at rest local_mode should be on
    scene.wait(1.0)
    ((kind, text, holds),) = scene.standing()
    assert (kind, holds) == ("impossible", True)
    assert text == "on_line off, local_mode off: no position of S3 gives that together"


def test_two_signals_on_at_once_where_cores_touch(cell):
    scene = Scene(cell, "short K1-X8:2-K1-X8:1")
    scene.move("S3", "right")
    assert [k for k, _, _ in scene.standing()] == ["stuck"]


def test_a_switch_on_its_way_is_not_blamed(cell):
    watcher = Watcher(cell, [("K1", "I8"), ("K1", "I16")])
    told = watcher.take(Connection("K1", True, "", "", 0.0, (("I8", False), ("I16", True))))
    told += watcher.take(Change("K1", "I16", False, 1.0))
    for n in range(10):
        told += watcher.tick(1.0 + 0.04 * n)
    told += watcher.take(Change("K1", "I8", True, 1.4))
    for n in range(100):
        told += watcher.tick(1.4 + 0.04 * n)
    assert not [e for e in told if isinstance(e, Standing)]


def test_an_input_without_a_signal_that_comes_on_is_told(cell):
    watcher = Watcher(cell, [("K1", "I4")])
    told = watcher.take(Connection("K1", True, "", "", 0.0, (("I4", False),)))
    told += watcher.take(Change("K1", "I4", True, 1.0)) + watcher.tick(1.2)
    assert not [e for e in told if isinstance(e, Standing)]
    told = watcher.tick(1.6)
    assert [(e.kind, e.text) for e in told if isinstance(e, Standing)] == [
        ("stray", "K1.I4 is on and has no signal")
    ]
    over = watcher.take(Change("K1", "I4", False, 3.0))
    assert [e.holds for e in over if isinstance(e, Standing)] == [False]


def test_bounce_is_counted_with_its_span_when_it_is_over(cell):
    watcher = Watcher(cell, [("K1", "I1")])
    watcher.take(Connection("K1", True, "", "", 0.0, (("I1", False),)))
    told = []
    for n, on in enumerate((True, False, True, False, True)):
        told += watcher.take(Change("K1", "I1", on, 1.0 + 0.004 * n))
    assert not [e for e in told if isinstance(e, Settled)]
    (rest,) = [e for e in watcher.tick(1.4) if isinstance(e, Settled)]
    assert (rest.on, rest.changes) == (True, 5)
    assert rest.span_s == pytest.approx(0.016)
    assert not [e for e in watcher.tick(2.0) if isinstance(e, Settled)]
    # the next movement is counted anew, also if nobody looked in between
    told = watcher.take(Change("K1", "I1", False, 3.0)) + watcher.take(
        Change("K1", "I1", True, 5.0)
    )
    assert [(e.changes, e.on) for e in told if isinstance(e, Settled)] == [(1, False)]


def test_the_twins_own_bounce_reaches_the_count(cell):
    """Contacts of the twin bounce up to 5 ms; a filter of 3 ms lets some of it through."""
    counts = []
    for seed in range(12):
        scene = Scene(cell, seed=seed)
        for _ in range(3):
            scene.move("S1", "pressed")
            scene.move("S1", "released")
        counts += [e.changes for e in scene.told if isinstance(e, Settled)]
    assert len(counts) == 72  # every press and every release comes to rest once
    assert all(n % 2 for n in counts)  # and ends otherwise than it began


def test_flicker_is_told_and_is_over_when_it_is_quiet(cell):
    watcher = Watcher(cell, [("K1", "I6")])
    watcher.take(Connection("K1", True, "", "", 0.0, (("I6", False),)))
    told = []
    for n in range(8):
        told += watcher.take(Change("K1", "I6", n % 2 == 0, 1.0 + 0.1 * n))
    assert [(e.kind, e.holds) for e in told if isinstance(e, Standing)] == [("flicker", True)]
    told = watcher.tick(1.9) + watcher.tick(4.0)
    assert [(e.kind, e.holds) for e in told if isinstance(e, Standing)] == [("flicker", False)]


def test_nobody_is_blamed_while_a_controller_is_away(cell):
    scene = Scene(cell)
    scene.take(Connection("K1", False, "gone", "wait", 1.0))
    scene.watcher.levels["K1", "I16"] = False
    scene.wait(2.0)
    assert scene.standing() == []


def test_a_slow_controller_is_told_and_when_it_is_in_time_again(cell):
    watcher = Watcher(cell, [("K1", "I1")])
    told = watcher.take(Pace("K1", True, 0.104, 1.0)) + watcher.take(Pace("K1", False, 0.0, 9.0))
    standing = [e for e in told if isinstance(e, Standing)]
    assert [(e.kind, e.holds) for e in standing] == [("slow", True), ("slow", False)]
    assert standing[0].text == "K1 leaves up to 104 ms between two answers"


class Answering:
    """A port that answers from a list and then fails for good."""

    def __init__(self, link, answers) -> None:
        self.link, self.inputs, self.answers = link, ("I1",), list(answers)

    async def open(self) -> None: ...

    async def close(self) -> None: ...

    async def read(self):
        if not self.answers:
            raise PortError("K1 refuses address 9000", "compare the manual", lasting=True)
        return {"I1": self.answers.pop(0)}


def test_the_feed_hands_on_events_in_order_and_ends_where_waiting_cannot_help(cell):
    from ringout.cell.model import Link

    link = Link("K1", "modbus", "127.0.0.1:1", 1, "discrete", {"I1": 0}, cell.span)
    told = []

    async def scene():
        async with Feed(cell, [Poller(Answering(link, [False, True, False]), 0.005)]) as feed:
            teller = Teller(cell, feed.begin_s)
            async for event in feed.events():
                told.append(teller.json(event))  # noqa: PERF401  # what came before an error counts

    with pytest.raises(PortError, match="9000"):
        asyncio.run(scene())
    assert [e["kind"] for e in told] == ["connection", "change", "change"]
    assert told[0]["off"] == ["I1"]
    assert [(e["signal"], e["on"]) for e in told[1:]] == [
        ("start_lidding", True), ("start_lidding", False),
    ]  # fmt: skip
    assert [e["at_s"] for e in told] == sorted(e["at_s"] for e in told)
