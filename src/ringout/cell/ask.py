"""What a person asks about a cell: a state in words, a probe, core ends taken off."""

from __future__ import annotations

from collections.abc import Iterable

from ringout.base import Diagnostic, Severity, Span
from ringout.base.span import ASKED
from ringout.base.suggest import did_you_mean
from ringout.cell.channels import channel_terminal
from ringout.cell.meaning import Meaning
from ringout.cell.model import Cell, Condition, Position, Terminal
from ringout.cell.places import Places
from ringout.cell.poles import find_pole, is_pole
from ringout.cellfile import condition as written
from ringout.cellfile.condition import parse_condition
from ringout.cellfile.tree import Scalar


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
    return _meant(cell, meaning, parsed), list(meaning.problems)


def _meant(cell: Cell, meaning: Meaning, parsed: written.Condition) -> Condition | None:
    """Return a condition in which a signal's name stands for what makes it on."""
    if isinstance(parsed, written.Not):
        inner = _meant(cell, meaning, parsed.inner)
        return None if inner is None else Condition("not", None, (inner,))
    if isinstance(parsed, written.And | written.Or):
        parts = [_meant(cell, meaning, p) for p in parsed.parts]
        good = tuple(p for p in parts if p is not None)
        kind = "and" if isinstance(parsed, written.And) else "or"
        return Condition(kind, None, good) if len(good) == len(parts) else None
    signal = cell.signals.get(parsed.actor.text)
    word = parsed.position.text.casefold()
    if signal is None or parsed.actor.text in cell.items or word not in ("on", "off"):
        return meaning.condition(parsed)
    if signal.on is not None:
        return signal.on if word == "on" else Condition("not", None, (signal.on,))
    return Condition("is", Position(cell.actor_of_output(signal), word, parsed.span))


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
    """Return where a probe is held: a terminal, or a core end that is taken off.

    `0V`, `24V` and `PE` stand for the terminal of the only supply, a channel or a signal for
    the pin of its own.
    """
    if "@" in word:
        if word in set(lifted):
            return word, []
        return None, [
            _problem("N315", f"core end {word} is not taken off", word, f"add `--lift {word}`")
        ]
    if is_pole(word):
        pole, message, fix = find_pole(cell, word)
        return pole, [] if pole is not None else [_problem("N317", message, word, fix)]
    signal = cell.signals.get(word)
    channel = signal.channel_name if signal is not None and word not in cell.items else word
    item, _, name = channel.partition(".")
    if item in cell.items and name in cell.items[item].part.channels:
        return channel_terminal(cell, item, name), []
    places = Places(cell.items, cell.cables)
    span = Span(ASKED, 1, 1, 1 + len(word))
    return places.terminal(word, span), list(places.problems)
