"""A person works through a checkout in the terminal, and every reading is stored at once."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import click

from ringout.cli.common import (
    cell_argument,
    json_option,
    paint,
    progress_bar,
    say_problems,
    stop_if_unusable,
)

if TYPE_CHECKING:
    from ringout.cell.model import Cell
    from ringout.records import Reading, StepState, Store

db_option = click.option(
    "--db",
    default="",
    envvar="RINGOUT_DB",
    metavar="URL",
    help="PostgreSQL or SQLite URL, also from RINGOUT_DB; else the file beside the cell.",
)
PHASES = ("dead", "power", "function")
HELP = (
    "Say what you read, as in `0.8`, `23.9`, `open`, or `ok` and `no: what you see` at a look. "
    "`skip` leaves a step open, `step 7` goes to step 7, `remark ...` adds words, `quit` ends; "
    "all that was entered is stored."
)


@contextmanager
def plainly() -> Iterator[None]:
    """End a command with a plain sentence and exit code 2 when records cannot be used."""
    from ringout.records import StoreError

    try:
        yield
    except StoreError as problem:
        cure = f"\n  fix: {problem.cure}" if problem.cure else ""
        click.echo(f"{problem.message}{cure}", err=True)
        sys.exit(2)


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which run is meant."""

    who: str
    meter: str = ""
    run: int = 0
    new: bool = False
    changed: bool = False


@click.command()
@cell_argument
@click.option("--who", required=True, metavar="NAME", help="Who reads the meter.")
@click.option("--meter", default="", metavar="WORDS", help="Which meter, with its serial number.")
@click.option("--run", default=0, metavar="N", help="Go on with this run, not the newest.")
@click.option("--new", is_flag=True, help="Begin a new run, with every step.")
@click.option("--changed", is_flag=True, help="Begin a run of only what a change asks for.")
@click.option("--step", default=0, metavar="N", help="Enter one step and leave; with --reading.")
@click.option("--reading", default="", metavar="TEXT", help="What was read at that step.")
@db_option
@json_option
def enter(
    cell: str,
    who: str,
    meter: str,
    run: int,
    step: int,
    reading: str,
    db: str,
    *,
    new: bool,
    changed: bool,
    as_json: bool,
) -> None:
    """Work through the checkout: it shows a step, takes the reading, judges and stores it.

    CELL is the cell file. It goes on where the newest run stopped, also after a crash; others may
    work on the same run at the same time. Exit code 1: a step is wrong; 3: steps are still open.
    """
    if bool(step) != bool(reading):
        raise click.UsageError("--step and --reading go together")
    if new and changed:
        raise click.UsageError("choose one of --new and --changed")
    record(cell, db, Wanted(who, meter, run, new, changed), (step, reading), as_json=as_json)


def record(
    cell_path: str, db: str, wanted: Wanted, one: tuple[int, str] = (0, ""), *, as_json: bool
) -> None:
    """Lead through a run and leave with its exit code.

    Args:
        cell_path: the cell file.
        db: database URL; empty for the file beside the cell.
        wanted: which run, and whose.
        one: a single step and its reading; (0, "") to be led.
        as_json: one JSON object a line.
    """
    from ringout import run as stages
    from ringout.records import open_store

    loaded = stages.load(cell_path)
    stop_if_unusable(loaded, as_json, lambda: {"problems": len(loaded.problems)})
    assert loaded.cell is not None
    if loaded.broken:
        say_problems(loaded.problems)
        click.echo("a run needs a file without errors; correct it first", err=True)
        sys.exit(2)
    with plainly(), open_store(cell_path, db or None, cell=loaded.cell.name) as store:
        number = _choose(store, loaded.cell, wanted)
        walk = Walk(store, number, wanted, as_json=as_json)
        if one[0]:
            walk.enter(one[0], one[1])
        else:
            walk.lead()
        state = store.state_of(number)
    if state.wrong:
        sys.exit(1)
    if state.open:
        sys.exit(3)


