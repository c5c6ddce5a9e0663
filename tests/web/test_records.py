"""The pages of records: what is stored shows, and what was tampered with is told."""

from __future__ import annotations

import sqlite3

import pytest

from ringout import run
from ringout.records import default_path, open_store
from ringout.records.evidence import RunStep
from tests.web.conftest import client_of, field_of, text_of

STEPS = (
    RunStep(
        number=1,
        key="a",
        phase="dead",
        kind="ohms",
        do="Measure T1:+ to T1:-.",
        expect="more than 100 ohm",
        low=100.0,
        high=float("inf"),
        unit="ohm",
        levels=(),
        if_not="",
        caught=(),
    ),
)
PNG = (
    b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\1\0\0\0\1\x08\6\0\0\0\x1f\x15\xc4\x89\0\0\0\rIDATx\x9cc\xfc\xff"
    b"\xff?\0\5\xfe\2\xfe\xa75\x81\x84\0\0\0\0IEND\xaeB`\x82"
)


@pytest.fixture
def recorded(cell_file):
    """Return a cell file with a run of one step, read by two people, and a photo."""
    cell = run.load(str(cell_file)).cell
    with open_store(cell_file) as store:
        begun = store.start_run(cell, STEPS, who="Ada <b>", meter="M1")
        store.add_reading(begun.number, 1, "20 ohm", who="Ada")
        store.add_reading(begun.number, 1, "open", who="Ben")
        store.add_photo(PNG, who="Ada", name="clamp.png", text="the clamp", run=begun.number)
    return cell_file


def test_without_records_the_page_says_how_a_run_begins(bench):
    text = text_of(bench.get("/records"))
    assert "No checkout of this cell has been recorded yet" in text
    assert bench.get("/records/run/1").status_code == 404
    assert bench.get("/records/readings.csv").status_code == 404


def test_looking_makes_no_file(bench, cell_file):
    bench.get("/records")
    assert not default_path(cell_file).exists()


def test_a_run_shows_with_every_reading_and_who_made_it(recorded):
    with client_of(recorded) as client:
        listed = client.get("/records")
        text = text_of(listed)
        assert "Run 1" in text
        assert "1 right of 1" in text
        assert "<b>" not in listed.text.replace('<b aria-hidden="true">', "")
        one = text_of(client.get("/records/run/1"))
    assert "✗ 20 Ω wrong, Ada" in one
    assert "✓ open right, Ben" in one
    assert "Two people did not see the same here" in one
    assert "The file is still the one this run was made with" in one


def test_a_changed_file_is_told(recorded):
    recorded.write_text(recorded.read_text("utf-8") + "\n# later\n", encoding="utf-8")
    with client_of(recorded) as client:
        assert "no longer the one" in text_of(client.get("/records/run/1"))


def test_the_photo_is_sent_as_a_picture(recorded):
    with client_of(recorded) as client:
        page = client.get("/records/run/1").text
        where = page.split('src="/records/photo/')[1].split('"')[0]
        answer = client.get(f"/records/photo/{where}")
        assert answer.content == PNG
        assert answer.headers["content-type"] == "image/png"
        assert client.get("/records/photo/..%2f..%2fetc").status_code == 404


def test_a_remark_needs_the_token_a_name_and_words(recorded):
    with client_of(recorded) as client:
        page = client.get("/records")
        words = {"who": "Ada", "text": "X3 was loose"}
        assert client.post("/records/remark", data=words).status_code == 403
        words["token"] = field_of(page, "token")
        assert client.post("/records/remark", data={**words, "who": " "}).status_code == 422
        assert client.post("/records/remark", data={**words, "run": "9"}).status_code == 422
        done = client.post("/records/remark", data={**words, "run": "1", "step": "1"})
        assert done.headers["location"] == "/records/run/1?said=1"
        assert "X3 was loose" in text_of(client.get("/records/run/1"))


def test_csv_holds_the_readings(recorded):
    with client_of(recorded) as client:
        answer = client.get("/records/readings.csv?run=1")
    assert answer.headers["content-type"].startswith("text/csv")
    assert "20 Ω" in answer.text


def test_a_changed_record_is_found(recorded):
    with client_of(recorded) as client:
        assert "are as they were written" in text_of(client.get("/records?verify=1"))
        base = sqlite3.connect(default_path(recorded))
        table = next(
            t for (t,) in base.execute("select name from sqlite_master where name like '%reading%'")
        )
        for (trigger,) in base.execute(
            "select name from sqlite_master where type = 'trigger'"
        ).fetchall():
            base.execute(f"drop trigger {trigger}")
        base.execute(f"update {table} set text = '200 Ω' where text = '20 Ω'")
        base.commit()
        base.close()
        text = text_of(client.get("/records?verify=1"))
    assert "Something was changed" in text


def test_a_hash_that_is_not_in_the_chain_is_told(recorded):
    with client_of(recorded) as client:
        assert "Something was changed" in text_of(client.get("/records?verify=1&head=0123456789ab"))
