"""A fault hidden in the cell, to be found by measuring: what is known of it stays in here."""

from __future__ import annotations

import math
import random
import secrets
import time
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from ringout.cell.ask import resolve_lifts, resolve_probe, resolve_state
from ringout.cell.model import Cell
from ringout.circuit.faults import Fault
from ringout.find.tell import look_words, seen_words
from ringout.findings.effects import Effect, FaultEffects, FaultTable
from ringout.findings.looks import Look, Predictor
from ringout.web.seen import pickable

MOST = 100  # exercises at a time; the one touched longest ago is forgotten
MOST_TAKEN = 200
MOST_SEED = 40
FOUND, GIVEN_UP = "found", "given up"


@dataclass(frozen=True, slots=True)
class Taken:
    """One reading or look: what it was, and what was seen."""

    what: str
    seen: tuple[tuple[str, str], ...]


@dataclass(eq=False)
class Exercise:
    """One hidden fault and what was done to find it.

    Args:
        token: names it in the address; it says nothing of the fault.
        seed: chooses the fault; the same seed and file give the same one.
        given: the seed was typed by a person; it is shown.
        key: state of the files it is for.
        fault: what is hidden; None while the faults are being solved.
        effect: what is complained of.
        begun_s: when the complaint was first shown, on the clock that never goes back.
        ended_s: when it ended.
        taken: readings and looks, in order.
        named: faults that were named and are not the one.
        end: `found`, `given up`, or empty while it is under way.
    """

    token: str
    seed: str
    given: bool
    key: str
    fault: Fault | None = None
    effect: Effect | None = None
    begun_s: float = 0.0
    ended_s: float = 0.0
    taken: list[Taken] = field(default_factory=list)
    named: list[str] = field(default_factory=list)
    end: str = ""

    @property
    def seconds(self) -> int:
        """Return how long it has taken."""
        last = self.ended_s if self.end else time.monotonic()
        return int(last - self.begun_s) if self.begun_s else 0

    @property
    def complaint(self) -> str:
        """Return what is complained of, as a sentence."""
        e = self.effect
        if e is None:
            return ""
        return f"{e.what} is {e.after} instead of {e.before}, {state_words(e)}."

    @property
    def sentence(self) -> str:
        """Return the complaint in the language of the search."""
        e = self.effect
        if e is None:
            return ""
        state = "" if e.state == "at rest" else f" while {e.state}"
        return f"{e.what} {e.after}{state}"

    def finish(self, how: str) -> None:
        """End it."""
        self.end, self.ended_s = how, time.monotonic()


def state_words(effect: Effect) -> str:
    """Return the state of an effect in words."""
    return "at rest" if effect.state == "at rest" else f"while {effect.state}"


class Exercises:
    """All exercises of a bench."""

    def __init__(self) -> None:
        self._all: OrderedDict[str, Exercise] = OrderedDict()

    def begin(self, seed: str, key: str) -> Exercise:
        """Return a fresh exercise; without a seed one is drawn by lot."""
        typed = seed.strip()[:MOST_SEED]
        made = Exercise(secrets.token_urlsafe(9), typed or secrets.token_hex(8), bool(typed), key)
        self._all[made.token] = made
        while len(self._all) > MOST:
            self._all.popitem(last=False)
        return made

    def get(self, token: str) -> Exercise | None:
        """Return an exercise by its token."""
        found = self._all.get(token)
        if found is not None:
            self._all.move_to_end(token)
        return found


def visible(table: FaultTable) -> list[tuple[FaultEffects, Effect]]:
    """Return faults that can be complained of and harm nothing, each with the complaint."""
    out = []
    for row in table.rows:
        if row.harm:
            continue
        effect = next((e for e in row.effects if e.kind in ("level", "moves") and e.before), None)
        if effect is not None and effect.what != "chatter":
            out.append((row, effect))
    return out


