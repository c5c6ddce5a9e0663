"""As built against as drawn: what a change of the file asks to be done again, and nothing else."""

from __future__ import annotations

import pytest

from ringout import run
from ringout.records import Changes, changes_of, open_store, run_steps
from tests.records.conftest import CABLES, ITEMS, JOINS, SIGNALS, bad_word, good_word, two_buttons


@pytest.fixture
def passed(sqlite_place, planned):
    """Return a cell file whose checkout has passed."""
    cell, steps = planned
    with sqlite_place.open() as store:
        store.start_run(cell, steps, who="Ada")
        for step in steps:
            store.add_reading(1, step.number, good_word(step), who="Ada")
    return sqlite_place


def after(place, text: str) -> Changes:
    """Return what changes when the file says something else."""
    place.path.write_text(text, "utf-8")
    loaded = run.load(str(place.path))
    assert not loaded.broken, loaded.problems
    with place.open() as store:
        return changes_of(store, loaded.cell)


def told(found: Changes) -> set[tuple[str, str, str]]:
    return {(c.kind, c.name, c.how) for c in found.changes}


def limits(step):
    return step.low, step.high, step.levels


def check_whole(place, found: Changes) -> None:
    """Check that steps kept and steps to do expose all that a whole new checkout would."""
    cell = run.load(str(place.path)).cell
    whole = {c for s in run_steps(run.checkout(cell)) for c in s.caught}
    assert {c for s in found.steps for c in s.caught} >= whole


def check_kept(found: Changes, planned) -> None:
    """Check that a step is kept only where the same look had the same limits."""
    old = {s.key: s for s in planned[1]}
    for step in found.kept:
        assert limits(old[step.key]) == limits(step)
        assert set(step.caught) <= set(old[step.key].caught)


def test_the_same_file_asks_for_nothing(passed, planned):
    found = after(passed, two_buttons())
    assert found.same_file
    assert found.base.run.number == 1
    assert not found.again
    assert len(found.kept) == len(planned[1])


def test_a_comment_asks_for_nothing(passed):
    found = after(passed, "# wired by the window\n" + two_buttons())
    assert not found.same_file
    assert not found.changes
    assert not found.again


def test_a_note_asks_for_nothing(passed):
    found = after(passed, two_buttons(items=ITEMS.replace("note: start", "note: begin")))
    assert not found.changes
    assert not found.again


def test_another_length_asks_only_for_steps_whose_limits_move(passed, planned):
    found = after(passed, two_buttons(cables=CABLES.replace("length: 6 m", "length: 60 m", 1)))
    assert told(found) == {("cable", "W1", "changed")}
    assert found.again
    old = {s.key: s for s in planned[1]}
    for again in found.again:
        assert again.was is not None, "no new look is needed for a longer core"
        assert limits(again.was) != limits(again.step)
        assert "now" in again.why
    assert {a.step.key for a in found.again} == {
        k for k in old if k not in {s.key for s in found.kept}
    }
    # 60 m of 0.34 mm2 and back have 6.5 ohm more: the two readings across the plug of W1 move,
    # none of W2 does (54.7 mohm/m, tables of standards)
    assert not any("K1-X2" in a.step.key or "S2:" in a.step.key for a in found.again)
    check_kept(found, planned)
    check_whole(passed, found)


def test_a_hair_more_length_that_moves_no_limit_asks_for_nothing(passed):
    found = after(passed, two_buttons(cables=CABLES.replace("length: 6 m", "length: 6.01 m", 1)))
    assert told(found) == {("cable", "W1", "changed")}
    assert not found.again


