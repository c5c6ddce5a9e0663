"""As built against as drawn: what changed since the last passed checkout, and what it asks for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields

from ringout import __version__
from ringout.cell.model import Cell
from ringout.checkout import Checkout, Kept, plan_checkout
from ringout.records.evidence import RunStep, Snapshot, run_steps, snapshot_of
from ringout.records.model import CHECKOUT, PASSED, RIGHT, WRONG, RunState
from ringout.records.store import Store
from ringout.report.checkout_view import file_digest

Progress = Callable[[int, int], None]
ADDED, REMOVED, CHANGED = "added", "removed", "changed"
_NAMED = 3  # faults named in a reason
_SHOWN = ("part", "settings", "length", "channel", "rule")
_KIND_OF = {"items": "item", "cables": "cable", "joins": "conductor", "signals": "signal"}


@dataclass(frozen=True, slots=True)
class Change:
    """One thing the file now says otherwise.

    Args:
        kind: `item`, `cable`, `conductor`, `signal`, `revision` or `ambient`.
        name: which one.
        how: `added`, `removed` or `changed`.
        was: what it was, in words; empty when it was not there.
        now: what it is; empty when it is gone.
    """

    kind: str
    name: str
    how: str
    was: str
    now: str


@dataclass(frozen=True, slots=True)
class Again:
    """A step that must be done again, or for the first time.

    Args:
        step: the step as it is now planned.
        why: the reason, one sentence.
        was: the step as it was passed; None when it is new.
    """

    step: RunStep
    why: str
    was: RunStep | None


@dataclass(frozen=True, slots=True)
class Changes:
    """What stands between the last passed checkout and the file as it is now.

    Args:
        base: the last passed checkout; None when none has passed, and all is to be done.
        same_file: nothing at all changed in what is read.
        changes: what the file says otherwise, as far as it makes a difference to the circuit.
        again: the steps to do.
        kept: the steps that hold as they were read.
        checkout: the procedure with both; None where it was not needed to work it out.
    """

    base: RunState | None
    same_file: bool
    changes: tuple[Change, ...]
    again: tuple[Again, ...]
    kept: tuple[RunStep, ...]
    checkout: Checkout | None

    @property
    def steps(self) -> tuple[RunStep, ...]:
        """Return all steps in order, for `Store.start_run`."""
        return tuple(sorted([a.step for a in self.again] + list(self.kept), key=lambda s: s.number))


def changes_of(store: Store | None, cell: Cell, progress: Progress | None = None) -> Changes:
    """Say what changed in the file since the last passed checkout, and which steps that asks for.

    A step is kept when the same look was right then, its limits as printed are the same now, and
    it exposes no fault that it did not expose then. The rest of the procedure is planned anew at
    least cost.

    Args:
        store: the records; None where there are none.
        cell: the cell as its file is now.
        progress: called with cases done and in all.

    Raises:
        StoreError: the records could not be read.
    """
    base = last_passed(store) if store is not None else None
    if base is None or store is None:
        made = plan_checkout(cell, progress)
        again = tuple(Again(s, "no checkout has passed yet", None) for s in run_steps(made))
        return Changes(None, False, (), again, (), made)
    found = compare(Snapshot.from_json(base.run.snapshot), snapshot_of(cell))
    old = _proven(store, base)
    same = base.run.file_hash == file_digest(cell) and base.run.program == __version__
    steps = [s.step for s in store.steps_of(base.run.number)]
    if same and len(old) == len(steps):
        return Changes(base, True, found, (), tuple(_kept(s) for s in steps), None)
    made = plan_checkout(cell, progress, kept={k: _evidence(s) for k, s in old.items()})
    planned = run_steps(made)
    was = {s.key: s for s in steps}
    again = tuple(
        Again(s, _why(s, was.get(s.key), proven=s.key in old), was.get(s.key))
        for s in planned
        if not s.kept
    )
    return Changes(base, same, found, again, tuple(s for s in planned if s.kept), made)


def last_passed(store: Store) -> RunState | None:
    """Return the newest checkout with meter and eyes of which every step was right."""
    states = [s for s in store.runs() if s.run.source == CHECKOUT and s.state == PASSED]
    return states[-1] if states else None


def _proven(store: Store, base: RunState) -> dict[str, RunStep]:
    """Return the steps of a passed run by key, without those found wrong in a later one."""
    proven = {s.step.key: s.step for s in store.steps_of(base.run.number) if s.state == RIGHT}
    for later in store.runs():
        if later.run.number > base.run.number and later.wrong:
            for state in store.steps_of(later.run.number):
                if state.state == WRONG:
                    proven.pop(state.step.key, None)
    return proven


def _evidence(step: RunStep) -> Kept:
    nan = float("nan")
    return Kept(
        nan if step.low is None else step.low,
        nan if step.high is None else step.high,
        step.levels,
        frozenset(step.caught),
    )


def _kept(step: RunStep) -> RunStep:
    values = {f.name: getattr(step, f.name) for f in fields(step)}
    return RunStep(**{**values, "kept": True})


def _why(step: RunStep, was: RunStep | None, *, proven: bool) -> str:
    if was is None:
        return f"new: {_shows(step.caught)}"
    if not proven:
        return "it was found wrong since"
    if (step.low, step.high, step.levels) != (was.low, was.high, was.levels):
        return f"it was {was.expect}; now {step.expect}"
    fresh = tuple(c for c in step.caught if c not in was.caught)
    return f"it must now also show {_names(fresh)}"


def _shows(caught: tuple[str, ...]) -> str:
    return f"it shows {_names(caught)}" if caught else "part of every checkout"


def _names(caught: tuple[str, ...]) -> str:
    names = [c.rpartition(" ")[0] for c in caught]
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return "; ".join(names[:_NAMED]) + more


def compare(was: Snapshot, now: Snapshot) -> tuple[Change, ...]:
    """Return what two files say otherwise, as far as it makes a difference to the circuit.

    Args:
        was: the older one.
        now: the newer one.
    """
    out: list[Change] = []
    if was.revision != now.revision:
        out.append(Change("revision", "", CHANGED, was.revision or "-", now.revision or "-"))
    if was.ambient_c != now.ambient_c:
        out.append(Change("ambient", "", CHANGED, _range(was.ambient_c), _range(now.ambient_c)))
    for group, kind in _KIND_OF.items():
        old: Mapping[str, Mapping[str, str]] = getattr(was, group)
        new: Mapping[str, Mapping[str, str]] = getattr(now, group)
        for name in [*old, *(n for n in new if n not in old)]:
            if old.get(name) == new.get(name):
                continue
            before, after = _words(old.get(name)), _words(new.get(name))
            if before == after:
                before, after = f"{before} (data as it was)", f"{after} (its data changed)"
            how = ADDED if name not in old else REMOVED if name not in new else CHANGED
            out.append(Change(kind, name, how, before, after))
    return tuple(out)


def _range(ends: tuple[float, float]) -> str:
    return f"{ends[0]:g}..{ends[1]:g} °C"


def _words(found: Mapping[str, str] | None) -> str:
    """Return what is known of one thing in words, without digests."""
    if found is None:
        return ""
    if "from" in found:
        size = f" ({found['size']})" if found["size"] else ""
        return f"{found['from']} to {found['to']}{size}"
    return ", ".join(found[k] for k in _SHOWN if found.get(k))
