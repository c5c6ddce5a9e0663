"""Raw SQL past the program, and past the rules inside the database."""

from __future__ import annotations

import sqlite3
from contextlib import contextmanager

from ringout.records import default_path

TABLES = ("records", "runs", "steps", "readings", "remarks", "photos", "pictures")


class Raw:
    """A bare connection; parameters are written as `?` on either database."""

    def __init__(self, connection, *, server: bool) -> None:
        self._c, self.server = connection, server

    def __call__(self, words: str, *values):
        words = words.replace("?", "%s") if self.server else words
        return self._c.execute(words, values)

    def unguard(self) -> None:
        """Take the rules away that forbid changes, as an owner of the database could."""
        if self.server:
            for table in TABLES:
                self(f"ALTER TABLE {table} DISABLE TRIGGER ALL")
            return
        for (name,) in self("SELECT name FROM sqlite_master WHERE type='trigger'").fetchall():
            self(f"DROP TRIGGER {name}")


@contextmanager
def raw(place):
    """Yield a bare connection to the database of a place; what was done is kept."""
    if place.url:
        import psycopg

        with psycopg.connect(place.url) as connection:
            yield Raw(connection, server=True)
        return
    connection = sqlite3.connect(default_path(place.path))
    try:
        yield Raw(connection, server=False)
        connection.commit()
    finally:
        connection.close()
