"""What people say of a signal, a lamp or a load, and what it means."""

from __future__ import annotations

from dataclasses import dataclass

LEVEL, LAMP, LOAD = "level", "lamp", "load"
CALLED = {LEVEL: "a signal", LAMP: "a lamp", LOAD: "a coil or load"}

OFF, DOUBT, GLOW, ON, RESTLESS = "off", "doubt", "glow", "on", "restless"
NOT_OFF = "not off"
# Lowest and highest value that agrees: 0 off, 1 between, 2 on. What is restless changes by itself.
RANGES = {
    OFF: (0.0, 0.0),
    DOUBT: (1.0, 1.0),
    GLOW: (0.5, 1.5),
    NOT_OFF: (0.5, 2.0),
    ON: (2.0, 2.0),
    RESTLESS: (0.0, 2.0),
}
# The word the tool itself uses.
OWN = {
    LEVEL: {OFF: "off", DOUBT: "undefined", ON: "on", RESTLESS: "flickers"},
    LAMP: {OFF: "dark", DOUBT: "half lit", GLOW: "glowing", NOT_OFF: "not dark", ON: "lit",
           RESTLESS: "flickers"},
    LOAD: {OFF: "at rest", DOUBT: "half energised", ON: "energised", RESTLESS: "chatters"},
}  # fmt: skip
_NOT = {OFF: ON, ON: OFF}


@dataclass(frozen=True, slots=True)
class Saying:
    """A word of people: what it means, and of what it can be said."""

    sense: str
    kinds: tuple[str, ...]


_ALL = (LEVEL, LAMP, LOAD)
_TABLE: tuple[tuple[str, tuple[str, ...], str], ...] = (
    (ON, _ALL, "on|active|comes on|come on|goes on|switched on|works|working"),
    (ON, (LEVEL,), "high|1|true|set|made"),
    (ON, (LEVEL, LAMP), "lit|lights up|lights|bright|burns|burning|shines|glows bright"),
    (ON, (LOAD,), "energised|energized|pulled in|pulls in|picks up|picked up|runs|running"),
    (ON, (LOAD,), "moves|switches|attracted|operated|actuated"),
    (OFF, _ALL, "off|dead|inactive|goes off|switched off|does nothing|do nothing"),
    (OFF, (LEVEL,), "low|0|false|missing|reset"),
    (OFF, (LEVEL, LAMP), "dark|unlit|out|no light|goes out"),
    (OFF, (LOAD,), "at rest|dropped|dropped out|released|idle|stopped|falls off|fell off"),
    (OFF, (LOAD,), "de-energised|de-energized|deenergised|deenergized"),
    (DOUBT, (LEVEL,), "undefined|in doubt|between|neither on nor off|floating|floats"),
    (DOUBT, (LAMP,), "half lit"),
    (DOUBT, (LOAD,), "half energised|half energized"),
    (GLOW, (LAMP,), "glows|glow|glowing|dim|dimly lit|faint|faintly lit|weak|glimmers"),
    (GLOW, (LAMP,), "glows weakly"),
    (RESTLESS, _ALL, "flickers|goes on and off|comes and goes|on and off"),
    (RESTLESS, (LEVEL, LAMP), "flicker|flickering|flashes|blinks|blinking|toggles|unsteady"),
    (RESTLESS, (LEVEL, LAMP), "drops out"),
    (RESTLESS, (LOAD,), "chatters|chattering|buzzes|buzzing|flutters|rattles"),
)
_NEGATIONS = (
    "not", "never", "no longer", "does not", "doesn't", "do not", "don't", "is not", "isn't",
    "are not", "aren't", "will not", "won't", "no more",
)  # fmt: skip
# Said of relays and valves, but telling only that something changed.
ASK = frozenset({"clicks", "click", "clicking", "hums", "humming", "hum"})


def _table() -> dict[tuple[str, ...], tuple[Saying, ...]]:
    out: dict[tuple[str, ...], tuple[Saying, ...]] = {}
    for sense, kinds, phrases in _TABLE:
        for phrase in phrases.split("|"):
            words = tuple(phrase.split())
            out[words] = (*out.get(words, ()), Saying(sense, kinds))
    return out


SAYINGS = _table()
NEGATIONS = frozenset(tuple(n.split()) for n in _NEGATIONS)
LONGEST_SAYING = max(len(w) for w in SAYINGS)
LONGEST_NEGATION = max(len(w) for w in NEGATIONS)


def sense_of(sayings: tuple[Saying, ...], kind: str, *, negated: bool) -> str | None:
    """Return what is meant when it is said of this kind of thing; None where it cannot be."""
    for saying in sayings:
        if kind in saying.kinds:
            if not negated:
                return saying.sense
            if saying.sense == OFF and kind == LAMP:
                return NOT_OFF
            return _NOT.get(saying.sense)
    return None
