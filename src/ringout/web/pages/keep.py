"""A checkout worked through on the bench, stored in the records under the name of who did it."""

from __future__ import annotations

from ringout.records import Read, Store, StoreError, open_store, run_steps
from ringout.web.exchange import Answer, Ask, Page, Redirect, Route
from ringout.web.pages.checkout import STALE, TITLE, Walk, walk_of
from ringout.web.runs import PASS
from ringout.web.session import Session
from ringout.web.snapshot import Snapshot
from ringout.web.waiting import cell_or_way


def store(session: Session, ask: Ask) -> Answer:
    """Store what was entered; what is stored already is left alone."""
    now = cell_or_way(session, TITLE)
    if not isinstance(now, Snapshot):
        return now
    job = session.reckoner.ask(now, "checkout")
    if not job.ready:
        return Redirect("/checkout")
    walk = walk_of(session, now, job.result)
    if walk.trouble or walk.stale or walk.run is None or not walk.done:
        why = walk.trouble or (STALE if walk.stale else "Nothing was entered yet.")
        return _told(why, "Enter what was read, then store it.", 409)
    try:
        with open_store(session.path, session.records, cell=walk.cell.name) as records:
            number = _keep(records, walk, ask.sent("who"), ask.sent("meter"))
    except StoreError as problem:
        return _told(f"{problem.message}.", problem.cure, 422)
    return Redirect(f"/records/run/{number}")


def _keep(records: Store, walk: Walk, who: str, meter: str) -> int:
    """Return the number of the stored run; each entry is stored once, however often it is asked."""
    assert walk.run is not None
    mark = f"bench {walk.run.begun} "
    number = _known(records, mark)
    if not number:
        number = records.start_run(walk.cell, run_steps(walk.checkout), who=who, meter=meter).number
    for turn, entry in enumerate(walk.run.entries):
        if not 1 <= entry.step <= len(walk.checkout.steps):
            continue
        verdict = "right" if entry.verdict == PASS else "wrong"
        token = f"{mark}{turn} {entry.at}"
        read = Read(entry.seen, None, verdict)
        records.add_reading(number, entry.step, read, who=who, meter=meter, token=token)
    return number


def _known(records: Store, mark: str) -> int:
    """Return the number of the run that entries of this walk are stored under; 0 for none."""
    for state in reversed(records.runs()):
        steps = records.steps_of(state.run.number)
        if any(r.token.startswith(mark) for s in steps for r in s.readings):
            return state.run.number
    return 0


def _told(text: str, fix: str, status: int) -> Page:
    return Page("message.html", TITLE, {"text": text, "fix": fix}, status)


ROUTES = (Route("/checkout/store", store, writes=True),)
