"""Adding records to the end of a cell's chain, all of them or none."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from ringout.records.chain import record_hash

if TYPE_CHECKING:
    from sqlalchemy import Column, ColumnElement, Connection


class Appending:
    """Adds records to the end of a chain within one transaction."""

    def __init__(self, connection: Connection, cell: str, who: str, at: datetime) -> None:
        self._c, self._cell, self._who = connection, cell, who
        self._at = at.astimezone(UTC).isoformat(timespec="microseconds")
        self._rows: dict[str, list[dict[str, Any]]] = {}
        self._spine: list[dict[str, Any]] = []
        self._number, self._hash = self._take_head()

    def _take_head(self) -> tuple[int, str]:
        """Return the end of the chain, and let no other writer in before this one is done."""
        from sqlalchemy import insert, select

        from ringout.records.schema import heads

        where = heads.c.cell == self._cell
        if self._c.dialect.name == "postgresql":
            from sqlalchemy.dialects.postgresql import insert as pg_insert

            first = pg_insert(heads).values(cell=self._cell, number=0, hash="")
            self._c.execute(first.on_conflict_do_nothing())
        elif self._c.execute(select(heads.c.number).where(where)).first() is None:
            self._c.execute(insert(heads).values(cell=self._cell, number=0, hash=""))
        row = self._c.execute(
            select(heads.c.number, heads.c.hash).where(where).with_for_update()
        ).one()
        return int(row.number), str(row.hash)

    def next_run(self) -> int:
        """Return the number of the next run of the cell."""
        from ringout.records.schema import runs

        return self._most(runs.c.run) + 1

    def next_turn(self, run: int, step: int) -> int:
        """Return how many readings of a step there are, plus one."""
        from ringout.records.schema import readings as t

        return self._most(t.c.turn, t.c.run == run, t.c.step == step) + 1

    def _most(self, column: Column[int], *where: ColumnElement[bool]) -> int:
        from sqlalchemy import func, select

        query = select(func.max(column)).where(column.table.c.cell == self._cell, *where)
        return int(self._c.execute(query).scalar() or 0)

    def keep_picture(self, digest: str, content: bytes) -> None:
        """Keep the bytes of a photo, once only."""
        from sqlalchemy import insert, select

        from ringout.records.schema import pictures

        known = select(pictures.c.digest).where(pictures.c.digest == digest)
        if self._c.execute(known).first() is None:
            if self._c.dialect.name == "postgresql":
                from sqlalchemy.dialects.postgresql import insert as pg_insert

                made = pg_insert(pictures).values(digest=digest, content=content)
                self._c.execute(made.on_conflict_do_nothing())
            else:
                self._c.execute(insert(pictures).values(digest=digest, content=content))

    def add(self, kind: str, /, **body: Any) -> int:
        """Take a record; it is written at the end, all together."""
        self._number += 1
        head = {
            "cell": self._cell,
            "number": self._number,
            "kind": kind,
            "at": self._at,
            "who": self._who,
            "before": self._hash,
        }
        body = {k: _as_stored(v) for k, v in body.items()}
        self._hash = record_hash(head, body)
        self._spine.append({**head, "hash": self._hash})
        row = {"cell": self._cell, "number": self._number, **body}
        self._rows.setdefault(kind, []).append(row)
        return self._number

    def end(self) -> None:
        """Write what was taken, and the new end of the chain."""
        from sqlalchemy import insert, update

        from ringout.records.schema import TABLE_OF, heads, records

        self._c.execute(insert(records), self._spine)
        for kind, rows in self._rows.items():
            self._c.execute(insert(TABLE_OF[kind]), rows)
        self._c.execute(
            update(heads)
            .where(heads.c.cell == self._cell)
            .values(number=self._number, hash=self._hash)
        )


def _as_stored(value: Any) -> Any:
    """Return a value as every database gives it back: no minus nothing, no sign of no character."""
    if isinstance(value, str):
        return value.encode("utf-8", "replace").decode().replace("\0", " ")
    return value + 0.0 if isinstance(value, float) else value
