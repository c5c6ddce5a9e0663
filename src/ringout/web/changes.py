"""From the words of a setting to one fault that holds every change of the wiring at once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from ringout.base import Diagnostic, Interval
from ringout.base.suggest import did_you_mean
from ringout.cell.ask import resolve_lifts, resolve_probe, resolve_state
from ringout.cell.model import Cell, Join, Terminal
from ringout.circuit.behaviour import OPEN, ohmic
from ringout.circuit.faults import Change, Fault, both, find_fault
from ringout.circuit.faults.conductors import exchanged
from ringout.circuit.faults.wiring import End, Wiring
from ringout.web.setting import Setting
from ringout.web.snapshot import Snapshot, Variant

BRIDGE_OHM = 0.02  # a short test lead, common practice
NOTHING = Fault("as filed", "none", "", (), "", 1.0, ())


@dataclass(frozen=True)
class Made:
    """What one change of a setting comes to.

    Args:
        field: list of the setting it stands in.
        word: its word there.
        text: what it is, in one sentence.
        trouble: why it is not put in; empty when it is.
    """

    field: str
    word: str
    text: str
    trouble: str = ""


@dataclass(frozen=True)
class Bench:
    """A setting made real.

    Args:
        variant: the cell compiled with its parts and lifted ends.
        state: actor to position.
        change: all changes of the wiring as one fault; `NOTHING` for none.
        made: every change with its words.
        bridges: terminals joined by a wire.
        red: place of the red probe, None when it is nowhere.
        black: likewise.
        problems: what could not be understood.
        key: what tells this wiring and state from any other of the cell.
    """

    variant: Variant
    state: dict[str, str]
    change: Fault
    made: tuple[Made, ...]
    bridges: tuple[tuple[Terminal, Terminal], ...]
    red: Terminal | str | None
    black: Terminal | str | None
    problems: tuple[str, ...]
    key: tuple[object, ...]


def set_up(now: Snapshot, setting: Setting) -> Bench:
    """Return a setting made real; what cannot be understood is told and left out.

    Args:
        now: the cell, of which there is one.
        setting: what the URL asks for.
    """
    assert now.cell is not None
    problems: list[str] = []
    lifts, wrong = resolve_lifts(now.cell, setting.lifts)
    problems += _told(wrong)
    parts, made = _parts(now, setting, problems)
    variant, fresh = now.variant(tuple(parts), tuple(sorted(lifts)))
    if variant is None:
        problems.append("The cell cannot be read with these parts; they are left as filed.")
        made = [replace(m, trouble="does not fit") for m in made]
        variant, fresh = now.variant((), tuple(sorted(lifts)))
        assert variant is not None
    problems += _told(fresh)
    made += [Made("lifts", word, f"Core end {word} is taken off.") for word in lifts]
    state, wrong = resolve_state(variant.cell, setting.state)
    problems += _told(wrong)
    faults, more = _faults(variant, setting)
    change, more = _together(faults, more)
    red, wrong = resolve_probe(variant.cell, setting.red, lifts) if setting.red else (None, [])
    problems += _told(wrong)
    black, wrong = (
        resolve_probe(variant.cell, setting.black, lifts) if setting.black else (None, [])
    )
    problems += _told(wrong)
    made += more
    problems += [f"{m.word}: {m.trouble}." for m in made if m.trouble]
    key = (
        tuple(parts),
        tuple(sorted(lifts)),
        tuple(sorted(state.items())),
        tuple((m.field, m.word) for m in made if not m.trouble),
    )
    laid = tuple(_laid(variant, m.word) for m in made if m.field == "bridges" and not m.trouble)
    return Bench(variant, state, change, tuple(made), laid, red, black, tuple(problems), key)


def _laid(variant: Variant, word: str) -> tuple[Terminal, Terminal]:
    """Return the ends of a bridge that is known to be one."""
    places, _ = _terminals(Wiring(variant.circuit), word)
    return places[0], places[1]


def _told(problems: Iterable[Diagnostic]) -> list[str]:
    """Return problems as sentences."""
    return [f"{p.message}" + (f" ({p.fix})" if p.fix else "") for p in problems]


def _parts(
    now: Snapshot, setting: Setting, problems: list[str]
) -> tuple[list[tuple[str, str]], list[Made]]:
    from ringout.cell.catalogue import part_names

    assert now.cell is not None
    known = part_names(now.cell.folder)
    parts, made = [], []
    for word in setting.parts:
        item, _, part = word.partition(",")
        if item not in now.cell.items or part not in known:
            problems.append(f"`{word}` names no item and part of the library.")
            continue
        parts.append((item, part))
        old = now.cell.items[item].part.name
        made.append(Made("parts", word, f"{item} is a {part} instead of a {old}."))
    return parts, made


def _faults(variant: Variant, setting: Setting) -> tuple[list[tuple[Made, Fault]], list[Made]]:
    """Return the changes that can be made as faults, and those that cannot."""
    wiring = Wiring(variant.circuit)
    done: list[tuple[Made, Fault]] = []
    lost: list[Made] = []
    for word in setting.faults:
        fault = find_fault(variant.faults, word)
        if fault is None:
            near = did_you_mean(word, [f.id for f in variant.faults])
            hint = f"; did you mean `{near}`?" if near else ""
            lost.append(Made("faults", word, word, f"there is no such fault{hint}"))
        else:
            done.append((Made("faults", word, fault.text), fault))
    for word in setting.cuts:
        made = _cut(variant, word)
        if made is None:
            lost.append(Made("cuts", word, word, "there is no such conductor"))
        else:
            done.append((Made("cuts", word, made.text), made))
    for word in setting.bridges:
        found, trouble = _bridge(wiring, word)
        _put("bridges", word, found, trouble, done, lost)
    for word in setting.swaps:
        found, trouble = _swap(wiring, word)
        _put("swaps", word, found, trouble, done, lost)
    return done, lost


def _put(  # one row of the list of changes
    field: str,
    word: str,
    fault: Fault | None,
    trouble: str,
    done: list[tuple[Made, Fault]],
    lost: list[Made],
) -> None:
    if fault is None:
        lost.append(Made(field, word, word, trouble))
    else:
        done.append((Made(field, word, fault.text), fault))


def _plain(name: str, text: str, changes: Sequence[Change]) -> Fault:
    return Fault(name, "bench", text, (), name, 1.0, tuple(changes))


def _cut(variant: Variant, word: str) -> Fault | None:
    number = variant.circuit.index_of.get(word, -1)
    if number < 0 or variant.circuit.elements[number].join is None:
        return None
    return _plain(f"cut {word}", f"{word} is cut through.", [Change.always(word, OPEN)])


def _bridge(wiring: Wiring, word: str) -> tuple[Fault | None, str]:
    places, wrong = _terminals(wiring, word)
    if len(places) != 2:
        return None, wrong or "a bridge has two ends"
    a, b = (wiring.node(t) for t in places)
    if a == b:
        return None, "these two are one net already"
    behaviour = ohmic(Interval.exact(BRIDGE_OHM))
    extra = wiring.added("short", a, b, behaviour)
    text = f"A wire bridges {places[0]} and {places[1]}."
    made = _plain(f"bridge {word}", text, [Change.always(extra.name, behaviour)])
    return replace(made, extras=(extra,)), ""


def _terminals(wiring: Wiring, word: str) -> tuple[list[Terminal], str]:
    places: list[Terminal] = []
    for name in word.split(","):
        place, problems = resolve_probe(wiring.cell, name.strip(), ())
        if not isinstance(place, Terminal):
            return [], problems[0].message if problems else f"{name} is no terminal"
        places.append(place)
    return places, ""


def swap_word(first: Join, second: Join) -> str | None:
    """Return the word for two conductors exchanged where both land on one item, or None."""
    ends = [t.item for t in (first.a, first.b) if t.item in (second.a.item, second.b.item)]
    return f"{first.conductor},{second.conductor}@{ends[-1]}" if ends else None


def swapped_elsewhere(cell: Cell, word: str) -> str | None:
    """Return the word for the same two conductors exchanged at their other end, or None."""
    pair, _, item = word.rpartition("@")
    ends = [
        {t.item for t in (j.a, j.b)}
        for name in pair.split(",")
        for j in cell.joins
        if j.conductor == name
    ]
    both_at = set.intersection(*ends) - {item} if len(ends) == 2 else set()
    return f"{pair}@{min(both_at)}" if both_at else None


def _swap(wiring: Wiring, word: str) -> tuple[Fault | None, str]:
    pair, _, item = word.rpartition("@")
    names = pair.split(",")
    ends: list[End] = []
    for name in names:
        mine = [e for e in wiring.ends if e.join.conductor == name and e.at.item == item]
        ends += mine[:1]
    if len(names) != 2 or len(ends) != 2:
        return None, "two conductors are exchanged at an item where both land"
    made = exchanged(wiring, ends[0], ends[1])
    if made is None:
        return None, "that changes nothing"
    text = (
        f"{names[0]} and {names[1]} are exchanged at {item}: {names[0]} is on {ends[1].at}, "
        f"{names[1]} on {ends[0].at}."
    )
    fault = _plain(f"swap {word}", text, made[0])
    return replace(fault, extras=tuple(made[1])), ""


def _together(faults: list[tuple[Made, Fault]], lost: list[Made]) -> tuple[Fault, list[Made]]:
    """Return all changes as one; what meddles with an earlier one is left out and told."""
    total, made = NOTHING, list(lost)
    for words, fault in faults:
        joined = fault if total is NOTHING else both(total, fault)
        if joined is None:
            other = "another change acts on the same conductor or part; take that away first"
            made.append(replace(words, trouble=other))
            continue
        total = joined
        made.append(words)
    return total, made
