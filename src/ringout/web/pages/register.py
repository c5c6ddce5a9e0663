"""The list of pages, in the order of the work: a new page module gets one line here."""

from __future__ import annotations

from ringout.web.exchange import Route
from ringout.web.pages import (
    checkout,
    circuit,
    exercise,
    faults,
    file,
    find,
    forms,
    keep,
    overview,
    paper,
    records,
    sockets,
    start,
)

PAGES = (
    overview,
    circuit,
    sockets,
    faults,
    keep,  # before `checkout`, whose paths end in any word
    checkout,
    find,
    paper,
    records,
    exercise,
    forms,
    file,
    start,
)

# What stands in the menu, in the order of the pages; not every page has a place there.
MENU: tuple[tuple[str, str], ...] = tuple(
    line for page in PAGES for line in getattr(page, "MENU", ())
)
ROUTES: tuple[Route, ...] = tuple(route for page in PAGES for route in page.ROUTES)
