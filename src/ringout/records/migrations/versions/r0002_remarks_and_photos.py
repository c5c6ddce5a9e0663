"""Remarks and photos."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from ringout.records.migrations.guard import forbid_changes

revision = "r0002"
down_revision = "r0001"


def _head() -> list[sa.Column[object]]:
    return [
        sa.Column("cell", sa.String(200), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("run", sa.Integer, nullable=False),
        sa.Column("step", sa.Integer, nullable=False),
    ]


def _of_records() -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["cell", "number"], ["records.cell", "records.number"])


def upgrade() -> None:
    """Make the tables of remarks and photos."""
    op.create_table("remarks", *_head(), sa.Column("text", sa.Text, nullable=False), _of_records())
    op.create_table(
        "photos",
        *_head(),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("kind", sa.String(8), nullable=False),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        _of_records(),
    )
    op.create_table(
        "pictures",
        sa.Column("digest", sa.String(64), primary_key=True),
        sa.Column("content", sa.LargeBinary, nullable=False),
    )
    forbid_changes("remarks", "photos", "pictures")
