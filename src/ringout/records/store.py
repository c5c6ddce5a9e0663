"""The records of one cell: only ever added to, each chained to the one before."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path, PurePath
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from ringout import __version__
from ringout.base.one_line import clean
from ringout.cell.model import Cell
from ringout.records import database
from ringout.records.append import Appending
from ringout.records.evidence import RunStep, file_name, snapshot_of
from ringout.records.model import (
    CHECKOUT,
    PHOTO,
    READING,
    REMARK,
    RIGHT,
    RUN,
    STEP,
    Photo,
    Reading,
    Remark,
    Run,
    StepState,
    StoreError,
)
from ringout.records.picture import check_picture
from ringout.records.read import Reader
from ringout.records.understand import Read, read_reading
from ringout.records.verify import Verified, verify_chain
from ringout.report.checkout_view import file_digest
from ringout.run import load

if TYPE_CHECKING:
    from sqlalchemy import Engine

Clock = Callable[[], datetime]
MOST_TEXT, MOST_WHO, MOST_CELL = 4000, 80, 200


def _now() -> datetime:
    return datetime.now(UTC)


def open_store(
    cell_path: str | Path,
    url: str | None = None,
    *,
    cell: str = "",
    clock: Clock = _now,
) -> Store:
    """Open the records of a cell; the tables are made, or brought up to date, where they must be.

    Args:
        cell_path: the cell file. Without a URL the records lie beside it, in
            `.ringout/records.db`, one database for all cells of the folder.
        url: `postgresql://USER@HOST/NAME` or `sqlite:///FILE`.
        cell: name of the cell, for those who have read the file already.
        clock: what time it is.

    Returns:
        The records; use it with `with`, or close it.

    Raises:
        StoreError: the file has no name to keep records under, or the database cannot be used.
    """
    from ringout.records.migrate import up_to_date

    name = clean(cell or name_of(cell_path), MOST_CELL)
    engine = database.open_engine(cell_path, url)
    try:
        up_to_date(engine)
    except BaseException:
        engine.dispose()
        raise
    return Store(engine, name, clock)


def find_store(cell_path: str | Path, url: str | None = None, *, cell: str = "") -> Store | None:
    """Open the records of a cell where there are any; nothing is made where there are none.

    Args:
        cell_path: the cell file.
        url: as for `open_store`.
        cell: name of the cell, for those who have read the file already.

    Raises:
        StoreError: as for `open_store`.
    """
    if not database.exists(cell_path, url):
        return None
    return open_store(cell_path, url, cell=cell)


def name_of(cell_path: str | Path) -> str:
    """Return the name records are kept under: the one in the file, or else the file's.

    Raises:
        StoreError: the file cannot be read.
    """
    loaded = load(str(cell_path))
    if loaded.cell is None:
        raise StoreError(
            f"{cell_path} cannot be read, so it is not known which cell it is",
            "look at it with `ringout prove`",
        )
    return kept_as(loaded.cell, cell_path)


def kept_as(cell: Cell, cell_path: str | Path) -> str:
    """Return the name records of a cell are kept under: its own, or else that of its file."""
    return cell.name or PurePath(cell_path).stem


class Store(Reader):
    """The records of one cell.

    Args:
        engine: the database.
        cell: name of the cell.
        clock: what time it is.
    """

    def __init__(self, engine: Engine, cell: str, clock: Clock = _now) -> None:
        super().__init__(engine, cell)
        self._clock = clock

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    # -- adding ----------------------------------------------------------------------------

    def start_run(
        self,
        cell: Cell,
        steps: Sequence[RunStep],
        *,
        who: str,
        meter: str = "",
        source: str = CHECKOUT,
        base: int = 0,
    ) -> Run:
        """Store a new run with all its steps, in one piece.

        Args:
            cell: the cell as it is now.
            steps: from `run_steps` or `live_steps`. Steps marked `kept` get the last reading of
                the same look in the run `base`, marked as carried.
            who: name of the person.
            meter: meter or controller it is done with.
            source: `checkout` or `live`.
            base: number of the passed run this one goes on from; 0 for none.

        Raises:
            StoreError: it could not be stored, and then none of it is.
        """
        named = self._who(who)
        carried = self._carried(steps, base)
        with database.writing(self.engine) as connection:
            chain = Appending(connection, self.cell, named, self._clock())
            number = chain.next_run()
            chain.add(
                RUN,
                run=number,
                meter=clean(meter, MOST_WHO),
                source=source,
                file=clean(file_name(cell), MOST_TEXT),
                file_hash=file_digest(cell),
                revision=clean(cell.revision, MOST_TEXT),
                program=__version__,
                steps=len(steps),
                base=base,
                snapshot=snapshot_of(cell).to_json(),
            )
            for step in steps:
                chain.add(STEP, **_step_columns(number, step))
            for step, old in carried:
                chain.add(
                    READING,
                    run=number,
                    step=step.number,
                    turn=1,
                    meter=old.meter,
                    text=old.text,
                    value=old.value,
                    verdict=RIGHT,
                    carried=old.carried or old.run,
                    detail=None,
                    token=None,
                )
            chain.end()
        return self.run(number)

    def add_reading(
        self,
        run: int,
        step: int,
        said: str | Read,
        *,
        who: str,
        meter: str = "",
        token: str = "",
    ) -> Reading:
        """Store what was seen at a step.

        A second reading of the same step is kept beside the first with the next `turn`, whoever
        made it; the last one counts.

        Args:
            run: number of the run.
            step: number of the step.
            said: as the person says it, to be judged against the limits of the step; or a
                reading that is judged already, as the live checkout does.
            who: name of the person.
            meter: meter, where it is not that of the run.
            token: name the sender gives this reading, so that sending it again stores it once.

        Returns:
            The reading as it is stored; with a token that is known, the one stored before.

        Raises:
            UnclearReadingError: the text is nothing this step could have shown.
            StoreError: there is no such step, or it could not be stored.
        """
        named = self._who(who)
        planned = self.step(run, step)
        read = said if isinstance(said, Read) else read_reading(planned, clean(said, MOST_TEXT))
        name = clean(token, MOST_WHO)
        with database.writing(self.engine) as connection:
            chain = Appending(connection, self.cell, named, self._clock())
            known = self._by_token(connection, name)
            if known is not None:
                return known
            number = chain.add(
                READING,
                run=run,
                step=step,
                turn=chain.next_turn(run, step),
                meter=clean(meter, MOST_WHO),
                text=clean(read.text, MOST_TEXT),
                value=read.value,
                verdict=read.verdict,
                carried=0,
                detail=read.detail or None,
                token=name or None,
            )
            chain.end()
        return self.reading(number)

    def add_remark(self, text: str, *, who: str, run: int = 0, step: int = 0) -> Remark:
        """Store words about the cell, a run or a step.

        Args:
            text: the words, 4,000 signs at most.
            who: name of the person.
            run: the run; 0 for the cell.
            step: the step; 0 for the run.

        Raises:
            StoreError: nothing was said, there is no such step, or it could not be stored.
        """
        said = clean(text, MOST_TEXT + 1)
        if not said:
            raise StoreError("the remark is empty", "say something")
        if len(said) > MOST_TEXT:
            raise StoreError(f"the remark is longer than {MOST_TEXT} signs", "make it shorter")
        named = self._who(who)
        self._check_place(run, step)
        with database.writing(self.engine) as connection:
            chain = Appending(connection, self.cell, named, self._clock())
            number = chain.add(REMARK, run=run, step=step, text=said)
            chain.end()
        return next(r for r in self.remarks() if r.record == number)

    def add_photo(
        self,
        content: bytes,
        *,
        who: str,
        name: str = "",
        text: str = "",
        run: int = 0,
        step: int = 0,
    ) -> Photo:
        """Store a picture inside the database, under the hash of its bytes.

        Args:
            content: the bytes of the file: JPEG, PNG, WebP or HEIC, 12 MB at most.
            who: name of the person.
            name: name of the file it came from; folders are left out.
            text: what it shows.
            run: the run; 0 for the cell.
            step: the step; 0 for the run.

        Raises:
            StoreError: it is no picture, or too large, or it could not be stored.
        """
        kind, digest = check_picture(content)
        named = self._who(who)
        self._check_place(run, step)
        with database.writing(self.engine) as connection:
            chain = Appending(connection, self.cell, named, self._clock())
            chain.keep_picture(digest, content)
            number = chain.add(
                PHOTO,
                run=run,
                step=step,
                name=clean(PurePath(name.replace("\\", "/")).name, MOST_TEXT),
                kind=kind,
                size=len(content),
                digest=digest,
                text=clean(text, MOST_TEXT),
            )
            chain.end()
        return next(p for p in self.photos() if p.record == number)

    # -- proving ---------------------------------------------------------------------------

    def verify(self, head: str = "") -> Verified:
        """Read everything again and say whether it is as it was written.

        Args:
            head: hash, or its first 8 figures or more, from an older print or export: if the
                chain no longer holds it, its end was cut off or written anew.

        Raises:
            StoreError: it could not be read.
        """
        with database.reading(self.engine) as connection:
            return verify_chain(connection, self.cell, head)

    # -- helpers ---------------------------------------------------------------------------

    def _who(self, who: str) -> str:
        named = clean(who, MOST_WHO)
        if not named:
            raise StoreError("a record needs a name", "say who you are with --who")
        return named

    def _check_place(self, run: int, step: int) -> None:
        if step and not run:
            raise StoreError(f"step {step} of which run?", "name the run too")
        if step:
            self.step(run, step)
        elif run:
            self.run(run)

    def _carried(self, steps: Sequence[RunStep], base: int) -> list[tuple[RunStep, Reading]]:
        """Return kept steps with the reading of the same look in an older run."""
        kept = [s for s in steps if s.kept]
        if not kept:
            return []
        if not base:
            raise StoreError("steps are kept, but from which run?", "name the run with `base`")
        old: dict[str, StepState] = {s.step.key: s for s in self.steps_of(base)}
        out = []
        for step in kept:
            found = old[step.key].last if step.key in old else None
            if found is None or found.verdict != RIGHT:
                raise StoreError(
                    f"step {step.number} was not right in run {base}", "do it again in this run"
                )
            out.append((step, found))
        return out


def _step_columns(run: int, step: RunStep) -> dict[str, Any]:
    columns = asdict(step)
    columns["step"] = columns.pop("number")
    columns["levels"] = json.dumps(step.levels, ensure_ascii=False)
    columns["caught"] = "\n".join(step.caught)
    columns["kept"] = int(step.kept)
    for end in ("low", "high"):
        columns[end] = None if columns[end] is None else float(columns[end])
    return {"run": run, **columns}
