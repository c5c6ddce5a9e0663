"""Runs, steps, readings, remarks and photos, kept in either database."""

from __future__ import annotations

import math

import pytest

from ringout.records import Read, StoreError, UnclearReadingError, open_store
from ringout.records.evidence import Snapshot, snapshot_of
from ringout.records.picture import MOST_BYTES
from tests.records.conftest import PICTURE, bad_word, good_word


def test_a_run_comes_back_as_it_was_stored(store, planned):
    cell, steps = planned
    run = store.start_run(cell, steps, who="Ada", meter="meter 7")
    assert (run.number, run.who, run.meter, run.steps) == (1, "Ada", "meter 7", len(steps))
    assert run.file == "cell.yaml"
    assert run.file_hash == cell.files[0][1]
    assert Snapshot.from_json(run.snapshot) == snapshot_of(cell)
    stored = [s.step for s in store.steps_of(1)]
    assert tuple(stored) == steps
    assert any(s.high == math.inf or s.high for s in stored)
    assert store.state_of(1).state == "open"
    assert store.next_step(1).step == steps[0]


def test_open_and_infinite_limits_survive_the_database(store, planned):
    cell, steps = planned
    from dataclasses import replace

    odd = replace(steps[0], low=2.0e6, high=math.inf)
    store.start_run(cell, [odd, *steps[1:]], who="Ada")
    assert store.step(1, 1).high == math.inf
    reading = store.add_reading(1, 1, "OL", who="Ada")
    assert (reading.value, reading.verdict) == (math.inf, "right")
    assert store.reading(reading.record).value == math.inf
    assert store.verify().holds


def test_a_run_passes_when_every_step_was_right_at_last(store, planned):
    cell, steps = planned
    store.start_run(cell, steps, who="Ada")
    for step in steps:
        assert store.state_of(1).state == "open"
        store.add_reading(1, step.number, good_word(step), who="Ada")
    assert store.state_of(1).state == "passed"
    assert store.last_passed().run.number == 1
    store.add_reading(1, 3, bad_word(steps[2]), who="Ben")
    assert store.state_of(1).state == "failed"
    assert store.last_passed() is None
    store.add_reading(1, 3, good_word(steps[2]), who="Ben")
    assert store.state_of(1).state == "passed"


def test_a_second_reading_of_a_step_is_kept_beside_the_first_and_marked(store, planned):
    cell, steps = planned
    store.start_run(cell, steps, who="Ada")
    first = store.add_reading(1, 1, good_word(steps[0]), who="Ada")
    second = store.add_reading(1, 1, bad_word(steps[0]), who="Ben")
    state = store.steps_of(1)[0]
    assert [r.record for r in state.readings] == [first.record, second.record]
    assert [r.turn for r in state.readings] == [1, 2]
    assert state.last == second
    assert state.state == "wrong"
    assert state.disputed


def test_a_reading_that_is_sent_twice_is_stored_once(store, planned):
    cell, steps = planned
    store.start_run(cell, steps, who="Ada")
    once = store.add_reading(1, 1, good_word(steps[0]), who="Ada", token="form-1")
    again = store.add_reading(1, 1, good_word(steps[0]), who="Ada", token="form-1")
    assert once == again
    assert len(store.steps_of(1)[0].readings) == 1


def test_what_nobody_can_understand_is_not_stored(store, planned):
    cell, steps = planned
    store.start_run(cell, steps, who="Ada")
    before = store.head()
    with pytest.raises(UnclearReadingError):
        store.add_reading(1, 1, "twelve-ish", who="Ada")
    assert store.head() == before


@pytest.mark.parametrize("deed", ["run", "step", "who", "remark", "place"])
def test_what_does_not_exist_is_told(store, planned, deed):
    cell, steps = planned
    store.start_run(cell, steps, who="Ada")
    before = store.head()
    deeds = {
        "run": lambda: store.add_reading(2, 1, "ok", who="Ada"),
        "step": lambda: store.add_reading(1, 999, "ok", who="Ada"),
        "who": lambda: store.add_reading(1, 1, good_word(steps[0]), who="  \t"),
        "remark": lambda: store.add_remark(" ", who="Ada"),
        "place": lambda: store.add_remark("hm", who="Ada", step=1),
    }
    with pytest.raises(StoreError) as told:
        deeds[deed]()
    assert told.value.message
    assert store.head() == before


def test_a_judged_reading_keeps_what_was_seen_beside_it(store, planned):
    cell, steps = planned
    store.start_run(cell, steps, who="Ada", source="live")
    store.add_reading(1, 1, Read("start on", None, "right", '{"span_s": 0.1}'), who="Ada")
    last = store.steps_of(1)[0].last
    assert (last.text, last.verdict, last.detail) == ("start on", "right", '{"span_s": 0.1}')
    assert store.verify().holds


