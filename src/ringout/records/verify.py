"""Whether the records are as they were written: every hash computed anew."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from ringout.records.chain import record_hash

if TYPE_CHECKING:
    from sqlalchemy import Connection

LEAST_FIGURES = 8  # of a head hash that is typed in from paper


@dataclass(frozen=True, slots=True)
class Broken:
    """Something that is not as it was written.

    Args:
        number: number of the record, or of the last one before it.
        kind: `changed`, `missing`, `added`, `order`, `cut`, `picture`.
        text: one plain sentence.
    """

    number: int
    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class Verified:
    """What came of it.

    Args:
        cell: name of the cell.
        records: records read.
        head: hash of the last one; empty for none.
        broken: all that is not as it was written; empty when everything holds.
        notes: what is odd but proves nothing, such as a clock set back.
        found_at: number of the record whose hash was asked for; 0 for none.
    """

    cell: str
    records: int
    head: str
    broken: tuple[Broken, ...]
    notes: tuple[str, ...]
    found_at: int = 0

    @property
    def holds(self) -> bool:
        """Return whether everything is as it was written."""
        return not self.broken


def verify_chain(connection: Connection, cell: str, head: str = "") -> Verified:
    """Compute every hash of a cell's chain anew.

    Args:
        connection: a transaction that reads.
        cell: name of the cell.
        head: hash that must be in the chain, or its first figures; empty for none.
    """
    return _Verifier(connection, cell).run("".join(head.split()).casefold())


class _Verifier:
    def __init__(self, connection: Connection, cell: str) -> None:
        from sqlalchemy import select

        from ringout.records.schema import TABLE_OF, records

        self.cell, self.connection = cell, connection
        order = select(records).where(records.c.cell == cell).order_by(records.c.number)
        self.spine = [dict(r) for r in connection.execute(order).mappings()]
        self.bodies: dict[str, dict[int, dict[str, Any]]] = {}
        for kind, table in TABLE_OF.items():
            found = connection.execute(select(table).where(table.c.cell == cell)).mappings()
            self.bodies[kind] = {int(r["number"]): dict(r) for r in found}
        self.broken: list[Broken] = []
        self.notes: list[str] = []

    def run(self, head: str) -> Verified:
        before, expected, at = "", 1, ""
        for row in self.spine:
            number = int(row["number"])
            if number != expected:
                self._missing(expected, number)
                before = str(row["before"])  # go on behind the gap
            expected = number + 1
            self._one(row, before)
            before = str(row["hash"])
            at = self._clock(row, at)
        self._strays()
        self._end()
        found_at = self._find(head) if head else 0
        self._pictures()
        last = str(self.spine[-1]["hash"]) if self.spine else ""
        found = sorted(self.broken, key=lambda b: b.number)
        return Verified(self.cell, len(self.spine), last, tuple(found), tuple(self.notes), found_at)

    def _one(self, row: dict[str, Any], before: str) -> None:
        number, kind = int(row["number"]), str(row["kind"])
        if row["before"] != before:
            self._say(number, "order", f"record {number} does not follow on the one before it")
        body = self.bodies.get(kind, {}).pop(number, None)
        if body is None:
            self._say(number, "missing", f"what record {number} ({kind}) held is gone")
            return
        inside = {k: v for k, v in body.items() if k not in ("cell", "number")}
        names = ("cell", "number", "kind", "at", "who", "before")
        if record_hash({n: row[n] for n in names}, inside) != row["hash"]:
            place = _place(body)
            self._say(number, "changed", f"record {number} ({kind}{place}) was changed")

    def _missing(self, expected: int, number: int) -> None:
        if number < expected:
            self._say(number, "order", f"record {number} stands twice")
            return
        gone = (
            f"record {expected} is"
            if number == expected + 1
            else (f"records {expected} to {number - 1} are")
        )
        self._say(expected, "missing", f"{gone} missing")

    def _strays(self) -> None:
        """Tell of rows that no record of the chain names."""
        for kind, rows in self.bodies.items():
            for number in sorted(rows):
                self._say(number, "added", f"a {kind} numbered {number} is in no record")

    def _end(self) -> None:
        from sqlalchemy import select

        from ringout.records.schema import heads

        row = self.connection.execute(
            select(heads.c.number, heads.c.hash).where(heads.c.cell == self.cell)
        ).first()
        last = int(self.spine[-1]["number"]) if self.spine else 0
        last_hash = str(self.spine[-1]["hash"]) if self.spine else ""
        if row is None:
            if self.spine:
                self._say(last, "cut", "the note of where the chain ends is gone")
        elif int(row.number) > last:
            self._say(
                last,
                "cut",
                f"the end was cut off: the chain went on to record {row.number}",
            )
        elif (int(row.number), row.hash) != (last, last_hash):
            self._say(last, "added", f"the chain was noted to end at record {row.number}")

    def _find(self, head: str) -> int:
        if len(head) < LEAST_FIGURES or set(head) - set("0123456789abcdef"):
            self._say(0, "cut", f"`{head}` is no hash: give {LEAST_FIGURES} figures or more")
            return 0
        for row in self.spine:
            if str(row["hash"]).startswith(head):
                return int(row["number"])
        last = int(self.spine[-1]["number"]) if self.spine else 0
        self._say(
            last,
            "cut",
            f"no record has the hash {head[:12]}: the end was cut off, or written anew",
        )
        return 0

    def _pictures(self) -> None:
        from sqlalchemy import select

        from ringout.records.schema import photos, pictures

        found = self.connection.execute(
            select(photos.c.number, photos.c.digest, pictures.c.content)
            .join(pictures, pictures.c.digest == photos.c.digest, isouter=True)
            .where(photos.c.cell == self.cell)
        )
        for number, digest, content in found:
            if content is None:
                self._say(number, "picture", f"the photo of record {number} is gone")
            elif hashlib.sha256(bytes(content)).hexdigest() != digest:
                self._say(number, "picture", f"the photo of record {number} was changed")

    def _clock(self, row: dict[str, Any], at: str) -> str:
        """Note where the clock went back; the order of records is never taken from it."""
        now = str(row["at"])
        if at and now < at:
            try:
                back_s = (datetime.fromisoformat(at) - datetime.fromisoformat(now)).total_seconds()
            except ValueError:
                return now
            self.notes.append(f"at record {row['number']} the clock was {_span(back_s)} back")
        return now

    def _say(self, number: int, kind: str, text: str) -> None:
        self.broken.append(Broken(number, kind, text))


def _place(body: dict[str, Any]) -> str:
    run, step = body.get("run"), body.get("step")
    return (f", run {run}" if run else "") + (f", step {step}" if step else "")


def _span(seconds: float) -> str:
    for size, word in ((86400.0, "days"), (3600.0, "hours"), (60.0, "minutes")):
        if seconds >= size:
            return f"{seconds / size:.1f} {word}"
    return f"{seconds:.1f} seconds"
