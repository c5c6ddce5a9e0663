"""What pages say while something that takes seconds is worked out."""

from __future__ import annotations

from ringout.web.exchange import Page, Redirect
from ringout.web.jobs import Job
from ringout.web.session import Session
from ringout.web.snapshot import Snapshot


def waiting_page(title: str, job: Job, what: str) -> Page:
    """Return the page that waits for a job; the same address is asked for again.

    Args:
        title: title of the page that will be there.
        job: what it waits for.
        what: what is being done, in words.
    """
    return Page("waiting.html", title, {"job": job, "what": what})


def cell_or_way(session: Session, title: str) -> Snapshot | Page | Redirect:
    """Return the cell as it is now, or where to go while there is none."""
    if not session.exists:
        return Redirect("/new")
    now = session.now()
    if now.cell is not None:
        return now
    text = "Nothing could be made of the file yet."
    fix = "Open it under File and mend the lines that are marked there."
    return Page("message.html", title, {"text": text, "fix": fix})
