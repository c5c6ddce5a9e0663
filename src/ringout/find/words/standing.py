"""How the cell stands meanwhile: `while S1 pressed`, `with power off`, `sometimes`, the meter."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from ringout.cell.ask import resolve_state
from ringout.cell.model import Cell
from ringout.find.words.lifts import Lift, read_lift
from ringout.find.words.names import Names
from ringout.find.words.sentence import Sentence, UnclearError, word_set

_I = re.IGNORECASE
_MOVES = (
    r"(?:moving|moves?|moved|running|runs|touched|wiggled|flexed|bent|shaken|vibrates|vibrating"
    r"|jogged|jogs|in\s+motion)"
)
_WHEN = (
    (
        "moving",
        re.compile(
            r"\b(?:but\s+)?(?:only\s+)?(?:while|when|whenever|if)\s+(?:the\s+|it\s+|a\s+)?"
            rf"(?:\w+\s+){{0,2}}?(?:is\s+|are\s+|being\s+)*{_MOVES}(?![\w.:-])",
            _I,
        ),
    ),
    (
        "warm",
        re.compile(
            r"\b(?:but\s+)?(?:only\s+)?(?:(?:when|while|once|if|after)\s+(?:it\s+|the\s+\w+\s+)?"
            r"(?:is\s+|gets\s+|has\s+)*(?:warm(?:ed|ing)?(?:\s+up)?|hot)"
            r"|after\s+(?:a\s+while|(?:a\s+|an\s+|some\s+|\d+\s+)(?:long\s+)?"
            r"(?:time|min(?:ute)?s?|hours?|h)))(?![\w.:-])",
            _I,
        ),
    ),
    (
        "sometimes",
        re.compile(
            r"\b(?:but\s+)?(?:only\s+)?(?:sometimes|now\s+and\s+then|now\s+and\s+again"
            r"|from\s+time\s+to\s+time|at\s+times|occasionally|intermittently"
            r"|every\s+so\s+often|once\s+in\s+a\s+while)\b",
            _I,
        ),
    ),
)
SAID_WHEN = {"sometimes": "sometimes", "moving": "only while moving", "warm": "only when warm"}

_POWER = re.compile(
    r"(?:\b(?:with|while|when)\s+)?(?:\b(?:the|all|both)\s+)?"
    r"(?:\b(?:power|supply|supplies|mains)\s+(?:is\s+|are\s+)?(?:switched\s+|turned\s+)?(off|on)\b"
    r"|\bpowered\s+(off|down|on|up)\b|\b(unpowered|without\s+power|with\s+no\s+power)\b)",
    _I,
)
_TESTER = re.compile(
    r"(?:\b(?:with|on|using|by)\s+)?(?:\b(?:a|the|my)\s+)?\b(?:"
    r"(?P<lowz>loaded\s+(?:tester|meter)|low[- ]?(?:impedance|z)(?:\s+(?:meter|tester|mode))?)"
    r"|(?P<volts>(?:10\s*Mohm|hand|digital|plain|unloaded)\s+(?:meter|multimeter|voltmeter))"
    r")(?![\w.:-])",
    _I,
)
_CLAUSE = re.compile(r"\b(?:and\s+)?(with|while|when|if)\b", _I)
_LEAF = re.compile(
    r"\s*(?P<no>not\s+)?(?:the\s+)?(?P<actor>[A-Za-z]\w*(?:[.\-:]\w+)*)(?:\s+(?:is|are))?"
    r"(?P<not>\s+not)?\s+(?P<position>\w[\w\-]*)",
    _I,
)
_NO_ACTORS = word_set("a an my our no it he she we i this that")
_AND = re.compile(r"\s+and\s+(?!(?:with|while|when|if)\b)", _I)
_STOP = re.compile(r",|;|$")
# What people call a position; taken only where the part has no such position itself.
_SAME = {
    "held": "pressed",
    "pushed": "pressed",
    "down": "pressed",
    "up": "released",
    "energized": "energised",
    "high": "on",
    "low": "off",
    "1": "on",
    "0": "off",
    "actuated": "operated",
}


@dataclass
class Standing:
    """How the cell stands while something is seen.

    Args:
        when: `always`, `sometimes`, `moving` or `warm`.
        said: what is set, as (actor, position) in the order said.
        power: `on`, `off` or, when nothing is said, empty.
        meter: `volts`, `lowz` or empty.
        lifts: what is taken off.
    """

    when: str = "always"
    said: dict[str, str] = field(default_factory=dict)
    power: str = ""
    meter: str = ""
    lifts: list[Lift] = field(default_factory=list)

    def state(self, cell: Cell, *, powered: bool) -> tuple[tuple[str, str], ...]:
        """Return what differs from rest, sorted; no supplies where all are off."""
        return tuple(
            sorted(
                (actor, position)
                for actor, position in self.said.items()
                if position != cell.actors[actor].positions[0]
                and (powered or cell.actors[actor].moved_by != "supply")
            )
        )

    def powered(self, cell: Cell) -> bool:
        """Return False when power is said to be off, or each supply is."""
        supplies = [a for a in cell.actors.values() if a.moved_by == "supply"]
        off = [a for a in supplies if self.said.get(a.name, "on") == a.positions[-1]]
        return self.power != "off" and not (supplies and len(off) == len(supplies))

    def words(self) -> str:
        """Return how it is said in the tool's own words, with a blank in front."""
        out = [SAID_WHEN[self.when]] if self.when != "always" else []
        out += ["with a loaded tester"] if self.meter == "lowz" else []
        out += ["with power off"] if self.power == "off" else []
        out += [lift.words for lift in self.lifts]
        if self.said:
            out.append("while " + " and ".join(f"{a} {p}" for a, p in self.said.items()))
        return "".join(f" {w}" for w in out)


