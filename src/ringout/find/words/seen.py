"""What is seen by eye: `start_lidding off while S1 pressed`, `B6 lamp glows`, `Q1 at rest`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ringout.find.model import WORD, Observation
from ringout.find.words import vocabulary as say
from ringout.find.words.groups import Thing, expand_group, load_thing
from ringout.find.words.names import Names
from ringout.find.words.reading import choose_ends
from ringout.find.words.sentence import Sentence, Token, UnclearError, word_set
from ringout.find.words.standing import Standing
from ringout.findings.looks import Look

_VERBS = word_set(
    "is are stays stay remains remain shows show reads seems seem goes go comes come keeps keep "
    "= : - be was were still always constantly permanently just only now it gets"
)
_ADVERBS = word_set("again now still always constantly permanently anymore though too")
_ARTICLES = word_set(
    "the a an of on at 's built-in own signal input output channel sensor device valve relay "
    "coil load button switch light-emitting its our my that this see i we and , both"
)
_LAMP_WORDS = word_set("lamp lamps led leds light lights indicator indicators")


@dataclass(frozen=True, slots=True)
class Predicate:
    """What is said of the subjects: the word, whether `not` stands before it."""

    words: tuple[Token, ...]
    negated: bool

    @property
    def text(self) -> str:
        """Return the words."""
        return ("not " if self.negated else "") + " ".join(t.text for t in self.words)

    @property
    def place(self) -> tuple[int, int]:
        """Return where they stand."""
        return self.words[0].start, self.words[-1].end


def read_seen(sentence: Sentence, names: Names, standing: Standing, text: str) -> list[Observation]:
    """Return what is seen by eye, an observation for each thing named.

    Raises:
        UnclearError: the thing or what is said of it cannot be understood.
    """
    tokens = sentence.tokens()
    subject, predicate = _split(tokens, names)
    things = list(_things(subject, names, predicate))
    choose_ends(sentence, names, standing, ())
    sentence.piece(", ".join(t.words for t in things))
    return [_observation(names, standing, t, predicate, text) for t in things]


def _split(tokens: list[Token], names: Names) -> tuple[list[Token], Predicate]:
    """Part the words in what is spoken about and what is said of it."""
    words = [t for t in tokens if t.text != ","]
    while words and words[-1].small in _ADVERBS:
        words.pop()
    if not words:
        raise UnclearError("N316", "nothing is said to be seen", None, names.example())
    for size in range(min(say.LONGEST_SAYING, len(words)), 0, -1):
        last = tuple(t.small for t in words[-size:])
        if last in say.SAYINGS or (size == 1 and last[0] in say.ASK):
            break
    else:
        raise _no_predicate(words, names)
    before = words[:-size]
    said, negated = tuple(words[-size:]), False
    while before and before[-1].small in _VERBS:
        before.pop()
    for length in range(say.LONGEST_NEGATION, 0, -1):
        if tuple(t.small for t in before[-length:]) in say.NEGATIONS:
            negated, before = True, before[:-length]
            break
    while before and before[-1].small in _VERBS:
        before.pop()
    if not before:
        place = (said[0].start, said[-1].end)
        raise UnclearError(
            "N317", f"what is {' '.join(t.text for t in said)}?", place, names.example()
        )
    first = words.index(before[-1])
    commas = [t for t in tokens if t.text == "," and t.start < words[first].start]
    return sorted([*before, *commas], key=lambda t: t.start), Predicate(said, negated)


def _no_predicate(words: list[Token], names: Names) -> UnclearError:
    """Return the problem of a sentence that says nothing this tool knows."""
    known = [t for t in words if names.find(t.text, "item", "signal", "channel", "load", "cable")]
    unknown = [t for t in words if t not in known and t.small not in _ARTICLES | _VERBS]
    token = (unknown or words)[0]
    if known:
        rest = " ".join(t.text for t in unknown)
        name = known[0].text
        message = f"`{rest}` is not understood of {name}" if rest else f"what of {name}?"
        fix = "say what is seen, as in `on`, `off`, `lit`, `dark`, `energised` or `at rest`"
        return UnclearError(
            "N316", message, (token.start, unknown[-1].end if unknown else token.end), fix
        )
    shown = token.text if len(token.text) <= 40 else token.text[:40] + "..."
    near = names.near(token.text)
    fix = f"did you mean `{near}`?" if near else names.example()
    return UnclearError("N316", f"`{shown}` is not understood", (token.start, words[-1].end), fix)


def _things(subject: list[Token], names: Names, predicate: Predicate) -> Iterator[Thing]:
    group = expand_group(subject, names, lit=_lit_only(predicate))
    if group is not None:
        yield from group
        return
    lamp = any(_bare(t) in _LAMP_WORDS for t in subject)
    elements = {_bare(t) for t in subject}
    left = [
        t
        for t in subject
        if _bare(t) not in _ARTICLES | _LAMP_WORDS or names.find(t.text, "item", "signal")
    ]
    named = [t for t in left if names.find(_name(t), "signal", "channel", "load", "item")]
    spare = [t for t in left if t not in named]
    item = names.find(_name(named[0]), "item") if len(named) == 1 else None
    own = names.lamps_of(item[1]) if item else []
    spare = [t for t in spare if _bare(t) not in own]
    if spare:
        yield _spare(spare, left, item, names)
        return
    if not named:
        first = subject[0]
        raise UnclearError("N317", "which one?", (first.start, subject[-1].end), names.example())
    for token in named:
        chosen = next((n for n in own if n in elements and (len(own) > 1 or not lamp)), "")
        yield _thing(token, names, predicate, lamp=lamp, element=chosen)


def _bare(token: Token) -> str:
    return token.small.removesuffix("'s").strip("=:")


def _name(token: Token) -> str:
    return token.text.removesuffix("'s").removesuffix("'S")


def _spare(
    spare: list[Token], left: list[Token], item: tuple[str, str] | None, names: Names
) -> Thing:
    """Return the channel meant by `I4`, or by `input 4 of K1`; ask where it is none."""
    token = spare[0]
    if len(left) == 1:
        return _short_channel(spare, names)
    if item is not None and len(spare) == 1:
        every = names.cell.items[item[1]].part.channels.values()
        inputs = [c.name for c in every if c.kind == "input"]
        found = [c for c in inputs if token.small in (c.casefold(), c.lstrip("IXDix"))]
        if len(found) == 1:
            return _channel(f"{item[1]}.{found[0]}", (token.start, token.end), names)
    return _stranger(token, names)


def _stranger(token: Token, names: Names) -> Thing:
    if (token.small,) in say.SAYINGS:
        place = (token.start, token.end)
        message = f"something more is said after `{token.text}`"
        raise UnclearError("N316", message, place, "part two sentences with `;`")
    raise names.unknown(_name(token), (token.start, token.end))


def _short_channel(spare: list[Token], names: Names) -> Thing:
    """Return the input whose short name, such as `I4`, only one controller has."""
    token = spare[0]
    small = token.small
    every = [c for c in names.channels if c.partition(".")[2].casefold() == small]
    used = [c for c in every if c in names.signal_of] or every
    if len(used) == 1:
        return _channel(used[0], (token.start, token.end), names)
    if used:
        raise UnclearError(
            "N317",
            f"which {token.text}?",
            (token.start, token.end),
            f"one of {', '.join(used[:6])}",
        )
    return _stranger(token, names)


def _channel(name: str, place: tuple[int, int], names: Names) -> Thing:
    signal = names.signal_of.get(name)
    if signal is None:
        raise UnclearError(
            "N317",
            f"channel {name} has no signal in this cell file",
            place,
            "give it a line under `signals:`, or tell the volts at its terminal",
        )
    if signal.on is None:
        raise UnclearError(
            "N317",
            f"{name} is an output: what does {signal.drives} do?",
            place,
            f"say it as in `{signal.drives} off while {name} on`",
        )
    return Thing("level", signal.name, say.LEVEL)


def _thing(token: Token, names: Names, predicate: Predicate, *, lamp: bool, element: str) -> Thing:
    """Return what one name of a sentence stands for."""
    place = (token.start, token.end)
    found = names.find(_name(token), "signal", "channel", "load", "item")
    assert found is not None  # only known names come here
    kind, name = found
    if kind == "signal":
        return _channel(names.cell.signals[name].channel_name, place, names)
    if kind == "channel":
        return _channel(name, place, names)
    item = name.partition(".")[0]
    own = names.lamps_of(item)
    lamp = lamp or _lit_only(predicate)
    if element:
        load = names.loads.get((item, element))
        if load is not None:
            return load_thing(load, item, names)
    if kind == "load" and (names.load_kind[name] == "lamp" or not lamp):
        return load_thing(name, item, names)
    if not lamp:
        return _item_alone(item, place, names)
    if len(own) > 1:
        every = [f"{item}.{n}" for n in own]
        raise UnclearError("N317", f"which lamp of {item}?", place, f"one of {', '.join(every)}")
    if not names.has_lamp(item):
        raise UnclearError(
            "N316", f"{item} ({names.cell.items[item].part.name}) has no lamp", place, ""
        )
    return Thing("lamp", item, say.LAMP)


def _item_alone(item: str, place: tuple[int, int], names: Names) -> Thing:
    """Ask back what of an item is meant."""
    loads = names.loads_of(item)
    if len(loads) > 1:
        raise UnclearError("N317", f"which part of {item}?", place, f"one of {', '.join(loads)}")
    ways = [f"`{s.name}`" for s in names.signals_of_item(item)]
    ways += [f"`lamp of {item}`"] if names.has_lamp(item) else []
    fix = f"say it of {' or '.join(ways)}" if ways else "say it of a signal, a lamp or a load"
    raise UnclearError("N317", f"what of {item}?", place, fix)


def _lit_only(predicate: Predicate) -> bool:
    """Return whether only a lamp can be so."""
    sayings = say.SAYINGS.get(tuple(t.small for t in predicate.words), ())
    kinds = {k for s in sayings for k in s.kinds}
    return say.LAMP in kinds and say.LOAD not in kinds


def _observation(
    names: Names, standing: Standing, thing: Thing, predicate: Predicate, text: str
) -> Observation:
    words = tuple(t.small for t in predicate.words)
    if len(words) == 1 and words[0] in say.ASK:
        own = say.OWN[thing.group]
        raise UnclearError(
            "N317",
            f"{thing.what} {words[0]}: and then?",
            predicate.place,
            f"say it is {own[say.ON]} or {own[say.OFF]}",
        )
    sense = say.sense_of(say.SAYINGS[words], thing.group, negated=predicate.negated)
    if sense is None:
        known = ", ".join(say.OWN[thing.group].values())
        raise UnclearError(
            "N316",
            f"{say.CALLED[thing.group]} is never `{predicate.text}`",
            predicate.place,
            f"{thing.what} may be {known}",
        )
    low, high = say.RANGES[sense]
    restless = sense == say.RESTLESS
    powered = standing.powered(names.cell)
    own_word = say.OWN[thing.group][sense]
    verb = "" if restless else "is "
    when = "sometimes" if restless and standing.when == "always" else standing.when
    return Observation(
        text=text,
        kind=WORD,
        understood=f"{thing.words} {verb}{own_word}{standing.words()}",
        look=Look(
            kind=thing.kind,
            what=thing.what,
            state=standing.state(names.cell, powered=powered),
            lifted=tuple(sorted({e for lift in standing.lifts for e in lift.ends})),
            powered=powered,
        ),
        low=low,
        high=high,
        when=when,
    )