def _choose(store: Store, cell: Cell, wanted: Wanted) -> int:
    """Return the run to go on with; a new one is begun where that is meant."""
    from ringout import run as stages
    from ringout.records import StoreError, changes_of, run_steps
    from ringout.report.checkout_view import file_digest

    if wanted.run:
        return store.run(wanted.run).number
    newest = next((s for s in reversed(store.runs()) if s.run.source == "checkout"), None)
    if newest is not None and not (wanted.new or wanted.changed):
        same = newest.run.file_hash == file_digest(cell)
        n = newest.run.number
        if newest.state == "passed":
            told = "this very file" if same else "an older state of the file"
            raise StoreError(
                f"run {n} has passed, with {told}",
                "begin another with --new, or with --changed for what a change asks for",
            )
        if not same:
            raise StoreError(
                f"run {n} is not done, and the file has changed since it began",
                f"begin another with --new or --changed, or end the old one with --run {n}",
            )
        return n
    bar = progress_bar("solving faults")
    if wanted.changed:
        found = changes_of(store, cell, bar)
        if found.base is not None and not found.again:
            raise StoreError(
                f"nothing is to be done again since run {found.base.run.number}",
                "begin a whole run with --new",
            )
        base = found.base.run.number if found.base is not None else 0
        steps = found.steps
    else:
        base, steps = 0, run_steps(stages.checkout(cell, progress=bar))
    if not steps:
        raise StoreError("the checkout has no steps", "")
    return store.start_run(cell, steps, who=wanted.who, meter=wanted.meter, base=base).number


