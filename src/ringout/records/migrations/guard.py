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


def forbid_emptying(*tables: str) -> None:
    """Make PostgreSQL refuse TRUNCATE, for which no rule on rows is asked.

    Args:
        tables: names of tables of this program; never anybody's input.
    """
    if op.get_bind().dialect.name != "postgresql":
        return  # SQLite knows no such word
    for table in tables:
        op.execute(
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION ringout_only_add()"
        )


def forbid_replacing(table: str, *keys: tuple[str, ...], same: str = "") -> None:
    """Make SQLite refuse REPLACE, which deletes a row without asking the rule on deletions.

    Args:
        table: name of a table of this program; never anybody's input.
        keys: the columns of each unique key.
        same: a column; a row that says the same there may be put in once more.
    """
    if op.get_bind().dialect.name == "postgresql":
        return  # its ON CONFLICT DO UPDATE asks the rule on changes
    taken = " OR ".join(
        "(" + " AND ".join(f"{column} = NEW.{column}" for column in key) + ")" for key in keys
    )
    unlike = f" AND {same} <> NEW.{same}" if same else ""
    met = f"SELECT 1 FROM {table} WHERE ({taken}){unlike}"  # noqa: S608  # own names, no input
    op.execute(
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} WHEN EXISTS ({met}) "
        f"BEGIN SELECT RAISE(ABORT, '{_SAID}'); END"
    )
