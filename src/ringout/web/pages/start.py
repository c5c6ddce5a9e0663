"""A new cell from nothing: a name, a temperature, and the first items if wanted."""

from __future__ import annotations

from ringout.base import Diagnostic
from ringout.cellfile.write import EditError, format_value
from ringout.web.checking import check_text
from ringout.web.exchange import Answer, Ask, Page, Redirect, Route
from ringout.web.session import Session

BASIS = """
items:
  T1: {part: supply-24v-5a, note: cabinet supply}
  F1: {part: electronic-breaker-2ch, set: [2 A, 2 A]}
  K1: {part: io-panel-16x16, note: robot controller}

cables:
  W1: {part: cable-2x1.5, length: 0.5 m}
  W2: {part: cable-2x1.0, length: 2 m}
  W3: {part: cable-2x1.0, length: 2 m}

joins:
  - T1:+    W1:BN  F1:in+
  - T1:-    W1:BU  F1:in-
  - F1:out1  W2:BN  K1-XS:1   # controller and inputs
  - F1:m1    W2:BU  K1-XS:2
  - F1:out2  W3:BN  K1-XS:3   # outputs
  - F1:m2    W3:BU  K1-XS:4

signals:
"""
NOTHING = "\nitems:\n\ncables:\n\njoins:\n\nsignals:\n"


def show(session: Session, ask: Ask) -> Answer:
    """Return the form, unless there is a file already."""
    del ask
    if session.exists:
        return Redirect("/")
    return _page(session, {}, "")


def make(session: Session, ask: Ask) -> Answer:
    """Write the new file; one that exists is never written over."""
    words = dict(ask.form)
    try:
        text = new_text(
            words.get("cell", ""),
            words.get("low", "10"),
            words.get("high", "40"),
            basis=words.get("basis") == "yes",
        )
    except EditError as problem:
        return _page(session, words, str(problem))
    _, problems = check_text(session, text)
    if problems:
        return _page(session, words, problems[0].message)
    done = session.save(text, "")
    if isinstance(done, Diagnostic):
        return _page(session, words, done.message)
    return Redirect("/add")


def new_text(name: str, low_c: str, high_c: str, *, basis: bool) -> str:
    """Return the text of a new cell.

    Args:
        name: what the cell is called.
        low_c: lowest temperature round it, in degrees Celsius.
        high_c: highest.
        basis: begin with a supply, its breaker and a controller, joined.

    Raises:
        EditError: the name cannot be written on one line.
    """
    if not name.strip():
        raise EditError("the cell needs a name")
    head = f"cell: {format_value(name.strip())}\nrevision: A\n"
    head += f"ambient: {low_c.strip()}..{high_c.strip()} °C\n"
    return head + (BASIS if basis else NOTHING)


def _page(session: Session, words: dict[str, str], trouble: str) -> Page:
    values = {"sent": words, "trouble": trouble, "path": session.name}
    return Page("new.html", "A new cell", values, 422 if trouble else 200)


ROUTES = (Route("/new", show), Route("/new", make, writes=True))
