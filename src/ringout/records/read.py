"""Reading records back as frozen data."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from ringout.records import database
from ringout.records.evidence import RunStep
from ringout.records.model import (
    PASSED,
    RIGHT,
    WRONG,
    Entry,
    Head,
    Photo,
    Reading,
    Remark,
    Run,
    RunState,
    StepState,
    StoreError,
)

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine, Table


class Reader:
    """What may be asked of the records of one cell.

    Args:
        engine: the database.
        cell: name of the cell.
    """

    def __init__(self, engine: Engine, cell: str) -> None:
        self.engine, self.cell = engine, cell

    def runs(self) -> tuple[RunState, ...]:
        """Return all runs of the cell and how far each is, oldest first."""
        from ringout.records.schema import runs as t

        with database.reading(self.engine) as c:
            rows = self._rows(c, t, (t.c.run,))
            last: dict[int, dict[int, Reading]] = {}
            for reading in self._readings(c):
                last.setdefault(reading.run, {})[reading.step] = reading
        return tuple(_state(_run(row), last.get(row["run"], {})) for row in rows)

    def run(self, number: int) -> Run:
        """Return one run.

        Raises:
            StoreError: there is none with this number.
        """
        return self.state_of(number).run

    def state_of(self, number: int) -> RunState:
        """Return one run and how far it is.

        Raises:
            StoreError: there is none with this number.
        """
        found = next((s for s in self.runs() if s.run.number == number), None)
        if found is None:
            raise StoreError(
                f"there is no run {number} of {self.cell}", "`ringout records list` shows them"
            )
        return found

    def last_run(self, state: str = "") -> RunState | None:
        """Return the newest run, or the newest in a state: `open`, `passed` or `failed`."""
        return next((s for s in reversed(self.runs()) if not state or s.state == state), None)

    def last_passed(self) -> RunState | None:
        """Return the newest run of which every step was right."""
        return self.last_run(PASSED)

    def steps_of(self, run: int) -> tuple[StepState, ...]:
        """Return the steps of a run in order, each with all its readings.

        Args:
            run: number of the run.
        """
        from ringout.records.schema import steps as t

        with database.reading(self.engine) as c:
            rows = self._rows(c, t, (t.c.step,), run=run)
            readings: dict[int, list[Reading]] = {}
            for reading in self._readings(c, run=run):
                readings.setdefault(reading.step, []).append(reading)
        return tuple(StepState(_step(row), tuple(readings.get(row["step"], ()))) for row in rows)

    def step(self, run: int, step: int) -> RunStep:
        """Return one step of a run.

        Raises:
            StoreError: there is none with this number.
        """
        from ringout.records.schema import steps as t

        with database.reading(self.engine) as c:
            rows = self._rows(c, t, (t.c.step,), run=run, step=step)
        if not rows:
            raise StoreError(
                f"there is no step {step} in run {run} of {self.cell}",
                "`ringout records show` lists them",
            )
        return _step(rows[0])

    def next_step(self, run: int) -> StepState | None:
        """Return the first step of a run that has no reading; None when all have."""
        return next((s for s in self.steps_of(run) if not s.readings), None)

    def reading(self, record: int) -> Reading:
        """Return the reading with this number in the chain.

        Raises:
            StoreError: there is none.
        """
        with database.reading(self.engine) as c:
            found = self._readings(c, number=record)
        if not found:
            raise StoreError(f"record {record} of {self.cell} is no reading", "")
        return found[0]

    def remarks(self, run: int | None = None) -> tuple[Remark, ...]:
        """Return remarks in order: of one run (0 for those about the cell), or all."""
        from ringout.records.schema import remarks as t

        where = {} if run is None else {"run": run}
        with database.reading(self.engine) as c:
            rows = self._rows(c, t, (t.c.number,), **where)
        return tuple(
            Remark(r["number"], r["run"], r["step"], r["at"], r["who"], r["text"]) for r in rows
        )

    def photos(self, run: int | None = None) -> tuple[Photo, ...]:
        """Return photos in order, without their bytes: of one run (0 for the cell), or all."""
        from ringout.records.schema import photos as t

        where = {} if run is None else {"run": run}
        with database.reading(self.engine) as c:
            rows = self._rows(c, t, (t.c.number,), **where)
        names = ("run", "step", "at", "who", "name", "kind", "size", "digest", "text")
        return tuple(Photo(r["number"], *(r[n] for n in names)) for r in rows)

    def picture(self, digest: str) -> bytes:
        """Return the bytes of a photo of this cell.

        Args:
            digest: its hash.

        Raises:
            StoreError: this cell has no such photo.
        """
        from sqlalchemy import select

        from ringout.records.schema import pictures as t

        content = None
        if any(p.digest == digest for p in self.photos()):
            with database.reading(self.engine) as c:
                content = c.execute(select(t.c.content).where(t.c.digest == digest)).scalar()
        if content is None:
            raise StoreError("there is no such photo", "`ringout records show` lists them")
        return bytes(content)

    def head(self) -> Head:
        """Return the end of the chain; it changes with every record that is added."""
        from sqlalchemy import select

        from ringout.records.schema import heads as t

        with database.reading(self.engine) as c:
            row = c.execute(select(t.c.number, t.c.hash).where(t.c.cell == self.cell)).first()
        return Head(0, "") if row is None else Head(int(row.number), str(row.hash))

    def since(self, number: int = 0) -> tuple[Entry, ...]:
        """Return the records that came after one, in order: what others have entered meanwhile.

        Args:
            number: a record's number, as in `head().number`; 0 for all.
        """
        from sqlalchemy import select

        from ringout.records.schema import TABLE_OF
        from ringout.records.schema import records as t

        with database.reading(self.engine) as c:
            found = c.execute(
                select(t).where(t.c.cell == self.cell, t.c.number > number).order_by(t.c.number)
            ).mappings()
            rows = [dict(r) for r in found]
            places: dict[int, tuple[int, int]] = {}
            for table in TABLE_OF.values():
                columns = [table.c.number, table.c.run]
                if "step" in table.c:
                    columns.append(table.c.step)
                query = select(*columns).where(table.c.cell == self.cell, table.c.number > number)
                for row in c.execute(query):
                    places[row[0]] = (row[1], row[2] if len(row) > 2 else 0)
        return tuple(
            Entry(
                r["number"], r["kind"], r["at"], r["who"], r["hash"], r["before"],
                *places.get(r["number"], (0, 0)),
            )
            for r in rows
        )  # fmt: skip

    # -- helpers ---------------------------------------------------------------------------

    def _rows(
        self, c: Connection, table: Table, order: Sequence[Any], **where: int
    ) -> list[dict[str, Any]]:
        """Return rows of one kind with the time and the person of their record."""
        from sqlalchemy import and_, select

        from ringout.records.schema import records as r

        same = and_(r.c.cell == table.c.cell, r.c.number == table.c.number)
        query = select(table, r.c.at, r.c.who).join(r, same).where(table.c.cell == self.cell)
        for name, value in where.items():
            query = query.where(table.c[name] == value)
        return [dict(row) for row in c.execute(query.order_by(*order)).mappings()]

    def _readings(self, c: Connection, **where: int) -> list[Reading]:
        from ringout.records.schema import readings as t

        return [_reading(row) for row in self._rows(c, t, (t.c.number,), **where)]

    def _by_token(self, c: Connection, token: str) -> Reading | None:
        """Return the reading a sender has named so before."""
        from sqlalchemy import select

        from ringout.records.schema import readings as t

        if not token:
            return None
        query = select(t.c.number).where(t.c.cell == self.cell, t.c.token == token)
        number = c.execute(query).scalar()
        return None if number is None else self._readings(c, number=int(number))[0]


def _run(row: dict[str, Any]) -> Run:
    names = (
        "run", "at", "who", "meter", "source", "file", "file_hash", "revision", "program",
        "steps", "base", "snapshot",
    )  # fmt: skip
    return Run(row["number"], *(row[n] for n in names))


def _state(run: Run, last: dict[int, Reading]) -> RunState:
    verdicts = [r.verdict for r in last.values()]
    newest = max(last.values(), key=lambda r: r.record, default=None)
    return RunState(
        run, verdicts.count(RIGHT), verdicts.count(WRONG), newest.at if newest is not None else ""
    )


def _step(row: dict[str, Any]) -> RunStep:
    return RunStep(
        number=row["step"],
        key=row["key"],
        phase=row["phase"],
        kind=row["kind"],
        do=row["do"],
        expect=row["expect"],
        low=row["low"],
        high=row["high"],
        unit=row["unit"],
        levels=tuple((name, word) for name, word in json.loads(row["levels"])),
        if_not=row["if_not"],
        caught=tuple(row["caught"].split("\n")) if row["caught"] else (),
        kept=bool(row["kept"]),
    )


def _reading(row: dict[str, Any]) -> Reading:
    return Reading(
        record=row["number"],
        run=row["run"],
        step=row["step"],
        turn=row["turn"],
        at=row["at"],
        who=row["who"],
        meter=row["meter"],
        text=row["text"],
        value=row["value"],
        verdict=row["verdict"],
        carried=row["carried"],
        detail=row["detail"] or "",
        token=row["token"] or "",
    )
