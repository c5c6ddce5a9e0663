"""Long work beside the pages: begun once, told, dropped, and its failures said."""

from __future__ import annotations

import threading

from ringout.web.jobs import Jobs


def test_work_is_begun_once_and_tells_how_far_it_is():
    begun, go_on = [], threading.Event()

    def work(progress):
        begun.append(1)
        progress(1, 4)
        assert go_on.wait(10)
        progress(4, 4)
        return "ready"

    jobs = Jobs()
    job = jobs.get("a", work)
    assert jobs.get("a", work) is job
    while not job.total:
        pass
    assert (job.percent, job.ready) == (25, False)
    go_on.set()
    assert job.wait(10)
    assert (job.percent, job.result, begun) == (100, "ready", [1])


def test_dropped_work_stops_at_its_next_word():
    ready, go_on = threading.Event(), threading.Event()

    def work(progress):
        ready.set()
        assert go_on.wait(10)
        progress(1, 2)
        raise AssertionError("it went on")

    jobs = Jobs()
    job = jobs.get("a", work)
    assert ready.wait(10)
    jobs.drop()
    go_on.set()
    assert not job.wait(10)
    assert job.failed == "the file has changed meanwhile"
    late = jobs.get("b", work)  # asked for by a page that was slower than the change
    assert not late.wait(10)
    assert late.failed


def test_work_that_breaks_down_is_said_and_not_taken_for_a_result(caplog):
    def work(progress):
        raise KeyError("inside")

    job = Jobs().get("a", work)
    assert not job.wait(10)
    assert "could not be worked out" in job.failed
    assert "inside" in caplog.text  # for whoever mends it