def read_when(sentence: Sentence, names: Names) -> str:
    """Take how often or under which strain it is seen out of a sentence."""
    found: dict[str, tuple[int, int]] = {}
    for when, pattern in _WHEN:
        for m in list(pattern.finditer(sentence.rest)):
            if any(word in names.cell.actors for word in m[0].split()):
                continue  # `while M1 running` says where an actor stands
            found[when] = m.span()
            sentence.take(*m.span())
    if "moving" in found and "warm" in found:
        raise UnclearError(
            "N317",
            "while moving or when warm? one sentence can say one of them",
            found["moving"],
            "say it in two sentences",
        )
    for when in found:  # `sometimes when it moves` is `moving`
        sentence.piece(SAID_WHEN[when])
        return when
    return "always"


def read_standing(sentence: Sentence, names: Names) -> Standing:
    """Take everything that says how the cell stands out of a sentence.

    Raises:
        UnclearError: part of it cannot be understood.
    """
    standing = Standing(when=read_when(sentence, names))
    for m in list(_TESTER.finditer(sentence.rest)):
        standing.meter = "lowz" if m["lowz"] else "volts"
        sentence.take(*m.span())
    for m in list(_POWER.finditer(sentence.rest)):
        standing.power = "on" if (m[1] or m[2] or "").casefold() in ("on", "up") else "off"
        sentence.piece(f"with power {standing.power}")
        sentence.take(*m.span())
    while (clause := _CLAUSE.search(sentence.rest)) is not None:
        may_lift = clause[1].casefold() == "with"
        lift = read_lift(sentence.rest, clause.end(), names) if may_lift else None
        if lift is not None:
            standing.lifts.append(lift)
            sentence.take(clause.start(), lift.end)
            sentence.piece(lift.words)
        else:
            sentence.take(clause.start(), _read_state(sentence, clause.end(), names, standing))
    return standing


def _read_state(sentence: Sentence, start: int, names: Names, standing: Standing) -> int:
    """Read `S1 pressed and K1.O1 on`; returns where it ends."""
    at, text = start, sentence.rest
    while True:
        m = _LEAF.match(text, at)
        if m is None or m["actor"].casefold() in _NO_ACTORS:
            end = _end(text, at)
            raise UnclearError(
                "N316",
                f"`{text[start:end].strip()}` does not say how something stands",
                (min(start + 1, end), end),
                _state_example(names),
            )
        actor, position = _leaf(names, m)
        before = standing.said.get(actor, position)
        if before != position:
            raise UnclearError(
                "N314",
                f"{actor} cannot be {before} and {position} at once",
                (m.start("actor"), m.end()),
                "name each thing once",
            )
        standing.said[actor] = position
        sentence.piece(f"while {actor} {position}")
        at = m.end()
        joint = _AND.match(text, at)
        if joint is not None and _LEAF.match(text, joint.end()) is not None:
            at = joint.end()
            continue
        either = re.compile(r"\s+or\b", _I).match(text, at)
        if either is not None:
            raise UnclearError(
                "N314",
                "`or` does not say where everything stands",
                (either.end() - 2, either.end()),
                "join the positions with `and`",
            )
        return at


def _leaf(names: Names, m: re.Match[str]) -> tuple[str, str]:
    cell = names.cell
    place = (m.start("actor"), m.end())
    word, position = m["actor"], m["position"]
    found = names.find(word, "actor", "item", "signal", "channel")
    if found is not None and found[0] in ("signal", "channel"):
        word = _output_actor(names, found, place)
    elif found is not None:
        word = found[1]
    mine = [a for a in cell.actors.values() if word in (a.name, a.item)]
    known = {p.casefold(): p for a in mine for p in a.positions}
    small = position.casefold()
    position = known.get(small) or known.get(_SAME.get(small, "")) or position
    no = "not " if bool(m["no"]) != bool(m["not"]) else ""
    state, problems = resolve_state(cell, f"{no}{word} {position}")
    if problems:
        first = problems[0]
        raise UnclearError(first.code, first.message, place, first.fix or "")
    actor, stands = next(iter(state.items()))
    if cell.actors[actor].moved_by == "coil":
        raise UnclearError(
            "N317",
            f"{actor} follows its coil: what makes it {stands}?",
            place,
            "say which output is on, as in `while K1.O3 on`",
        )
    return actor, stands


def _output_actor(names: Names, found: tuple[str, str], place: tuple[int, int]) -> str:
    """Return the actor of an output that is named by its signal or channel."""
    kind, name = found
    signal = names.cell.signals[name] if kind == "signal" else names.signal_of.get(name)
    if signal is not None and signal.on is None:
        return names.cell.actor_of_output(signal)
    meant = f", as in `while {signal.on}`" if signal is not None else ""
    raise UnclearError(
        "N317",
        f"{name} is an input: what is done to make it so?",
        place,
        f"say what stands how{meant}",
    )


def _end(text: str, start: int) -> int:
    stop = _STOP.search(text, start)
    following = _CLAUSE.search(text, start)
    ends = [x.start() for x in (stop, following) if x is not None]
    return max(start, start + len(text[start : min(ends)].rstrip()))


def _state_example(names: Names) -> str:
    actor = next((a for a in names.cell.actors.values() if a.moved_by == "person"), None)
    return f"say it as in `while {actor.name} {actor.positions[-1]}`" if actor is not None else ""
