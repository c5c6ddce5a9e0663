"""Tables made and brought up to date on opening; models and migrations say the same."""

from __future__ import annotations

import pytest

from ringout.records import StoreError, database, migrate, open_store
from ringout.records.chain import record_hash
from tests.records.tamper import raw


@pytest.fixture
def engine(place):
    made = database.open_engine(place.path, place.url)
    yield made
    made.dispose()


def test_models_and_migrations_agree(engine):
    from alembic.autogenerate import compare_metadata
    from alembic.runtime.migration import MigrationContext

    from ringout.records.schema import metadata

    migrate.up_to_date(engine)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []


def test_the_newest_revision_is_the_one_the_models_name():
    from ringout.records.schema import REVISION

    assert migrate.scripts().get_current_head() == REVISION
    assert len(migrate.scripts().get_heads()) == 1


def test_a_database_of_the_first_version_is_brought_up_to_date_and_still_verifies(place, engine):
    migrate.up_to_date(engine, "r0001")
    body = {
        "run": 1, "meter": "meter 7", "source": "checkout", "file": "cell.yaml",
        "file_hash": "0" * 64, "revision": "A", "program": "0.1", "steps": 0, "base": 0,
        "snapshot": "{}",
    }  # fmt: skip
    head = {
        "cell": "A small cell", "number": 1, "kind": "run",
        "at": "2026-01-01T00:00:00.000000+00:00", "who": "Ada", "before": "",
    }  # fmt: skip
    made = record_hash(head, body)
    with raw(place) as sql:
        sql('INSERT INTO records (cell, number, kind, at, who, "before", hash) '
            "VALUES (?, ?, ?, ?, ?, ?, ?)", *head.values(), made)  # fmt: skip
        places = ", ".join("?" * len(body))
        words = f"INSERT INTO runs (cell, number, {', '.join(body)}) VALUES (?, ?, {places})"
        sql(words, head["cell"], 1, *body.values())
        sql("INSERT INTO heads (cell, number, hash) VALUES (?, 1, ?)", head["cell"], made)
    with pytest.raises(Exception, match="remarks"), raw(place) as sql:
        sql("SELECT * FROM remarks")
    with place.open() as store:
        assert store.runs()[0].run.who == "Ada"
        assert store.verify().holds
        store.add_remark("went on with the newer version", who="Ben")
        assert store.verify().holds
        assert store.head().number == 2


def test_records_of_a_newer_program_are_left_alone(place):
    place.open().close()
    with raw(place) as sql:
        sql("UPDATE alembic_version SET version_num = 'r9999'")
    with pytest.raises(StoreError, match="newer ringout"):
        place.open()


def test_opening_again_changes_nothing(place):
    with place.open() as store:
        store.add_remark("hm", who="Ada")
    with place.open() as store:
        assert store.head().number == 1


def test_two_that_open_an_empty_database_at_once_both_succeed(place):
    from concurrent.futures import ThreadPoolExecutor

    def opened(_):
        with open_store(place.path, place.url) as store:
            return store.add_remark("hm", who="Ada").record

    with ThreadPoolExecutor(4) as people:
        assert sorted(people.map(opened, range(4))) == [1, 2, 3, 4]


def test_the_migrations_come_with_the_package():
    """The wheel holds them: setuptools finds packages, and they are modules of packages."""
    from setuptools import find_packages

    from tests.contract.house import ROOT

    found = find_packages(str(ROOT / "src"))
    assert {"ringout.records.migrations", "ringout.records.migrations.versions"} <= set(found)