def test_a_moved_wire_asks_for_the_steps_around_it(passed, planned):
    found = after(
        passed,
        two_buttons(
            joins=JOINS.replace("S1:14  W1:WH  K1-X1:4", "S1:14  W1:WH  K1-X1:2"),
            signals=SIGNALS.replace("K1.I1", "K1.I9"),
        ),
    )
    assert ("conductor", "W1:WH", "changed") in told(found)
    assert ("signal", "start", "changed") in told(found)
    assert found.again
    about = "W1", "S1", "K1-X1", "start"
    for again in found.again:
        assert any(w in f"{again.step.do} {again.step.expect} {again.why}" for w in about)
    kept = {s.key for s in found.kept}
    assert any("S2" in key for key in kept)
    assert not any("S1:14" in s.key for s in found.kept if s.phase == "power")
    check_kept(found, planned)
    check_whole(passed, found)


def test_a_new_item_asks_for_its_steps(passed, planned):
    found = after(
        passed,
        two_buttons(
            items=ITEMS + "    S3: {part: pushbutton-1no, note: reset}\n",
            joins=JOINS + "    S3:13  W3:BN  K1-X3:1\n    S3:14  W3:WH  K1-X3:4\n",
            cables=CABLES + "    W3: {part: cable-4x0.34, length: 6 m}\n",
            signals=SIGNALS + "    reset: {channel: K1.I3, on: S3 pressed}\n",
        ),
    )
    assert ("item", "S3", "added") in told(found)
    assert ("conductor", "W3:BN", "added") in told(found)
    assert any(a.was is None for a in found.again)
    assert any("S3" in a.step.do for a in found.again)
    # of the old looks only those are asked for that see the new item, its cable or its input
    assert all(any(w in a.why for w in ("S3", "W3", "reset")) or a.was is None for a in found.again)
    for button in ("S1", "S2"):
        assert any(button in s.key for s in found.kept)
    check_kept(found, planned)
    check_whole(passed, found)


def test_an_item_taken_out_asks_for_no_more_than_what_it_changes(passed, planned):
    found = after(
        passed,
        two_buttons(
            items="K1: {part: io-panel-16x16, note: controller}\nS1: {part: pushbutton-1no}",
            joins="\n".join(line for line in JOINS.splitlines() if "W2" not in line),
            cables="W1: {part: cable-4x0.34, length: 6 m}",
            signals="start: {channel: K1.I1, on: S1 pressed}",
        ),
    )
    assert ("item", "S2", "removed") in told(found)
    assert not any("S2" in s.do for s in found.steps)
    check_kept(found, planned)
    check_whole(passed, found)


def test_a_step_found_wrong_since_must_be_done_again(passed, planned):
    cell, steps = planned
    with passed.open() as store:
        store.start_run(cell, steps, who="Ben")
        store.add_reading(2, 5, bad_word(steps[4]), who="Ben")
        found = changes_of(store, cell)
    assert [a.step.key for a in found.again] == [steps[4].key]
    assert found.again[0].why == "it was found wrong since"


def test_without_a_passed_checkout_all_is_to_be_done(sqlite_place, planned):
    cell, steps = planned
    for store in (None, open_store(sqlite_place.path)):
        found = changes_of(store, cell)
        assert found.base is None
        assert [a.step.key for a in found.again] == [s.key for s in steps]
        if store is not None:
            store.close()


def test_the_run_a_change_asks_for_passes_and_is_the_next_base(passed):
    found = after(passed, two_buttons(cables=CABLES.replace("6 m", "60 m", 1)))
    cell = run.load(str(passed.path)).cell
    with passed.open() as store:
        begun = store.start_run(cell, found.steps, who="Ben", base=1)
        state = store.state_of(begun.number)
        assert state.right == len(found.kept)
        for again in found.again:
            store.add_reading(begun.number, again.step.number, good_word(again.step), who="Ben")
        assert store.state_of(begun.number).state == "passed"
        last = changes_of(store, cell)
        assert last.base.run.number == begun.number
        assert not last.again
        # and back: what was carried over has the limits it was read against, the rest is new
        assert store.verify().holds
    back = after(passed, two_buttons())
    assert {a.step.key for a in back.again} == {a.step.key for a in found.again}
