"""What a person asks about a cell: a state in words, a probe, core ends taken off."""

from __future__ import annotations

from collections.abc import Iterable

from ringout.base import Diagnostic, Severity, Span
from ringout.base.suggest import did_you_mean
from ringout.cell.meaning import Meaning
from ringout.cell.model import Cell, Condition, Terminal
from ringout.cell.places import Places
from ringout.cellfile.condition import parse_condition
from ringout.cellfile.tree import Scalar

ASKED = "question"  # stands for the file name in places of typed text


def _typed(text: str) -> Scalar:
    return Scalar(text, Span(ASKED, 1, 1, 1 + len(text)), False)


def _problem(code: str, message: str, text: str, fix: str | None) -> Diagnostic:
    return Diagnostic(code, Severity.ERROR, message, Span(ASKED, 1, 1, 1 + len(text)), fix=fix)


def resolve_condition(cell: Cell, text: str) -> tuple[Condition | None, list[Diagnostic]]:
    """Return a typed condition resolved in a cell, or what is wrong with it."""
    parsed = parse_condition(_typed(text))
    if isinstance(parsed, Diagnostic):
        return None, [parsed]
    meaning = Meaning(cell.items, cell.actors, Places(cell.items, cell.cables))
    return meaning.condition(parsed), list(meaning.problems)


def resolve_state(cell: Cell, text: str) -> tuple[dict[str, str], list[Diagnostic]]:
    """Return the positions a typed state sets, as in `S1 pressed and K1.O1 on`.

    Only `and` and `not` of two-position actors say where everything stands; `or` does not.
    """
    if not text.strip():
        return {}, []
    condition, problems = resolve_condition(cell, text)
    if condition is None:
        return {}, problems
    state: dict[str, str] = {}
    todo = [(condition, True)]
    while todo:
        found, wanted = todo.pop()
        if found.position is not None:
            actor = cell.actors[found.position.actor]
            others = [p for p in actor.positions if p != found.position.position]
            if not wanted and len(others) != 1:
                return {}, [
                    _problem(
                        "N314",
                        f"`not {found.position.position}` leaves {actor.name} open",
                        text,
                        f"say one of: {', '.join(others)}",
                    )
                ]
            position = found.position.position if wanted else others[0]
            if state.get(actor.name, position) != position:
                return {}, [
                    _problem(
                        "N314",
                        f"{actor.name} cannot be {state[actor.name]} and {position} at once",
                        text,
                        "name each thing once",
                    )
                ]
            state[actor.name] = position
        elif found.kind == "not":
            todo.append((found.parts[0], not wanted))
        elif (found.kind == "and") == wanted:
            todo += [(p, wanted) for p in found.parts]
        else:
            return {}, [
                _problem(
                    "N314",
                    "`or` does not say where everything stands",
                    text,
                    "join the positions with `and`",
                )
            ]
    return state, []


def lift_names(cell: Cell) -> list[str]:
    """Return every end of a conductor that can be taken off, as `W1:BN@S1`."""
    return [f"{j.conductor}@{end.item}" for j in cell.joins for end in (j.a, j.b)]


def resolve_lifts(cell: Cell, words: Iterable[str]) -> tuple[list[str], list[Diagnostic]]:
    """Return the core ends a person takes off, or what is wrong with the words."""
    names = lift_names(cell)
    known = set(names)
    out: list[str] = []
    problems: list[Diagnostic] = []
    for word in words:
        if word in known:
            out.append(word)
            continue
        near = did_you_mean(word, names)
        core = word.split("@")[0]
        ends = [n for n in names if n.split("@")[0] == core]
        fix = (
            f"its ends are {', '.join(ends)}"
            if ends
            else f"did you mean `{near}`?"
            if near
            else "write core and item, as in W1:BN@S1"
        )
        problems.append(_problem("N315", f"`{word}` is no core end of this cell", word, fix))
    return out, problems


def resolve_probe(
    cell: Cell, word: str, lifted: Iterable[str]
) -> tuple[Terminal | str | None, list[Diagnostic]]:
    """Return where a probe is held: a terminal, or a core end that is taken off."""
    if "@" in word:
        if word in set(lifted):
            return word, []
        return None, [
            _problem("N315", f"core end {word} is not taken off", word, f"add `--lift {word}`")
        ]
    places = Places(cell.items, cell.cables)
    span = Span(ASKED, 1, 1, 1 + len(word))
    return places.terminal(word, span), list(places.problems)
