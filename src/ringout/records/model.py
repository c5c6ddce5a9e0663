"""Records as frozen data: runs, their steps and readings, remarks, photos, and the chain."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.records.evidence import RunStep

RIGHT, WRONG = "right", "wrong"
OPEN, PASSED, FAILED = "open", "passed", "failed"
CHECKOUT, LIVE = "checkout", "live"
RUN, STEP, READING, REMARK, PHOTO = "run", "step", "reading", "remark", "photo"
KINDS = (RUN, STEP, READING, REMARK, PHOTO)


class StoreError(Exception):
    """Something could not be stored or read; nothing half done is left.

    Args:
        message: what is wrong, one plain sentence.
        cure: what to do about it.
    """

    def __init__(self, message: str, cure: str = "") -> None:
        super().__init__(message)
        self.message, self.cure = message, cure


class UnclearReadingError(StoreError):
    """The text is nothing this step could have shown."""


@dataclass(frozen=True, slots=True)
class Head:
    """The end of a cell's chain; printed, it shows later whether the end was cut off.

    Args:
        number: number of its last record, 0 for none.
        hash: hash of that record, 64 figures; empty for none.
    """

    number: int
    hash: str


@dataclass(frozen=True, slots=True)
class Entry:
    """One record of the chain, whatever it holds.

    Args:
        number: its place in the chain of its cell, from 1.
        kind: `run`, `step`, `reading`, `remark`, `photo`.
        at: UTC, ISO 8601.
        who: who made it.
        hash: its hash.
        before: hash of the record before; empty for the first.
        run: run it belongs to, 0 for none.
        step: step it belongs to, 0 for none.
    """

    number: int
    kind: str
    at: str
    who: str
    hash: str
    before: str
    run: int = 0
    step: int = 0


@dataclass(frozen=True, slots=True)
class Run:
    """One go at the checkout.

    Args:
        record: its number in the chain.
        number: number among the runs of the cell, from 1.
        at: when it was started.
        who: who started it.
        meter: meter or controller it is done with, in the person's words.
        source: `checkout` (multimeter and eyes) or `live` (the controller's own inputs).
        file: name of the cell file, without its folder.
        file_hash: digest of everything that was read.
        revision: of the cell file.
        program: version of ringout.
        steps: how many steps it has.
        base: run whose readings it carries on where nothing changed; 0 for none.
        snapshot: what the file said, see `evidence.Snapshot`.
    """

    record: int
    number: int
    at: str
    who: str
    meter: str
    source: str
    file: str
    file_hash: str
    revision: str
    program: str
    steps: int
    base: int
    snapshot: str


@dataclass(frozen=True, slots=True)
class Reading:
    """What was seen at one step.

    Args:
        record: its number in the chain.
        run: the run.
        step: number of the step.
        turn: how many readings of this step there were before, plus one: a second one of the same
            step is kept beside the first, and the last one counts.
        at: when.
        who: who entered it.
        meter: what it was read with.
        text: as it was said.
        value: ohms or volts, `inf` for open; None for a look.
        verdict: `right` or `wrong`.
        carried: run the reading was really made in, 0 for this one.
        detail: JSON of what the live checkout saw, or empty.
        token: what the sender called it; the same token is stored once only.
    """

    record: int
    run: int
    step: int
    turn: int
    at: str
    who: str
    meter: str
    text: str
    value: float | None
    verdict: str
    carried: int = 0
    detail: str = ""
    token: str = ""


@dataclass(frozen=True, slots=True)
class Remark:
    """Words about a cell, a run or a step."""

    record: int
    run: int
    step: int
    at: str
    who: str
    text: str


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture; its bytes are fetched with `Store.picture`.

    Args:
        record: its number in the chain.
        run: run it belongs to, 0 for the cell.
        step: step it belongs to, 0 for the run.
        at: when it was added.
        who: by whom.
        name: name of the file it came from, without its folder.
        kind: `jpeg`, `png`, `webp` or `heic`, told from its first bytes.
        size: bytes.
        digest: SHA-256 of the bytes.
        text: what it shows.
    """

    record: int
    run: int
    step: int
    at: str
    who: str
    name: str
    kind: str
    size: int
    digest: str
    text: str


@dataclass(frozen=True, slots=True)
class RunState:
    """A run and how far it is.

    Args:
        run: the run.
        right: steps whose last reading is right.
        wrong: steps whose last reading is wrong.
        last_at: when its last reading was made; empty for none.
    """

    run: Run
    right: int
    wrong: int
    last_at: str

    @property
    def open(self) -> int:
        """Return how many steps have no reading yet."""
        return self.run.steps - self.right - self.wrong

    @property
    def state(self) -> str:
        """Return `failed` (a step is wrong), `open` (steps are left) or `passed`."""
        if self.wrong:
            return FAILED
        return OPEN if self.open or not self.run.steps else PASSED


@dataclass(frozen=True, slots=True)
class StepState:
    """A step of a run with everything that was read at it, in order.

    Args:
        step: the step as it was planned.
        readings: all of them; the last one counts.
    """

    step: RunStep
    readings: tuple[Reading, ...]

    @property
    def last(self) -> Reading | None:
        """Return the reading that counts."""
        return self.readings[-1] if self.readings else None

    @property
    def state(self) -> str:
        """Return `open`, `right` or `wrong`."""
        return self.readings[-1].verdict if self.readings else OPEN

    @property
    def disputed(self) -> bool:
        """Return whether two people read this step and did not see the same."""
        return (
            len({r.who for r in self.readings}) > 1 and len({r.verdict for r in self.readings}) > 1
        )
