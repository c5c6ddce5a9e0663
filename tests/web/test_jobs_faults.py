"""Faults on the bench: the table, one fault's story, and the work done beside it."""

from __future__ import annotations

import re
import shutil
import time

import pytest

from ringout import run
from ringout.web.session import Session
from tests.web.conftest import DEMO, LONGEST_S, client_of, text_of, when_done


@pytest.fixture(scope="module")
def table():
    return run.faults(run.load(str(DEMO)).cell)


def test_the_table_has_every_fault_the_command_lists(still, table):
    """Counts by effect are those of `ringout faults`, solved here in this process."""
    page = text_of(when_done(still, "/faults"))
    assert f"{len(table.rows)} single wiring faults" in page
    for kind, words in (("harm", "can damage"), ("level", "a signal reads otherwise")):
        count = sum(any(e.kind == kind for e in r.effects) for r in table.rows)
        assert re.search(rf"{words}\s+{count}\b", page)


@pytest.mark.parametrize(
    ("query", "kept"),
    [
        ("item=S2", lambda r: "S2" in r.fault.items),
        ("cable=W12", lambda r: "W12" in r.fault.cables),
        ("effect=harm", lambda r: r.harm),
        (
            "signal=start_lidding&effect=latent",
            lambda r: "start_lidding" in r.fault.signals and r.kind == "latent",
        ),
    ],
)
def test_a_filter_leaves_what_concerns_it(still, table, query, kept):
    page = text_of(when_done(still, f"/faults?{query}"))
    count = sum(map(kept, table.rows))
    assert count
    assert re.search(rf"\b{count} fault", page)


def test_what_is_not_there_is_said(still):
    page = text_of(when_done(still, "/faults?item=S99&effect=loud&page=-1"))
    assert "There is no item `S99`." in page
    assert "There is no effect `loud`." in page


def test_one_fault_is_told_whole(still):
    """S2 across 1 and 3 is a dead short (demo cell, mistake 1): the contact is harmed."""
    page = when_done(still, "/faults/off%20W2:BK@K1%20at%20K1-X2:3")
    text = text_of(page)
    assert "Core W2:BK is landed on K1-X2:3 instead of K1-X2:4." in text
    assert "S2.contact carries more than the contact stands" in text
    assert 'href="/circuit/finish_cycle?' in page.text
    found = re.search(r'href="(/circuit/finish_cycle[^"]*fault=[^"]*)"', page.text)
    assert found
    assert still.get(found[1].replace("&amp;", "&")).status_code == 200


def test_no_such_fault(still):
    assert when_done(still, "/faults/open%20W99:BN@S1").status_code == 404


def test_the_step_that_exposes_it_is_told(still):
    path = "/faults/off%20W2:BK@K1%20at%20K1-X2:3?step=yes"
    page = text_of(when_done(still, path))
    # a harmful fault that an ohm reading shows must be exposed before power goes on
    assert re.search(r"Step \d+ \(dead, before power\)", page)
    told = when_done(still, "/api/faults/exposed?fault=off%20W2:BK@K1%20at%20K1-X2:3").json()
    assert f"Step {told['step']} (" in page


def test_json_says_what_the_command_says(still, table):
    from ringout.report.faults_view import chosen_rows

    told = when_done(still, "/api/faults?item=S2").json()
    assert [f["id"] for f in told["faults"]] == [r.fault.id for r in chosen_rows(table, item="S2")]
    assert when_done(still, "/api/faults/exposed?fault=nothing").status_code == 404
    assert still.get("/api/faults?effect=loud").status_code == 422


def test_ten_who_ask_make_one_process_work_once(tmp_path):
    target = tmp_path / "cell.yaml"
    shutil.copy(DEMO, target)
    session = Session(str(target))
    jobs = {session.reckoner.ask(session.now(), "faults") for _ in range(10)}
    assert len(jobs) == 1
    assert jobs.pop().wait(LONGEST_S)
    session.reckoner.close()


def test_work_is_dropped_when_the_file_changes(tmp_path):
    target = tmp_path / "cell.yaml"
    shutil.copy(DEMO, target)
    session = Session(str(target))
    job = session.reckoner.ask(session.now(), "checkout")
    while not job.total and not job.failed:
        time.sleep(0.02)
    target.write_text(target.read_text().replace("revision: ", "revision: Z"))
    fresh = session.now()
    assert not job.wait(LONGEST_S)
    assert "changed" in job.failed
    again = session.reckoner.ask(fresh, "faults")
    assert again is not job
    assert again.wait(LONGEST_S)
    session.reckoner.close()


def test_a_process_that_dies_is_begun_anew(tmp_path):
    target = tmp_path / "cell.yaml"
    shutil.copy(DEMO, target)
    session = Session(str(target))
    assert session.reckoner.ask(session.now(), "faults").wait(LONGEST_S)
    session.reckoner._process.kill()
    found = session.reckoner.ask(session.now(), "find", "start_lidding off while S1 pressed")
    assert found.wait(LONGEST_S)
    assert found.result.culprits
    session.reckoner.close()


def test_a_page_answers_while_something_is_solved(tmp_path):
    target = tmp_path / "cell.yaml"
    shutil.copy(DEMO, target)
    with client_of(target) as client:
        begin = time.monotonic()
        first = client.get("/faults")
        assert time.monotonic() - begin < 2.0
        assert "data-again" in first.text
        assert '<meta http-equiv="refresh"' in first.text  # for browsers without script
        assert client.get("/sockets").status_code == 200
