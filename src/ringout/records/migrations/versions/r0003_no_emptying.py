"""No table is emptied at one stroke, and no row is put in the place of another."""

from __future__ import annotations

from ringout.records.migrations.guard import forbid_emptying, forbid_replacing

revision = "r0003"
down_revision = "r0002"

_ROW = ("cell", "number")


def upgrade() -> None:
    """Add the rules that were missing."""
    forbid_emptying("records", "runs", "steps", "readings", "remarks", "photos", "pictures")
    for table in ("records", "remarks", "photos"):
        forbid_replacing(table, _ROW)
    forbid_replacing("runs", _ROW, ("cell", "run"))
    forbid_replacing("steps", _ROW, ("cell", "run", "step"))
    forbid_replacing("readings", _ROW, ("cell", "run", "step", "turn"), ("cell", "token"))
    forbid_replacing("pictures", ("digest",), same="content")  # one photo may be told twice
