"""A number and its thing, as people say it: `1 error`, `2 errors`."""

from __future__ import annotations


def counted(number: int, thing: str, several: str = "") -> str:
    """Return a number and the word for that many, as in `1 line` and `3 lines`."""
    return f"{number} {thing if number == 1 else several or thing + 's'}"
