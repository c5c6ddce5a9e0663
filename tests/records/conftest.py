"""What the tests of the records share: a small cell, its procedure, and both databases."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from ringout import run
from ringout.records import Store, open_store, run_steps
from tests.physics.small_cells import small_cell
from tests.records.postgres import emptied, programs, server

ITEMS = """
    K1: {part: io-panel-16x16, note: controller}
    S1: {part: pushbutton-1no, note: start}
    S2: {part: pushbutton-1no, note: stop}
"""
JOINS = """
    S1:13  W1:BN  K1-X1:1
    S1:14  W1:WH  K1-X1:4
    S2:13  W2:BN  K1-X2:1
    S2:14  W2:WH  K1-X2:4
    P  K1-XS:1
    M  K1-XS:2
"""
SIGNALS = """
    start: {channel: K1.I1, on: S1 pressed}
    stop: {channel: K1.I2, on: S2 pressed}
"""
CABLES = """
    W1: {part: cable-4x0.34, length: 6 m}
    W2: {part: cable-4x0.34, length: 6 m}
"""


def two_buttons(**other: str) -> str:
    """Return the text of a cell with two buttons; any section may be another."""
    parts = {"items": ITEMS, "joins": JOINS, "signals": SIGNALS, "cables": CABLES, **other}
    return small_cell(**parts)


def good_word(step) -> str:
    """Return what a person says at a step where all is as it should be."""
    if not step.unit:
        return "ok"
    if step.high == float("inf"):
        return "open"
    return f"{(step.low + step.high) / 2:.6g}"


def bad_word(step) -> str:
    """Return what a person says at a step where it is not."""
    if not step.unit:
        return "no: dark"
    return "99 V" if step.unit == "V" else "open" if step.high < float("inf") else "0"


@pytest.fixture(scope="session")
def postgres_server():
    """Yield the URL of a server of this test run's own, or skip what asks for it."""
    if programs() is None:
        pytest.skip("PostgreSQL is not installed")
    with server() as url:
        yield url


@dataclass
class Place:
    """Where a test keeps its records: the cell file and the URL, None for the file beside it."""

    path: Path
    url: str | None

    def open(self, **more) -> Store:
        return open_store(self.path, self.url, **more)

    @property
    def db(self) -> list[str]:
        """Return the option that names the database on the command line."""
        return ["--db", self.url] if self.url else []


@pytest.fixture
def sqlite_place(tmp_path):
    """Return a cell file of two buttons; its records go beside it."""
    (tmp_path / "cell.yaml").write_text(two_buttons(), "utf-8")
    return Place(tmp_path / "cell.yaml", None)


@pytest.fixture
def server_place(tmp_path, postgres_server):
    """Return a cell file of two buttons, and an empty database on a server."""
    (tmp_path / "cell.yaml").write_text(two_buttons(), "utf-8")
    return Place(tmp_path / "cell.yaml", emptied(postgres_server))


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request):
    """Return a cell file of two buttons and an empty database, of either kind."""
    kind = "sqlite_place" if request.param == "sqlite" else "server_place"
    return request.getfixturevalue(kind)


@pytest.fixture(scope="session")
def planned(tmp_path_factory):
    """Return the cell of two buttons and the steps of its checkout."""
    path = tmp_path_factory.mktemp("planned") / "cell.yaml"
    path.write_text(two_buttons(), "utf-8")
    cell = run.load(str(path)).cell
    return cell, run_steps(run.checkout(cell))


@pytest.fixture
def store(place):
    with place.open() as opened:
        yield opened


@pytest.fixture
def filled(store, planned):
    """Return a store with a passed run, one begun, remarks and a photo."""
    cell, steps = planned
    first = store.start_run(cell, steps, who="Ada", meter="meter 7").number
    for step in steps:
        store.add_reading(first, step.number, good_word(step), who="Ada")
    second = store.start_run(cell, steps, who="Ben").number
    store.add_reading(second, 1, bad_word(steps[0]), who="Ben")
    store.add_remark("the plug of S2 is loose", who="Ben", run=second, step=1)
    store.add_remark("seen from the door side", who="Ada")
    store.add_photo(PICTURE, who="Ada", name="plug.jpg", text="S2", run=second)
    return store


PICTURE = b"\xff\xd8\xff\xe0 not much of a picture"


class Clock:
    """A clock that goes where it is told to."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 1, 12, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now
