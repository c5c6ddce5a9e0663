"""Rules inside the database itself: what was recorded is neither changed nor deleted.

They stop mistakes, not a person with the rights of an owner: that is what the chain is for.
"""

from __future__ import annotations

from alembic import op

_SAID = "records are only added to"


def forbid_changes(*tables: str) -> None:
    """Make changes and deletions in tables fail.

    Args:
        tables: names of tables of this program; never anybody's input.
    """
    server = op.get_bind().dialect.name == "postgresql"
    if server:
        op.execute(
            "CREATE OR REPLACE FUNCTION ringout_only_add() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{_SAID}'; END $$"
        )
    for table in tables:
        for deed in ("UPDATE", "DELETE"):
            name = f"{table}_no_{deed.lower()}"
            if server:
                op.execute(
                    f"CREATE TRIGGER {name} BEFORE {deed} ON {table} "
                    "FOR EACH ROW EXECUTE FUNCTION ringout_only_add()"
                )
            else:
                op.execute(
                    f"CREATE TRIGGER {name} BEFORE {deed} ON {table} "
                    f"BEGIN SELECT RAISE(ABORT, '{_SAID}'); END"
                )