def hide(exercise: Exercise, table: FaultTable) -> bool:
    """Choose the fault: a kind first, so that all kinds come up, then by likelihood.

    Returns:
        Whether there is one that can be seen.
    """
    rows = visible(table)
    if not rows:
        return False
    # drawn by lot, not a secret: the seed is told to who gave it
    lot = random.Random(f"{exercise.seed} {exercise.key}")  # noqa: S311
    kind = lot.choice(sorted({r.fault.kind for r, _ in rows}))
    mine = [(r, e) for r, e in rows if r.fault.kind == kind]
    row, effect = lot.choices(mine, weights=[r.fault.likelihood for r, _ in mine])[0]
    exercise.fault, exercise.effect = row.fault, effect
    exercise.begun_s = time.monotonic()
    return True


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a person wants to look at, as typed: places of probes, state, core ends taken off."""

    red: str = ""
    black: str = ""
    mode: str = "volts"
    states: tuple[str, ...] = ()
    lifted: str = ""


def measure(predictor: Predictor, exercise: Exercise, wanted: Wanted) -> Taken | str:
    """Return what the meter shows in the cell with the hidden fault, or what is wrong.

    Args:
        predictor: of the cell.
        exercise: what is hidden.
        wanted: what is measured.
    """
    cell = predictor.cell
    made = _standing(cell, wanted)
    if isinstance(made, str):
        return made
    state, lifts = made
    places = []
    for word, colour in ((wanted.red, "red"), (wanted.black, "black")):
        if not word.strip():
            return f"Say where the {colour} probe is."
        place, problems = resolve_probe(cell, word.strip(), lifts)
        if problems or place is None:
            fix = f" ({problems[0].fix})" if problems and problems[0].fix else ""
            return f"{problems[0].message if problems else word}{fix}."
        places.append(place)
    kind = wanted.mode if wanted.mode in ("volts", "lowz", "ohms") else "volts"
    look = Look(kind, places[0], places[1], state=state, lifted=lifts, powered=kind != "ohms")
    assert exercise.fault is not None
    shown = float(predictor.see(look, [exercise.fault], spread=False).typ[0])
    if math.isnan(shown):
        return "This state could not be solved: try another."
    return Taken(look_words(look), (("", seen_words(look, shown, shown, shown)),))


def glance(predictor: Predictor, exercise: Exercise, wanted: Wanted) -> Taken | str:
    """Return everything that is seen by eye in one state of the cell with the hidden fault."""
    cell = predictor.cell
    made = _standing(cell, wanted)
    if isinstance(made, str):
        return made
    state, lifts = made
    assert exercise.fault is not None
    can = pickable(cell)
    looks = [
        *(Look("level", what=n, state=state, lifted=lifts) for n in can.signals),
        *(Look("shows", what=n, state=state, lifted=lifts) for n in can.loads),
        *(Look("lamp", what=n, state=state, lifted=lifts) for n in can.lamps),
    ]
    seen = []
    for look in looks:
        typ = float(predictor.see(look, [exercise.fault], spread=False).typ[0])
        if not math.isnan(typ):
            name = look_words(replace(look, state=(), lifted=()))
            seen.append((name, look.words[round(typ)]))
    words = " and ".join(f"{a} {p}" for a, p in state)
    lifted = f" with {', '.join(lifts)} lifted" if lifts else ""
    return Taken(f"inputs, lamps and loads{lifted} {f'while {words}' if words else 'at rest'}",
                 tuple(seen))  # fmt: skip


def _standing(
    cell: Cell, wanted: Wanted
) -> tuple[tuple[tuple[str, str], ...], tuple[str, ...]] | str:
    """Return the state and the core ends taken off, or what is wrong with them."""
    words = " and ".join(w.strip() for w in wanted.states if w.strip())
    state, problems = resolve_state(cell, words)
    names: Sequence[str] = [wanted.lifted.strip()] if wanted.lifted.strip() else []
    lifts, more = resolve_lifts(cell, names)
    for problem in (*problems, *more):
        return f"{problem.message}{f' ({problem.fix})' if problem.fix else ''}."
    moved = tuple(sorted((a, p) for a, p in state.items() if p != cell.actors[a].positions[0]))
    return moved, tuple(sorted(lifts))