@dataclass
class Walk:
    """One person at one run.

    Args:
        store: the records.
        run: number of the run.
        wanted: who, and with which meter.
        as_json: one JSON object a line.
    """

    store: Store
    run: int
    wanted: Wanted
    as_json: bool
    _seen: int = 0
    _visited: set[int] = field(default_factory=set)
    _phase: str = ""

    def lead(self) -> None:
        """Ask for one step after the other until all are done or the person leaves."""
        self._seen = self.store.head().number
        self._begin()
        while (state := self._next()) is not None:
            if not self._may(state):
                return
            self._show(state)
            go_on = True
            while go_on:
                said = self._ask(state)
                if said is None:
                    self._left()
                    return
                go_on = not self._obey(state, said)
        self._left()

    def enter(self, step: int, text: str) -> Reading:
        """Store one reading and say what came of it."""
        made = self.store.add_reading(
            self.run, step, text, who=self.wanted.who, meter=self.wanted.meter
        )
        state = self.store.steps_of(self.run)[step - 1]
        self._tell_reading(state, made)
        return made

    # -- steps -----------------------------------------------------------------------------

    def _next(self) -> StepState | None:
        """Return the next step that is open, or wrong from an earlier visit."""
        self._others()
        steps = self.store.steps_of(self.run)
        return next(
            (s for s in steps if s.state != "right" and s.step.number not in self._visited), None
        )

    def _may(self, state: StepState) -> bool:
        """Return whether the step's phase may begin: power stays off until all is right dead."""
        phase = state.step.phase
        if phase == "dead":
            return True
        bad = [
            s.step.number
            for s in self.store.steps_of(self.run)
            if s.step.phase == "dead" and s.state != "right"
        ]
        if not bad:
            return True
        steps = ", ".join(map(str, bad[:8])) + (" ..." if len(bad) > 8 else "")
        self._say(
            f"Power stays off: dead steps are open or wrong ({steps}). Find the fault with "
            "`ringout find`, then read these steps again with `--step N --reading TEXT`.",
            {"stopped": "dead steps are open or wrong", "steps": bad},
        )
        return False

    def _show(self, state: StepState) -> None:
        from ringout.records.view import reading_line, step_json
        from ringout.report.checkout_view import PHASE_CAUTIONS, PHASE_HEADS

        step = state.step
        if self.as_json:
            self._json({**step_json(step), "state": state.state})
            return
        if step.phase != self._phase:
            self._phase = step.phase
            click.echo(
                f"\n{paint(PHASE_HEADS[step.phase], 'head')}\n  {PHASE_CAUTIONS[step.phase]}"
            )
        click.echo(f"\n{step.number:4d}  {step.do}\n      expect: {step.expect}")
        for old in state.readings:
            click.echo(f"      so far {reading_line(old, paint)}")

    def _ask(self, state: StepState) -> str | None:
        unit = {"ohm": "Ω", "V": "V"}.get(state.step.unit, "ok?")
        if not self.as_json:
            click.echo(f"      {unit}> ", nl=False)
        line = sys.stdin.readline()
        if not line or line.strip().casefold() in {"quit", "q", "exit"}:
            if not self.as_json:
                click.echo("")
            return None
        return " ".join(line.split())

    def _obey(self, state: StepState, said: str) -> bool:
        """Do what was said; return whether the next step is to come."""
        from ringout.records import UnclearReadingError

        word, _, rest = said.partition(" ")
        if not said or word in {"help", "?"}:
            self._say(f"      {HELP}", {"help": HELP})
            return False
        if word == "skip":
            self._visited.add(state.step.number)
            return True
        if word == "remark" and rest:
            made = self.store.add_remark(
                rest, who=self.wanted.who, run=self.run, step=state.step.number
            )
            self._say(f"      stored as record {made.record}", {"remark": made.record})
            return False
        if word == "step" and rest.isdigit():
            return self._jump(int(rest))
        try:
            self.enter(state.step.number, said)
        except UnclearReadingError as problem:
            self._say(
                f"      {problem.message}; {problem.cure}",
                {"unclear": problem.message, "fix": problem.cure},
            )
            return False
        self._visited.add(state.step.number)  # a wrong one comes again on the next visit
        return True

    def _jump(self, number: int) -> bool:
        """Read one step now, in or out of turn, and come back to the open ones."""
        steps = self.store.steps_of(self.run)
        if not 1 <= number <= len(steps):
            self._say(f"      there is no step {number}", {"unclear": f"no step {number}"})
            return False
        state = steps[number - 1]
        if not self._may(state):
            return False
        self._show(state)
        said = self._ask(state)
        if said:
            self._obey(state, said)
        return True

    # -- telling ---------------------------------------------------------------------------

    def _begin(self) -> None:
        from ringout.records.view import run_json, run_line

        state = self.store.state_of(self.run)
        self._say(run_line(state, paint), run_json(state))
        if not self.as_json:
            click.echo(HELP)

    def _left(self) -> None:
        from ringout.records.view import head_json, head_line, run_json, run_line

        self._others()
        state, head = self.store.state_of(self.run), self.store.head()
        self._say(f"\n{run_line(state, paint)}\n{head_line(head)}",
                  {**run_json(state), **head_json(head)})  # fmt: skip

    def _others(self) -> None:
        """Tell what others have entered since the last look."""
        fresh = self.store.since(self._seen)
        if not fresh:
            return
        self._seen = fresh[-1].number
        for one in fresh:
            if one.kind == "reading" and one.run == self.run and one.who != self.wanted.who:
                found = self.store.reading(one.number)
                self._say(
                    f"      {one.who}: step {one.step} {found.verdict} ({found.text})",
                    {"other": one.who, "step": one.step, "verdict": found.verdict},
                )

    def _tell_reading(self, state: StepState, made: Reading) -> None:
        from ringout.records.view import reading_json

        before = [r for r in state.readings if r.record < made.record]
        if self.as_json:
            told = [{"who": r.who, "verdict": r.verdict, "text": r.text} for r in before]
            self._json({**reading_json(made), "before": told})
            return
        right = made.verdict == "right"
        click.echo(f"      {paint('right' if right else 'WRONG', 'good' if right else 'error')}: "
                   f"{made.text}")  # fmt: skip
        if not right:
            click.echo(f"      it means: {state.step.if_not or 'see `ringout find`'}")
        for old in before:
            click.echo(
                f"      {old.who} has read this step too: {old.verdict}, {old.text}. "
                "Both are kept, the last counts."
            )

    def _say(self, line: str, answer: dict[str, Any]) -> None:
        if self.as_json:
            self._json(answer)
        else:
            click.echo(line)

    def _json(self, answer: dict[str, Any]) -> None:
        click.echo(json.dumps(answer, ensure_ascii=False))
