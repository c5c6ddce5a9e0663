"""Readings: `K1-X1:4 to K1-X1:3 = 0.4 V while S1 pressed`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from ringout.cell.model import Terminal
from ringout.find.model import READING, Observation
from ringout.find.words.lifts import choose_end
from ringout.find.words.names import Names
from ringout.find.words.sentence import Sentence, Token, UnclearError, spread, tokens_of, word_set
from ringout.find.words.standing import Standing
from ringout.find.words.value import READINGS, Shown, read_value
from ringout.findings.looks import Look

_POLE = (
    r"(?:[+-]?\s?\d+\s?V(?:olts?|dc)?(?![\w.])"
    r"|(?:the\s+)?(?:PE|earth|ground|gnd|common|minus|plus)(?![\w.:-]))"
)
_PLACE = r"[A-Za-z]\w*(?:-\w+)?:[^\s=,;]*[^\s=,;:.]"
_WORD = r"[A-Za-z][\w\-]*"
_JOINT = r"\s*(?:->|→|\s-\s|\bto\b|\bagainst\b|\bversus\b|\bvs\.?(?=\s))\s*"
_COLON_PLACE = re.compile(r"[A-Za-z]\w*(?:-\w+)?:\S")
_IN_UNIT = re.compile(r"\bin\s+(?:ohms?|volts?)\b", re.IGNORECASE)
_TOO_MUCH = 1.25  # times what all supplies together give
_FILLERS = word_set(
    "= : - -> is are was reads read shows showed show measures measured gives gave get got have "
    "i we there meter tester reading voltage resistance the a of from between across at it only "
    "just still now says and"
)


@dataclass(frozen=True, slots=True)
class Pair:
    """The two places of a reading, and where they stand in the sentence."""

    a: Token
    b: Token
    end: int


def find_pair(sentence: Sentence, standing: Standing) -> Pair | None:
    """Return the two places a meter was held on, or None where none are told."""
    ends = [e for lift in standing.lifts for e in lift.ends if " " in e]
    own = "|".join(re.escape(e) for e in sorted(ends, key=len, reverse=True))
    place = f"(?:{own}|{_PLACE})" if own else _PLACE
    either = f"(?:{place}|{_POLE}|{_WORD})"
    pair = re.compile(rf"(?<![\w:.-])({either}){_JOINT}({either})", re.IGNORECASE)
    both = re.compile(
        rf"\b(?:between|across|from)\s+({either})\s+(?:and|to)\s+({either})", re.IGNORECASE
    )
    for pattern in (both, pair):
        for m in pattern.finditer(sentence.rest):
            if any(_COLON_PLACE.match(m[n]) for n in (1, 2)):
                a, b = (Token(" ".join(m[n].split()), m.start(n), m.end(n)) for n in (1, 2))
                return Pair(a, b, m.end())
    return None


def one_place(sentence: Sentence) -> Token | None:
    """Return a place that stands alone before a number, as in `K1-X1:4 = 0.4 V`."""
    m = re.search(rf"(?<![\w:.-])({_PLACE})", sentence.rest)
    number = re.search(
        r"(?<![\w:.-])[+-]?\d+(?:[.,]\d+)?\s*(?:[mk]?V|[kM]?(?:ohm|Ω))", sentence.rest
    )
    return Token(m[1], m.start(1), m.end(1)) if m is not None and number is not None else None


def read_reading(
    sentence: Sentence, names: Names, standing: Standing, pair: Pair, text: str
) -> Observation:
    """Return what a meter showed between two places.

    Raises:
        UnclearError: a place, the value or its unit cannot be understood.
    """
    a, b = (_place(sentence, names, standing, word) for word in (pair.a, pair.b))
    if a == b:
        raise UnclearError(
            "N316", f"both probes are on {a}", (pair.a.start, pair.b.end), "name two places"
        )
    choose_ends(sentence, names, standing, (a, b))
    a, b = (_held(p, standing, w) for p, w in ((a, pair.a), (b, pair.b)))
    sentence.piece(f"{a} to {b}", str(a), str(b))
    sentence.take(pair.a.start, pair.end)
    shown, place = _value(sentence, standing)
    _check(shown, place, names, standing)
    ohms = shown.quantity == "ohms"
    powered = standing.powered(names.cell) and not ohms
    look = Look(
        kind="ohms" if ohms else "lowz" if standing.meter == "lowz" else "volts",
        a=a,
        b=b,
        state=standing.state(names.cell, powered=powered),
        lifted=tuple(sorted({e for lift in standing.lifts for e in lift.ends})),
        powered=powered,
    )
    return Observation(
        text=text,
        kind=READING,
        understood=f"{a} to {b} = {shown.words}{standing.words()}",
        look=look,
        low=shown.low,
        high=shown.high,
        when=standing.when,
    )


def _place(sentence: Sentence, names: Names, standing: Standing, word: Token) -> Terminal | str:
    """Return the terminal, or the core end that is taken off, a probe was on."""
    where = (word.start, word.end)
    if re.fullmatch(_POLE, word.text, re.IGNORECASE):
        terminal = names.pole(word.text.removeprefix("the "), where)
        sentence.remark(f"{word.text} is {terminal}")
        sentence.piece(str(terminal))
        return terminal
    found = names.find(word.text, "lift")
    if found is not None:
        if any(found[1] in lift.ends for lift in standing.lifts):
            return found[1]
        raise UnclearError(
            "N315",
            f"core end {found[1]} is not taken off",
            where,
            f"name a terminal, or add `with {found[1]} lifted`",
        )
    core = names.find(word.text, "conductor", "core")
    if core is not None and core[1] not in names.terminals:
        ends = [e for x in standing.lifts for e in x.ends if e.rpartition("@")[0] == core[1]]
        if ends:
            return ends[0] if len(ends) == 1 else f"{core[1]}@"
        every = [e for e in names.lifts if e.rpartition("@")[0] == core[1]]
        raise UnclearError(
            "N315",
            f"core {core[1]} is no place for a probe while it is landed",
            where,
            f"name a terminal, or add `with {every[0]} lifted`" if every else "name a terminal",
        )
    terminal = names.terminal(word.text, where)
    sentence.piece(str(terminal))
    return terminal


def choose_ends(
    sentence: Sentence, names: Names, standing: Standing, probes: Sequence[Terminal | str]
) -> None:
    """Settle at which ends things are taken off, and note what was chosen."""
    for number, lift in enumerate(standing.lifts):
        chosen = choose_end(lift, names, probes)
        if lift.open:
            sentence.remark(f"{lift.said} is taken off at {chosen.at}")
        sentence.piece(chosen.words)
        standing.lifts[number] = chosen


def _held(place: Terminal | str, standing: Standing, word: Token) -> Terminal | str:
    """Return the place; for a core whose end was open, the end that was chosen."""
    if isinstance(place, Terminal):
        return place
    every = [e for lift in standing.lifts for e in lift.ends]
    ends = [e for e in every if e == place or (place.endswith("@") and e.startswith(place))]
    if len(ends) == 1:
        return ends[0]
    raise UnclearError(
        "N317",
        f"which end of {word.text} was the probe on?",
        (word.start, word.end),
        f"one of {', '.join(ends or every)}",
    )


def _value(sentence: Sentence, standing: Standing) -> tuple[Shown, tuple[int, int]]:
    for m in list(_IN_UNIT.finditer(sentence.rest)):
        sentence.take(*m.span())
    # a comma inside a number is part of it
    rest = re.sub(r"(?<=\d),(?=\d)", "\u0001", sentence.rest)
    every = [t for t in tokens_of(rest) if t.text != ","]
    tokens = list(every)
    while tokens and tokens[0].small in _FILLERS:
        tokens.pop(0)
    while tokens and tokens[-1].small in _FILLERS:
        tokens.pop()
    place = spread(_worded(every) or tokens)
    if place is None:
        raise UnclearError("N317", "what did the meter show?", None, "add it, as in `= 0.4 V`")
    text = sentence.rest[place[0] : place[1]]
    sentence.take(*place)
    return read_value(text, place, standing.meter), place


def _worded(tokens: list[Token]) -> list[Token]:
    """Return the words that together are a known reading, such as `no voltage`."""
    for size in range(min(len(tokens), 4), 0, -1):
        for first in range(len(tokens) - size + 1):
            inside = tokens[first : first + size]
            others = [*tokens[:first], *tokens[first + size :]]
            said = " ".join(t.small for t in inside)
            if said in READINGS and all(t.small in _FILLERS for t in others):
                return inside
    return []


def _check(shown: Shown, place: tuple[int, int], names: Names, standing: Standing) -> None:
    """Raise when a value cannot be seen in this cell as it stands."""
    if shown.quantity == "ohms":
        if standing.meter == "lowz":
            raise UnclearError(
                "N318", "a loaded tester shows volts, no ohms", place, "leave the tester out"
            )
        if standing.power == "on":
            raise UnclearError(
                "N318",
                f"`{shown.words}` is measured with the power off, but it is said to be on",
                place,
                "measure ohms with the power off",
            )
        return
    most = names.max_volts()
    if most and abs(shown.typ) > _TOO_MUCH * most:
        raise UnclearError(
            "N318",
            f"`{shown.words}` is more than all supplies of this cell give together ({most:g} V)",
            place,
            "check the number and its unit",
        )
