"""What is asked of a page and what it answers, without a word of HTTP libraries."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeAlias

from ringout.web.person import NOBODY, Person

if TYPE_CHECKING:
    from ringout.web.session import Session


@dataclass(frozen=True, slots=True)
class Ask:
    """One question to a page.

    Args:
        path: path of the URL.
        words: parts of the path by name.
        query: what stands behind the question mark, in order.
        form: fields of a form that was sent, in order.
        person: who the browser says is working.
    """

    path: str
    words: Mapping[str, str] = field(default_factory=dict)
    query: tuple[tuple[str, str], ...] = ()
    form: tuple[tuple[str, str], ...] = ()
    person: Person = NOBODY

    def first(self, name: str, default: str = "") -> str:
        """Return the first value of a query field."""
        return next((v for k, v in self.query if k == name), default)

    def every(self, name: str) -> tuple[str, ...]:
        """Return all values of a query field that say something."""
        return tuple(v for k, v in self.query if k == name and v.strip())

    def sent(self, name: str, default: str = "") -> str:
        """Return the first value of a form field."""
        return next((v for k, v in self.form if k == name), default)


def whole(word: str, figures: int) -> int:
    """Return the number a word is, in figures alone and not too many; 0 for anything else."""
    return int(word) if word.isascii() and word.isdecimal() and len(word) <= figures else 0


@dataclass(frozen=True, slots=True)
class Page:
    """A page to be shown: its template, title and what the template is given."""

    template: str
    title: str
    values: Mapping[str, Any] = field(default_factory=dict)
    status: int = 200


@dataclass(frozen=True, slots=True)
class Redirect:
    """Go to another page of the bench instead; a person is remembered by the browser."""

    to: str
    person: Person | None = None


@dataclass(frozen=True, slots=True)
class Raw:
    """A finished file: its bytes, media type and, to be saved, its name."""

    data: bytes
    media: str
    name: str = ""


Answer: TypeAlias = Page | Redirect | Raw
Handler: TypeAlias = "Callable[[Session, Ask], Answer]"


@dataclass(frozen=True, slots=True)
class Route:
    """Where a page is found; `writes` is set for what is sent as a form."""

    path: str
    handler: Handler
    writes: bool = False


def not_there(what: str, fix: str = "") -> Page:
    """Return the page for something that does not exist."""
    return Page("message.html", "Not there", {"text": what, "fix": fix}, 404)
