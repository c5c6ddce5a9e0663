"""Where records lie, and a connection to it: a file beside the cell, or a server by URL."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ringout.records.model import StoreError

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine

FOLDER, FILE = ".ringout", "records.db"
WAIT_S = 15.0  # for another writer to end
_LOCK = 7_241_905  # number of the lock that guards set-up, any will do
_DISK_FULL = "53100"  # PostgreSQL's own code for a full disk


def default_path(cell_path: str | Path) -> Path:
    """Return the database beside a cell file; all cells of one folder share it."""
    return Path(cell_path).parent / FOLDER / FILE


def hide_password(url: str) -> str:
    """Return a URL as it may be shown."""
    return re.sub(r"(://[^:/@]*):[^@]*@", r"\1:***@", url)


def open_engine(cell_path: str | Path, url: str | None) -> Engine:
    """Return an engine for the records of a cell file.

    Args:
        cell_path: the cell file.
        url: `postgresql://...` or `sqlite:///...`; None for the file beside the cell.

    Raises:
        StoreError: the URL is of another kind, or the folder cannot be made.
    """
    from sqlalchemy import create_engine, make_url
    from sqlalchemy.exc import ArgumentError, NoSuchModuleError

    beside = default_path(cell_path)
    if not url and (beside.is_symlink() or beside.parent.is_symlink()):
        raise StoreError(
            f"{FOLDER} is a link that leads out of the folder of the cell",
            "replace it by a folder, or name the place with --db",
        )
    try:
        target = make_url(url) if url else make_url(f"sqlite:///{beside}")
    except ArgumentError as problem:
        raise StoreError(
            f"`{hide_password(url or '')}` is no database URL",
            "write it as `postgresql://USER@HOST/NAME`",
        ) from problem
    kind = target.get_backend_name()
    if kind == "sqlite":
        return _sqlite(str(target.database or ""))
    if kind in ("postgresql", "postgres"):
        try:
            return create_engine(
                target.set(drivername="postgresql+psycopg"),
                connect_args={"connect_timeout": 10},
                pool_pre_ping=True,
            )
        except (ArgumentError, NoSuchModuleError) as problem:
            raise StoreError(f"the URL cannot be used: {problem}", "") from problem
    raise StoreError(
        f"records cannot be kept in `{kind}`", "use PostgreSQL (`postgresql://...`) or SQLite"
    )


def _sqlite(name: str) -> Engine:
    from sqlalchemy import create_engine, event
    from sqlalchemy.engine import URL

    if not name or name == ":memory:":
        raise StoreError("records must outlive the program", "name a file after `sqlite:///`")
    folder = Path(name).parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise StoreError(
            f"the folder {folder} cannot be made: {problem.strerror or problem}",
            "make it yourself, or name another place with --db",
        ) from problem
    engine = create_engine(URL.create("sqlite", database=name), connect_args={"timeout": WAIT_S})

    @event.listens_for(engine, "connect")
    def connected(connection: Any, _record: Any) -> None:
        # transactions are begun below, in the open, so that tables and rows come as a whole
        connection.isolation_level = None
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")  # what is acknowledged is on the disk

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        writing = connection.get_execution_options().get("ringout_writing", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")

    return engine


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """Yield a connection in a transaction that writes; all of it is kept, or nothing.

    Raises:
        StoreError: it could not be stored.
    """
    with plainly("stored"), engine.connect() as bare:
        connection = bare.execution_options(ringout_writing=True)
        with connection.begin():
            yield connection


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Yield a connection in a transaction that reads.

    Raises:
        StoreError: it could not be read.
    """
    with plainly("read"), engine.begin() as connection:
        yield connection


@contextmanager
def plainly(done: str) -> Iterator[None]:
    """Turn what a database says into plain words.

    Args:
        done: what was to be done, as in `stored`.

    Raises:
        StoreError: something went wrong.
    """
    from sqlalchemy.exc import DBAPIError, SQLAlchemyError

    try:
        yield
    except DBAPIError as problem:
        raise told(problem, done) from problem
    except SQLAlchemyError as problem:
        raise StoreError(f"it could not be {done}: {_first_line(problem)}", "") from problem


def told(problem: Any, done: str) -> StoreError:
    """Return a database's complaint in plain words."""
    from sqlalchemy.exc import IntegrityError

    origin = getattr(problem, "orig", problem)
    said = _first_line(origin)
    code = str(getattr(origin, "sqlstate", "") or "")
    low = said.casefold()
    nothing = f"nothing of this step was {done}" if done == "stored" else f"nothing was {done}"
    for found, message, cure in (
        (
            code == _DISK_FULL or "disk is full" in low,
            f"the disk with the records is full: {nothing}",
            "free some space, then enter this step again",
        ),
        (
            "database is locked" in low,
            f"somebody else has been writing to the records for {WAIT_S:.0f} s: {nothing}",
            "try again; if it stays so, a program with the file open hangs",
        ),
        (
            "readonly" in low or "read-only" in low,
            f"the records may not be written: {nothing}",
            "ask for the right to write there, or name another place with --db",
        ),
        (
            "disk i/o error" in low,
            f"the disk with the records fails, or is full: {nothing}",
            "look at the disk, then enter this step again",
        ),
        (
            "not a database" in low or "malformed" in low,
            "the file is no database of records, or it is damaged",
            "put back a copy; what is left can be told by `ringout records verify`",
        ),
        (
            isinstance(problem, IntegrityError),
            f"the records do not fit together: {nothing}",
            "`ringout records verify` says what is wrong with them",
        ),
        (
            "unable to open" in low,
            "the file with the records cannot be opened",
            "look at its folder and its rights",
        ),
        (
            getattr(problem, "connection_invalidated", False) or _unreachable(low),
            f"the database server cannot be reached: {said}",
            "start it, or look at host, port, user and password in the URL",
        ),
    ):
        if found:
            return StoreError(message, cure)
    return StoreError(f"it could not be {done}: {said}", "")


def _unreachable(low: str) -> bool:
    words = ("connection", "could not translate host", "password authentication", "does not exist")
    return any(w in low for w in words)


def _first_line(problem: BaseException | Any) -> str:
    lines = [line.strip() for line in str(problem).splitlines() if line.strip()]
    return lines[0] if lines else type(problem).__name__


def lock_set_up(connection: Connection) -> None:
    """Let only one program at a time set up or bring up to date the tables of a server."""
    from sqlalchemy import text

    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _LOCK})


def exists(cell_path: str | Path, url: str | None) -> bool:
    """Return whether there is a database to look into; a server is always taken to have one."""
    if url and not url.startswith("sqlite"):
        return True
    name = url.partition(":///")[2] if url else os.fspath(default_path(cell_path))
    return Path(name).is_file()
