"""What was seen, picked on a page and put into a sentence of the search's own language."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ringout.base import Diagnostic
from ringout.cell.model import Cell
from ringout.find import NextLook, Observation
from ringout.find.tell import look_words
from ringout.find.words import understand_all
from ringout.find.words.names import Names
from ringout.findings.looks import LAMPS, LEVELS, LOADS, Look
from ringout.web.exchange import Ask

MOST_SEEN = 20
MOST_SENTENCE = 300
_BARE = re.compile(r"[+\N{MINUS SIGN}-]?\s*(\d+([.,]\d*)?|[.,]\d+)")
UNITS = ("V", "mV", "Ω", "kΩ", "MΩ")
METERS = (("volts", "Meter, 10 MΩ"), ("lowz", "Loaded tester"), ("ohms", "Ohms, power off"))
SHOWN = {
    "signal": (*LEVELS[::-1], "flickers"),
    "lamp": (*LAMPS[::-1], "flickers"),
    "load": (*LOADS[::-1], "chatters"),
}


@dataclass(frozen=True, slots=True)
class Heard:
    """Sentences understood.

    Args:
        sentences: those that are, as they stand in the URL.
        observations: what they say; one sentence may say several things.
        problems: (sentence, what is wrong, how to say it) of the others.
    """

    sentences: tuple[str, ...]
    observations: tuple[tuple[str, Observation], ...]
    problems: tuple[tuple[str, str, str], ...]


def hear(cell: Cell, texts: tuple[str, ...]) -> Heard:
    """Return what sentences say; those that say nothing are told with the cure."""
    known: list[str] = []
    seen: list[tuple[str, Observation]] = []
    wrong: list[tuple[str, str, str]] = []
    for text in dict.fromkeys(texts[:MOST_SEEN]):
        said = text.strip()
        if len(said) > MOST_SENTENCE:
            wrong.append((said[:60] + "…", "that is too long for one sentence", ""))
            continue
        found, problems = understand_all(cell, said)
        wrong += [(said, *_told(p)) for p in problems[:1]]
        if found and not problems:
            known.append(said)
            seen += [(said, o) for o in found]
    if len(texts) > MOST_SEEN:
        wrong.append(("", f"only {MOST_SEEN} sentences are taken", "take some back"))
    return Heard(tuple(known), tuple(seen), tuple(wrong))


def _told(problem: Diagnostic) -> tuple[str, str]:
    return problem.message, problem.fix or ""


def picked(ask: Ask) -> str:
    """Return the sentence a form was filled in for; empty when it is none or not filled in."""
    kind = ask.first("pick")
    if kind == "say":
        return ask.first("say").strip()
    held = [w for w in (ask.first("while").strip(), ask.first("and").strip()) if w]
    state = f" while {' and '.join(dict.fromkeys(held))}" if held else ""
    if kind == "meter":
        red, black = ask.first("red").strip(), ask.first("black").strip()
        reading = _reading(ask)
        if not (red and black and reading):
            return ""
        tester = " with a loaded tester" if ask.first("meter") == "lowz" else ""
        lifted = ask.first("lifted").strip()
        lift = f" with {lifted} lifted" if lifted else ""
        return f"{red} to {black} = {reading}{tester}{lift}{state}"
    what, shown = ask.first("what").strip(), ask.first("shown").strip()
    if kind not in SHOWN or not (what and shown):
        return ""
    alone = kind == "lamp" and "." not in what  # the lamp of a device; else one of several
    return f"{'lamp of ' if alone else ''}{what} {shown}{state}"


def _reading(ask: Ask) -> str:
    if ask.first("as") == "open":
        return "open"
    unit = ask.first("unit")
    return with_unit(ask.first("reading"), unit if unit in UNITS else UNITS[0])


def with_unit(text: str, unit: str) -> str:
    """Return what was typed as a reading, with the unit chosen beside it where it has none."""
    said = " ".join(text.split())
    return f"{said} {unit}" if _BARE.fullmatch(said) else said


def sentence_of(look: Look, shown: str) -> str:
    """Return the sentence that says a look showed something seen by eye."""
    words = look_words(look)
    if " with " in words or " while " in words:
        cut = min(i for i in (words.find(" with "), words.find(" while ")) if i >= 0)
        return f"{words[:cut]} {shown}{words[cut:]}"
    return f"{words} {shown}"


@dataclass(frozen=True, slots=True)
class Pickable:
    """What can be picked in a cell.

    Args:
        signals: input signals.
        lamps: items with a lamp of their own, and each lamp of those with several.
        loads: what else outputs drive, by name.
        places: terminals, for the probes.
        states: positions that are not at rest, as `S1 pressed`.
        lifts: core ends that can be taken off.
    """

    signals: tuple[str, ...]
    lamps: tuple[str, ...]
    loads: tuple[str, ...]
    places: tuple[str, ...]
    states: tuple[str, ...]
    lifts: tuple[str, ...]


def pickable(cell: Cell) -> Pickable:
    """Return what can be picked in a cell."""
    names = Names(cell)
    loads = tuple(dict.fromkeys(names.loads.values()))
    moved = ("person", "command", "supply")
    return Pickable(
        tuple(s.name for s in cell.signals.values() if s.on is not None),
        (
            *(i for i in cell.items if names.has_lamp(i) and len(names.lamps_of(i)) < 2),
            *(
                n
                for n in loads
                if names.load_kind[n] == "lamp" and len(names.lamps_of(n.partition(".")[0])) > 1
            ),
        ),
        tuple(n for n in loads if names.load_kind[n] != "lamp"),
        tuple(names.terminals),
        tuple(
            f"{a.name} {p}"
            for a in cell.actors.values()
            if a.moved_by in moved
            for p in a.positions[1:]
        ),
        names.lifts,
    )


def meter_fields(look: Look) -> list[tuple[str, str]]:
    """Return the fields of a form that asks only for the reading of a look."""
    states = [f"{a} {p}" for a, p in look.state]
    held = [("while", " and ".join(states))] if states else []
    lifted = [("lifted", " and ".join(look.lifted))] if look.lifted else []
    return [("pick", "meter"), ("red", str(look.a)), ("black", str(look.b)),
            ("meter", look.kind), *held, *lifted]  # fmt: skip


def outcomes(cell: Cell, following: NextLook) -> list[dict[str, object]]:
    """Return what a next look may show, with its suspects and, for what is seen by eye, a link."""
    out: list[dict[str, object]] = []
    for shown, ids in following.expect:
        text = "" if following.look.by_meter else sentence_of(following.look, shown)
        known = bool(text) and not understand_all(cell, text)[1]
        out.append({"shown": shown, "ids": list(ids[:4]), "more": max(0, len(ids) - 4),
                    "sentence": text if known else ""})  # fmt: skip
    return out
