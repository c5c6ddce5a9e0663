"""Killed programs, full disks, others at work, clocks set back: nothing lost, doubled or half."""

from __future__ import annotations

import collections
import os
import sqlite3
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import event

from ringout.records import StoreError, database, default_path
from tests.contract.house import ROOT
from tests.records.conftest import PICTURE, Clock, good_word
from tests.records.tamper import raw

MANY = 40  # steps; each gives the killer a few chances


@pytest.fixture
def long_run(store, planned):
    """Begin a run of many steps."""
    cell, steps = planned
    many = [replace(steps[k % len(steps)], number=k + 1, key=f"look {k}") for k in range(MANY)]
    return store.start_run(cell, many, who="Ada").number


def writers(mode, place, run, acks, seed=1):
    words = [sys.executable, "-m", "tests.records.writers", mode, str(place.path), place.url or ""]
    done = subprocess.run(
        [*words, str(run), str(acks), str(seed)], cwd=ROOT, capture_output=True, text=True,
        check=False, timeout=300,
        env={**os.environ, "PYTHONPATH": f"{ROOT / 'src'}{os.pathsep}{ROOT}"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_no_step_is_lost_or_doubled_when_the_program_is_killed(place, store, long_run, tmp_path):
    acks = tmp_path / "acks"
    killed = int(writers("steps", place, long_run, acks))
    assert killed >= 10, "it was not killed often enough to show anything"
    states = store.steps_of(long_run)
    assert [len(s.readings) for s in states] == [1] * MANY
    told = [tuple(map(int, line.split())) for line in acks.read_text().splitlines()]
    stored = {(s.step.number, s.readings[0].record) for s in states}
    assert set(told) <= stored, "a step that was acknowledged is gone"
    assert len(told) == len(set(told))
    assert store.verify().holds
    print(f"killed {killed} times over {MANY} steps, {len(told)} acknowledged")


def test_a_run_is_begun_whole_or_not_at_all_when_the_program_is_killed(
    place, store, long_run, tmp_path
):
    acks = tmp_path / "acks"
    acks.touch()
    killed = int(writers("runs", place, long_run, acks))
    assert killed >= 10
    states = store.runs()
    assert [s.run.number for s in states] == list(range(1, len(states) + 1))
    assert all(len(store.steps_of(s.run.number)) == MANY for s in states)
    told = {int(line.split()[1]) for line in acks.read_text().splitlines()}
    assert told <= {s.run.number for s in states}
    assert store.verify().holds


def test_three_people_at_one_run_lose_nothing(place, store, long_run, tmp_path):
    acks = tmp_path / "acks"
    writers("crowd", place, long_run, acks)
    states = store.steps_of(long_run)
    for state in states:
        assert [r.turn for r in state.readings] == [1, 2, 3]
        assert {r.who for r in state.readings} == {"Ada", "Ben", "Cid"}
    told = collections.Counter(line.split()[2] for line in acks.read_text().splitlines())
    assert len(told) == 3 * MANY
    assert set(told.values()) == {1}
    assert store.verify().holds


def test_two_people_at_the_same_step_at_the_same_time_are_both_kept(place, planned):
    cell, steps = planned
    together = threading.Barrier(2)

    def enter(who, step):
        with place.open() as own:
            together.wait(60)
            return own.add_reading(1, step.number, good_word(step), who=who)

    with place.open() as store:
        store.start_run(cell, steps, who="Ada")
        for step in steps[:6]:
            with ThreadPoolExecutor(2) as people:
                done = [people.submit(enter, who, step) for who in ("Ada", "Ben")]
            assert {d.result().turn for d in done} == {1, 2}
            readings = store.steps_of(1)[step.number - 1].readings
            assert [r.turn for r in readings] == [1, 2]
            assert {r.who for r in readings} == {"Ada", "Ben"}
        assert store.verify().holds


# -- full disks ----------------------------------------------------------------------------


def fill_up(place, store):
    """Let the database run into a full disk from now on; return what takes that back."""
    if place.url:
        with raw(place) as sql:
            sql("CREATE FUNCTION full_disk() RETURNS trigger LANGUAGE plpgsql AS "
                "$$ BEGIN RAISE EXCEPTION 'could not extend file' USING ERRCODE = 'disk_full'; "
                "END $$")  # fmt: skip
            for table in ("readings", "pictures", "steps"):
                sql(f"CREATE TRIGGER full_disk BEFORE INSERT ON {table} FOR EACH ROW "
                    "EXECUTE FUNCTION full_disk()")  # fmt: skip

        def free():
            with raw(place) as sql:
                sql("DROP FUNCTION full_disk() CASCADE")

        return free
    limit = {"pages": 1}  # SQLite takes it for the pages there are, and says the disk is full

    @event.listens_for(store.engine, "connect")
    def connected(connection, _):
        connection.execute(f"PRAGMA max_page_count = {limit['pages']}")

    store.engine.dispose()

    def free():
        limit["pages"] = 4_000_000
        store.engine.dispose()

    return free


def test_a_full_disk_is_told_and_leaves_nothing_half(place, store, planned):
    cell, steps = planned
    store.start_run(cell, steps, who="Ada")
    store.add_reading(1, 1, good_word(steps[0]), who="Ada")
    before = store.head()
    free = fill_up(place, store)
    with pytest.raises(StoreError) as told:
        store.start_run(cell, steps, who="Ben")
    assert "full" in told.value.message
    assert "nothing of this step was stored" in told.value.message
    assert told.value.cure
    with pytest.raises(StoreError, match="full"):
        store.add_photo(PICTURE + bytes(200_000), who="Ben")
    assert store.head() == before
    assert len(store.runs()) == 1
    assert not store.photos()
    assert store.verify().holds
    free()
    store.add_reading(1, 2, good_word(steps[1]), who="Ben")
    store.add_photo(PICTURE, who="Ben")
    assert store.head().number == before.number + 2
    assert store.verify().holds


FULL_FILE = """
import resource, sys
from pathlib import Path
from ringout.records import StoreError, open_store
path, = sys.argv[1:]
with open_store(path) as store:
    most = (Path(path).parent / ".ringout" / "records.db").stat().st_size
    resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
    try:
        for _ in range(50):
            store.add_remark("x" * 3900, who="Ada")
    except StoreError as problem:
        print(problem.message)
"""


def test_a_file_system_that_takes_no_more_is_told(sqlite_place):
    """The operating system itself refuses to let any file grow."""
    with sqlite_place.open() as store:
        store.add_remark("before", who="Ada")
        done = subprocess.run(
            [sys.executable, "-c", FULL_FILE, str(sqlite_place.path)],
            capture_output=True,
            text=True,
            check=False,
            cwd=ROOT,
        )
        assert done.returncode == 0, done.stderr
        assert "full" in done.stdout
        assert store.verify().holds
        assert {len(r.text) for r in store.remarks()} <= {6, 3900}
        assert store.add_remark("after", who="Ada").record == store.head().number


# -- others in the way ---------------------------------------------------------------------


def test_somebody_who_does_not_let_go_is_told(sqlite_place, monkeypatch):
    monkeypatch.setattr(database, "WAIT_S", 0.2)
    with sqlite_place.open() as store:
        other = sqlite3.connect(default_path(sqlite_place.path), isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="somebody else has been writing"):
            store.add_remark("hm", who="Ada")
        other.execute("ROLLBACK")
        other.close()
        assert store.add_remark("hm", who="Ada").record == 1


def test_records_that_may_not_be_written_are_told(sqlite_place):
    with sqlite_place.open() as store:

        @event.listens_for(store.engine, "connect")
        def connected(connection, _):
            connection.execute("PRAGMA query_only = ON")

        store.engine.dispose()
        with pytest.raises(StoreError, match="may not be written"):
            store.add_remark("hm", who="Ada")


def test_a_server_that_was_away_is_used_again(server_place, planned):
    cell, steps = planned
    with server_place.open() as store:
        store.start_run(cell, steps, who="Ada")
        with raw(server_place) as sql:
            sql("SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE pid <> pg_backend_pid() AND backend_type = 'client backend'")  # fmt: skip
        store.add_reading(1, 1, good_word(steps[0]), who="Ada")
        assert len(store.steps_of(1)[0].readings) == 1


@pytest.mark.parametrize("content", [b"no database at all" * 100, b"SQLite format 3\0" + bytes(84)])
def test_a_damaged_file_is_told(sqlite_place, content):
    file = default_path(sqlite_place.path)
    file.parent.mkdir()
    file.write_bytes(content)
    with pytest.raises(StoreError) as told:
        sqlite_place.open()
    assert "database" in told.value.message
    assert file.read_bytes() == content


# -- clocks --------------------------------------------------------------------------------


def test_a_clock_that_is_set_back_changes_no_order(place, planned):
    cell, steps = planned
    clock = Clock()
    with place.open(clock=clock) as store:
        store.start_run(cell, steps, who="Ada")
        store.add_reading(1, 1, good_word(steps[0]), who="Ada")
        clock.now -= timedelta(hours=2)
        store.add_reading(1, 2, good_word(steps[1]), who="Ada")
        store.add_reading(1, 1, good_word(steps[0]), who="Ben")
        store.start_run(cell, steps, who="Ben")
        readings = store.steps_of(1)[0].readings
        assert [r.who for r in readings] == ["Ada", "Ben"]
        assert readings[1].at < readings[0].at
        assert [s.run.who for s in store.runs()] == ["Ada", "Ben"]
        found = store.verify()
        assert found.holds
        assert found.notes == (f"at record {len(steps) + 3} the clock was 2.0 hours back",)
