"""The tables as SQLAlchemy knows them; loaded only when records are opened.

`records` is the chain, one row a record. What a record holds stands in the table of its kind,
under the same cell and number. New columns must be nullable: what is null is left out of the
hash, so that older records keep theirs.
"""

from __future__ import annotations

from sqlalchemy import (
    Column,
    Float,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
)

from ringout.records.model import PHOTO, READING, REMARK, RUN, STEP

CELL_LONG, WHO_LONG, HASH_LONG, AT_LONG = 200, 80, 64, 40

REVISION = "r0003"  # of the newest step in migrations/versions
metadata = MetaData()


def _key() -> tuple[Column[str], Column[int]]:
    """Return the columns every table of the chain begins with."""
    return (
        Column("cell", String(CELL_LONG), primary_key=True),
        Column("number", Integer, primary_key=True, autoincrement=False),
    )


def _of_records() -> ForeignKeyConstraint:
    return ForeignKeyConstraint(["cell", "number"], ["records.cell", "records.number"])


records = Table(
    "records",
    metadata,
    *_key(),
    Column("kind", String(16), nullable=False),
    Column("at", String(AT_LONG), nullable=False),
    Column("who", String(WHO_LONG), nullable=False),
    Column("before", String(HASH_LONG), nullable=False),
    Column("hash", String(HASH_LONG), nullable=False),
)
heads = Table(
    "heads",
    metadata,
    Column("cell", String(CELL_LONG), primary_key=True),
    Column("number", Integer, nullable=False),
    Column("hash", String(HASH_LONG), nullable=False),
)
runs = Table(
    "runs",
    metadata,
    *_key(),
    Column("run", Integer, nullable=False),
    Column("meter", Text, nullable=False),
    Column("source", String(16), nullable=False),
    Column("file", Text, nullable=False),
    Column("file_hash", String(HASH_LONG), nullable=False),
    Column("revision", Text, nullable=False),
    Column("program", String(40), nullable=False),
    Column("steps", Integer, nullable=False),
    Column("base", Integer, nullable=False),
    Column("snapshot", Text, nullable=False),
    _of_records(),
    Index("runs_by_run", "cell", "run", unique=True),
)
steps = Table(
    "steps",
    metadata,
    *_key(),
    Column("run", Integer, nullable=False),
    Column("step", Integer, nullable=False),
    Column("key", Text, nullable=False),
    Column("phase", String(16), nullable=False),
    Column("kind", String(16), nullable=False),
    Column("do", Text, nullable=False),
    Column("expect", Text, nullable=False),
    Column("low", Float(53)),
    Column("high", Float(53)),
    Column("unit", String(8), nullable=False),
    Column("levels", Text, nullable=False),
    Column("if_not", Text, nullable=False),
    Column("caught", Text, nullable=False),
    Column("kept", Integer, nullable=False),
    _of_records(),
    Index("steps_by_step", "cell", "run", "step", unique=True),
)
readings = Table(
    "readings",
    metadata,
    *_key(),
    Column("run", Integer, nullable=False),
    Column("step", Integer, nullable=False),
    Column("turn", Integer, nullable=False),
    Column("meter", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("value", Float(53)),
    Column("verdict", String(16), nullable=False),
    Column("carried", Integer, nullable=False),
    Column("detail", Text),
    Column("token", String(80)),
    _of_records(),
    Index("readings_by_step", "cell", "run", "step", "turn", unique=True),
    Index("readings_by_token", "cell", "token", unique=True),
)
remarks = Table(
    "remarks",
    metadata,
    *_key(),
    Column("run", Integer, nullable=False),
    Column("step", Integer, nullable=False),
    Column("text", Text, nullable=False),
    _of_records(),
)
photos = Table(
    "photos",
    metadata,
    *_key(),
    Column("run", Integer, nullable=False),
    Column("step", Integer, nullable=False),
    Column("name", Text, nullable=False),
    Column("kind", String(8), nullable=False),
    Column("size", Integer, nullable=False),
    Column("digest", String(HASH_LONG), nullable=False),
    Column("text", Text, nullable=False),
    _of_records(),
)
pictures = Table(
    "pictures",
    metadata,
    Column("digest", String(HASH_LONG), primary_key=True),
    Column("content", LargeBinary, nullable=False),
)

TABLE_OF = {RUN: runs, STEP: steps, READING: readings, REMARK: remarks, PHOTO: photos}