def test_odd_text_is_made_fit_and_still_verifies(store):
    remark = store.add_remark("a\0b\nc\ud800 Ω 試", who="Ada\0\x1b[31m")
    assert remark.text == "a b c? Ω 試"
    assert "\x1b" not in remark.who
    assert store.verify().holds


def test_photos_are_kept_by_hash_once_and_no_name_leads_outside(store):
    one = store.add_photo(PICTURE, who="Ada", name="../../outside/evil.jpg")
    two = store.add_photo(PICTURE, who="Ben", name="..\\..\\evil.jpg", text="again")
    assert (one.name, two.name) == ("evil.jpg", "evil.jpg")
    assert one.digest == two.digest
    assert store.picture(one.digest) == PICTURE
    assert [p.who for p in store.photos()] == ["Ada", "Ben"]
    with pytest.raises(StoreError):
        store.picture("0" * 64)


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"\xff\xd8\xff\xe1....", "jpeg"),
        (b"\x89PNG\r\n\x1a\n....", "png"),
        (b"RIFF....WEBPVP8 ", "webp"),
        (b"\0\0\0\x18ftypheic....", "heic"),
        (b"<svg onload='x'>", ""),
        (b"", ""),
        (b"\xff\xd8\xff" + bytes(MOST_BYTES), ""),
    ],
)
def test_only_pictures_of_bounded_size_are_taken(store, content, kind):
    if kind:
        assert store.add_photo(content, who="Ada").kind == kind
        return
    with pytest.raises(StoreError):
        store.add_photo(content, who="Ada")
    assert store.head().number == 0


def test_kept_steps_carry_their_reading_over(store, planned):
    from dataclasses import replace

    cell, steps = planned
    store.start_run(cell, steps, who="Ada", meter="meter 7")
    for step in steps:
        store.add_reading(1, step.number, good_word(step), who="Ada")
    kept = [replace(s, kept=s.number != 2) for s in steps]
    store.start_run(cell, kept, who="Ben", base=1)
    assert store.next_step(2).step.number == 2
    carried = store.steps_of(2)[0].last
    assert (carried.carried, carried.verdict) == (1, "right")
    store.add_reading(2, 2, good_word(steps[1]), who="Ben")
    assert store.state_of(2).state == "passed"
    # carried twice, a reading still names the run it was made in
    store.start_run(cell, kept, who="Cid", base=2)
    assert store.steps_of(3)[0].last.carried == 1
    assert store.verify().holds


def test_a_step_that_was_not_right_is_not_carried_over(store, planned):
    from dataclasses import replace

    cell, steps = planned
    store.start_run(cell, steps, who="Ada")
    with pytest.raises(StoreError, match="not right in run 1"):
        store.start_run(cell, [replace(s, kept=True) for s in steps], who="Ben", base=1)
    assert len(store.runs()) == 1


def test_cells_in_one_database_have_chains_of_their_own(place, planned):
    cell, steps = planned
    with place.open(cell="one") as one, place.open(cell="other") as other:
        one.start_run(cell, steps, who="Ada")
        other.add_remark("hm", who="Ben")
        assert one.head().number == len(steps) + 1
        assert other.head().number == 1
        assert not other.runs()
        assert one.verify().holds
        assert other.verify().holds


def test_since_tells_what_others_have_entered(place, planned):
    cell, steps = planned
    with place.open() as mine, place.open() as theirs:
        mine.start_run(cell, steps, who="Ada")
        seen = mine.head().number
        assert not mine.since(seen)
        theirs.add_reading(1, 1, good_word(steps[0]), who="Ben")
        theirs.add_remark("hm", who="Ben")
        fresh = mine.since(seen)
        assert [(e.kind, e.who, e.run, e.step) for e in fresh] == [
            ("reading", "Ben", 1, 1),
            ("remark", "Ben", 0, 0),
        ]
        assert mine.steps_of(1)[0].last.who == "Ben"


def test_a_file_without_a_cell_has_no_records(tmp_path):
    (tmp_path / "cell.yaml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(StoreError, match="cannot be read"):
        open_store(tmp_path / "cell.yaml")
    assert not (tmp_path / ".ringout").exists()


@pytest.mark.parametrize(
    "url", ["mysql://a@b/c", "nonsense", "sqlite://", "postgresql://nobody@127.0.0.1:1/none"]
)
def test_a_url_that_cannot_be_used_is_told_without_its_password(tmp_path, url):
    (tmp_path / "cell.yaml").write_text("cell: A\n", "utf-8")
    secret = url.replace("nobody@", "nobody:hush@")
    with pytest.raises(StoreError) as told:
        open_store(tmp_path / "cell.yaml", secret)
    assert told.value.message
    assert "hush" not in told.value.message + told.value.cure
