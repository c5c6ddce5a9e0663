"""Checkout runs, their steps and readings, chained; nothing of it may be changed or deleted."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from ringout.records.migrations.guard import forbid_changes

revision = "r0001"
down_revision = None


def _key() -> list[sa.Column[object]]:
    return [
        sa.Column("cell", sa.String(200), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    ]


def _of_records() -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["cell", "number"], ["records.cell", "records.number"])


def upgrade() -> None:
    """Make the first tables."""
    op.create_table(
        "records",
        *_key(),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("who", sa.String(80), nullable=False),
        sa.Column("before", sa.String(64), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
    )
    op.create_table(
        "heads",
        sa.Column("cell", sa.String(200), primary_key=True),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
    )
    op.create_table(
        "runs",
        *_key(),
        sa.Column("run", sa.Integer, nullable=False),
        sa.Column("meter", sa.Text, nullable=False),
        sa.Column("source", sa.String(16), nullable=False),
        sa.Column("file", sa.Text, nullable=False),
        sa.Column("file_hash", sa.String(64), nullable=False),
        sa.Column("revision", sa.Text, nullable=False),
        sa.Column("program", sa.String(40), nullable=False),
        sa.Column("steps", sa.Integer, nullable=False),
        sa.Column("base", sa.Integer, nullable=False),
        sa.Column("snapshot", sa.Text, nullable=False),
        _of_records(),
    )
    op.create_index("runs_by_run", "runs", ["cell", "run"], unique=True)
    op.create_table(
        "steps",
        *_key(),
        sa.Column("run", sa.Integer, nullable=False),
        sa.Column("step", sa.Integer, nullable=False),
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("phase", sa.String(16), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("do", sa.Text, nullable=False),
        sa.Column("expect", sa.Text, nullable=False),
        sa.Column("low", sa.Float(53)),
        sa.Column("high", sa.Float(53)),
        sa.Column("unit", sa.String(8), nullable=False),
        sa.Column("levels", sa.Text, nullable=False),
        sa.Column("if_not", sa.Text, nullable=False),
        sa.Column("caught", sa.Text, nullable=False),
        sa.Column("kept", sa.Integer, nullable=False),
        _of_records(),
    )
    op.create_index("steps_by_step", "steps", ["cell", "run", "step"], unique=True)
    op.create_table(
        "readings",
        *_key(),
        sa.Column("run", sa.Integer, nullable=False),
        sa.Column("step", sa.Integer, nullable=False),
        sa.Column("turn", sa.Integer, nullable=False),
        sa.Column("meter", sa.Text, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("value", sa.Float(53)),
        sa.Column("verdict", sa.String(16), nullable=False),
        sa.Column("carried", sa.Integer, nullable=False),
        sa.Column("detail", sa.Text),
        sa.Column("token", sa.String(80)),
        _of_records(),
    )
    op.create_index("readings_by_step", "readings", ["cell", "run", "step", "turn"], unique=True)
    op.create_index("readings_by_token", "readings", ["cell", "token"], unique=True)
    forbid_changes("records", "runs", "steps", "readings")
