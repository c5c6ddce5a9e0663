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
    live,
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
    checkout,
    find,
    paper,
    records,
    live,
    exercise,
    forms,
    file,
    start,
)

ROUTES: tuple[Route, ...] = tuple(route for page in PAGES for route in page.ROUTES)
