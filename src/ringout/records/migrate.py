"""Tables made and brought up to date when records are opened, by Alembic."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from ringout.records.database import lock_set_up, reading, writing
from ringout.records.model import StoreError

if TYPE_CHECKING:
    from alembic.script import ScriptDirectory
    from sqlalchemy import Connection, Engine

STAMP = "alembic_version"
FOLDER = Path(__file__).parent / "migrations"


def scripts() -> ScriptDirectory:
    """Return the migrations that come with this program."""
    from alembic.script import ScriptDirectory

    return ScriptDirectory(str(FOLDER))


def up_to_date(engine: Engine, target: str = "head") -> None:
    """Make the tables, or bring them up to date; does nothing where they are.

    Args:
        engine: the database.
        target: revision to go to.

    Raises:
        StoreError: they were made by a newer program, or cannot be made.
    """
    from ringout.records.schema import REVISION

    if target == "head" and _stamped(engine) == REVISION:
        return  # the usual case: nothing of Alembic is loaded for it
    own = scripts()
    last = own.get_current_head() if target == "head" else target
    with writing(engine) as connection:
        lock_set_up(connection)
        found = _revision(connection)
        if found == last:  # another program was faster
            return
        if found is not None and found not in {s.revision for s in own.walk_revisions()}:
            raise StoreError(
                "the records were written by a newer ringout",
                "install that version, or a later one",
            )
        _run(connection, own, target)


def _stamped(engine: Engine) -> str | None:
    """Return the revision a database says it is at; None for an empty one."""
    from sqlalchemy import column, inspect, select, table

    with reading(engine) as connection:
        if not inspect(connection).has_table(STAMP):
            return None
        query: Any = select(column("version_num")).select_from(table(STAMP))
        return connection.execute(query).scalar()


def _revision(connection: Connection) -> str | None:
    from alembic.runtime.migration import MigrationContext

    return MigrationContext.configure(connection).get_current_revision()


def _run(connection: Connection, own: ScriptDirectory, target: str) -> None:
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext

    context = MigrationContext.configure(
        connection,
        opts={"fn": lambda found, _: own._upgrade_revs(target, found)},  # noqa: SLF001  # as its own commands do
    )
    with Operations.context(context):
        context.run_migrations()
