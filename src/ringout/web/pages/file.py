"""File: the text with its problems, edited, checked, saved, taken back."""

from __future__ import annotations

from ringout.base import Diagnostic
from ringout.web.checking import Problem, check_text
from ringout.web.exchange import Answer, Ask, Page, Redirect, Route
from ringout.web.session import Session

SAID = {"saved": "Saved.", "undone": "Taken back.", "same": "Nothing was changed."}


def show(session: Session, ask: Ask) -> Answer:
    """Return the text as it is on disk."""
    if not session.exists:
        return Redirect("/new")
    text, digest = session.read()
    said = SAID.get(ask.first("done"), "")
    odd = "This file is no UTF-8 text, or too large: it cannot be saved from here."
    return _page(session, text, digest, said=said, trouble="" if digest else odd)


def save(session: Session, ask: Ask) -> Answer:
    """Save, or only check, the text that was sent."""
    disk, _ = session.read()
    text = as_on_disk(ask.sent("text"), disk)
    digest = ask.sent("digest")
    if ask.sent("do") == "check":
        return _page(session, text, digest, said="Checked; not saved yet.")
    if text == disk:
        return Redirect("/file?done=same")
    done = session.save(text, digest)
    if isinstance(done, Diagnostic):
        trouble = f"Not saved: {done.message}. Your text is still below; copy it first."
        return _page(session, text, digest, trouble=trouble, status=409)
    return Redirect("/file?done=saved")


def take_back(session: Session, ask: Ask) -> Answer:
    """Put back the text from before the last save."""
    done = session.take_back(ask.sent("digest"))
    if done is None or isinstance(done, Diagnostic):
        text, digest = session.read()
        why = done.message if done is not None else "the file was changed by other means since"
        return _page(session, text, digest, trouble=f"Nothing taken back: {why}.", status=409)
    return Redirect(ask.sent("to") if ask.sent("to") == "/add" else "/file?done=undone")


def as_on_disk(text: str, disk: str) -> str:
    """Return a text from a form, whose lines end as a browser sends them, with the file's own."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    return plain.replace("\n", "\r\n") if "\r\n" in disk else plain


def _page(  # one value of the page each
    session: Session,
    text: str,
    digest: str,
    *,
    said: str = "",
    trouble: str = "",
    status: int = 200,
) -> Page:
    _, problems = check_text(session, text)
    shown = text.replace("\r\n", "\n")
    marks = _marks(problems)
    return Page(
        "file.html",
        session.name,
        {
            "text": shown,
            "digest": digest,
            "problems": problems,
            "numbers": [(k, marks.get(k, "")) for k in range(1, shown.count("\n") + 2)],
            "said": said,
            "trouble": trouble,
            "can_undo": bool(session.undo) and session.undo[-1][0] == digest,
        },
        status,
    )


def _marks(problems: list[Problem]) -> dict[int, str]:
    marks: dict[int, str] = {}
    for p in problems:
        if p.severity == "error" or p.line not in marks:
            marks[p.line] = "bad" if p.severity == "error" else "odd"
    return marks


ROUTES = (
    Route("/file", show),
    Route("/file", save, writes=True),
    Route("/file/undo", take_back, writes=True),
)
