"""Who works at the bench: said once in each browser, and kept there."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import parse_qs, urlencode

from ringout.base.one_line import clean

COOKIE = "ringout_person"
COOKIE_S = 30 * 24 * 3600
MOST = 80  # characters of a name, as the records hold it


@dataclass(frozen=True, slots=True)
class Person:
    """Who reads, and with which meter; both empty until they are said."""

    name: str = ""
    meter: str = ""


NOBODY = Person()


def person_of(name: str, meter: str = "") -> Person:
    """Return a person as typed, without signs that no name holds."""
    return Person(clean(name, MOST), clean(meter, MOST))


def from_cookie(text: str) -> Person:
    """Return the person a browser remembers; anything else is nobody."""
    found = parse_qs(text[:2000], max_num_fields=4) if text.isascii() else {}
    return person_of(found.get("name", [""])[0], found.get("meter", [""])[0])


def to_cookie(person: Person) -> str:
    """Return what a browser is to remember, in signs a cookie may hold."""
    return urlencode({"name": person.name, "meter": person.meter})
