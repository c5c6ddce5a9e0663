"""What is taken off meanwhile: `with W6:BK@B6 lifted`, `with W11 unplugged at B1`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ringout.cell.model import Join, Terminal
from ringout.find.words.names import Names
from ringout.find.words.sentence import UnclearError

_OFF = re.compile(
    r"\s+(?:is\s+|are\s+)?(?:lifted|unplugged|disconnected|taken\s+off|removed|pulled(?:\s+off)?"
    r"|unscrewed)(?:\s+(?:at|from|on)\s+(?P<at>[A-Za-z]\w*(?:-\w+)?))?(?![\w@])",
    re.IGNORECASE,
)
_NEXT = re.compile(r"\b(?:with|while|when|if)\b", re.IGNORECASE)
_BETWEEN = re.compile(r"\s*,\s*(?:and\s+)?|\s+and\s+", re.IGNORECASE)
_CABINET = ("controller", "supply", "protection", "terminal")


@dataclass(frozen=True, slots=True)
class Lift:
    """Ends of conductors that are taken off.

    Args:
        said: what is taken off, in names of the cell.
        verb: `lifted` or `unplugged`.
        choices: where the sentence leaves the end open, the ends for each item it may be at;
            with one item, or an end named, one choice.
        at: where it is unplugged, when that must be said.
        end: where the clause ends in the sentence.
        place: where it stands.
    """

    said: str
    verb: str
    choices: tuple[tuple[str, tuple[str, ...]], ...]
    end: int
    place: tuple[int, int]
    at: str = ""

    @property
    def open(self) -> bool:
        """Return whether the sentence leaves open at which end."""
        return len(self.choices) > 1

    @property
    def ends(self) -> tuple[str, ...]:
        """Return every end that is, or may be, taken off."""
        return tuple(e for _, ends in self.choices for e in ends)

    @property
    def words(self) -> str:
        """Return the clause in the tool's own words."""
        if self.open:
            return f"with {self.said} {self.verb}"
        if self.verb == "unplugged":
            return f"with {self.said} unplugged" + (f" at {self.at}" if self.at else "")
        return f"with {_listed(self.ends)} lifted"


def _listed(words: Sequence[str]) -> str:
    return ", ".join(words[:-1]) + (" and " if len(words) > 1 else "") + words[-1]


def read_lift(text: str, start: int, names: Names) -> Lift | None:
    """Read what is taken off from a place in a sentence on; None when it says nothing such.

    Raises:
        UnclearError: it does, but names nothing that can be taken off.
    """
    stop = _NEXT.search(text, start)
    found = _OFF.search(text, start, stop.start() if stop is not None else len(text))
    if found is None:
        return None
    at = _at(names, found)
    said: list[str] = []
    choices: list[tuple[tuple[str, tuple[str, ...]], ...]] = []
    for word, place in _pieces(text, start, found.start()):
        name, ends = _ends(names, word, place, at)
        said.append(name)
        choices.append(tuple(ends.items()))
    if not said:
        place = (found.start(), found.end())
        raise UnclearError("N317", "what is taken off?", place, "say it as in `with W1:BN lifted`")
    where = (start, found.end())
    if len(choices) == 1:
        verb = "lifted" if ":" in said[0] else "unplugged"
        if said[0] in names.cell.cables:
            at = choices[0][0][0] if len(choices[0]) == 1 else ""
        return Lift(said[0], verb, choices[0], found.end(), where, at)
    items = [dict(c) for c in choices]
    shared = [i for i in items[0] if all(i in c for c in items)]
    if all(len(c) == 1 for c in items):
        every = tuple(dict.fromkeys(e for c in items for ends in c.values() for e in ends))
        merged: tuple[tuple[str, tuple[str, ...]], ...] = (("", every),)
    else:
        merged = tuple((i, tuple(e for c in items for e in c[i])) for i in shared)
    if not merged:
        raise UnclearError(
            "N317",
            f"at which end is each of {_listed(said)} taken off?",
            where,
            "name the ends, as in `with W1:BN@S1 and W2:BN@S2 lifted`",
        )
    return Lift(_listed(said), "lifted", merged, found.end(), where)


def _at(names: Names, found: re.Match[str]) -> str:
    if not found["at"]:
        return ""
    place = (found.start("at"), found.end("at"))
    known = names.find(found["at"], "item", "socket")
    if known is None:
        raise names.unknown(found["at"], place, "item", "item", "socket")
    return known[1]


def _pieces(text: str, start: int, end: int) -> list[tuple[str, tuple[int, int]]]:
    out: list[tuple[str, tuple[int, int]]] = []
    at = start
    cuts = [m.span() for m in _BETWEEN.finditer(text, start, end)]
    for cut, after in [*cuts, (end, end)]:
        word = text[at:cut]
        bare = re.sub(r"^\s*(?:(?:both|the|core|cores|plug|cable|cord|of)\s+)*", "", word)
        if bare.strip():
            first = cut - len(bare)
            out.append((" ".join(bare.split()), (first, first + len(bare.rstrip()))))
        at = after
    return out


def _ends(
    names: Names, word: str, place: tuple[int, int], at: str
) -> tuple[str, dict[str, tuple[str, ...]]]:
    """Return the name and, for each item it may be taken off at, the ends."""
    joins = names.cell.joins
    lift = names.find(word, "lift")
    if lift is not None:
        return lift[1], {lift[1].rpartition("@")[2]: (lift[1],)}
    found = names.find(word, "conductor", "socket", "item", "cable")
    if found is None:
        if "@" in word or ":" in word:
            near = names.near(word, "lift", "conductor")
            fix = f"did you mean `{near}`?" if near else "write core and item, as in W1:BN@S1"
            raise UnclearError("N315", f"`{word}` is no core end of this cell", place, fix)
        raise names.unknown(word, place, "core, plug or device", "conductor", "item", "cable")
    kind, name = found
    if kind in ("conductor", "cable"):
        mine = [j for j in joins if name in (j.conductor, j.cable)]
        ends = _by_item(mine)
        wanted = at.partition("-")[0]
        if wanted and wanted not in ends:
            raise UnclearError(
                "N315", f"{name} does not end at {wanted}", place, f"its ends: {', '.join(ends)}"
            )
        ends = {wanted: ends[wanted]} if wanted else ends
    else:
        ends = {name: _landed(joins, name, at)}
    if not any(ends.values()):
        where = f" at {at}" if at else ""
        raise UnclearError("N315", f"nothing is landed on {name}{where}", place, "")
    return name, ends


def _by_item(joins: Sequence[Join]) -> dict[str, tuple[str, ...]]:
    out: dict[str, tuple[str, ...]] = {}
    for join in joins:
        for item in dict.fromkeys((join.a.item, join.b.item)):
            out[item] = (*out.get(item, ()), f"{join.conductor}@{item}")
    return out


def _landed(joins: Sequence[Join], name: str, at: str) -> tuple[str, ...]:
    """Return the ends on an item or socket; with `at`, only those of what runs to there."""
    out: list[str] = []
    for join in joins:
        for near, far in ((join.a, join.b), (join.b, join.a)):
            if near.item == far.item or name not in (near.item, f"{near.item}-{near.socket}"):
                continue
            if at and at not in (far.item, f"{far.item}-{far.socket}"):
                continue
            out.append(f"{join.conductor}@{far.item if at else near.item}")
    return tuple(dict.fromkeys(out))


def choose_end(lift: Lift, names: Names, probes: Sequence[Terminal | str]) -> Lift:
    """Return the lift with its end chosen where the sentence leaves it open.

    One lifts where one measures: the end a probe is held on, else the item a probe is at; else
    the end in the field, away from controller, supply, protection and terminal blocks.

    Raises:
        UnclearError: both ends are as likely.
    """
    if not lift.open:
        return lift
    held = [p for p in probes if isinstance(p, str)]
    by_end = [c for c in lift.choices if any(p in c[1] for p in held)]
    landed = [c for c in lift.choices if any(_lands(names, c, p) for p in probes)]
    at_probe = [
        c for c in lift.choices if any(isinstance(p, Terminal) and p.item == c[0] for p in probes)
    ]
    items = names.cell.items
    field = [c for c in lift.choices if items[c[0]].part.family not in _CABINET]
    for chosen in (by_end, landed, at_probe, field):
        if len(chosen) == 1:
            return replace(lift, choices=(chosen[0],), at=chosen[0][0])
    where = " or ".join(i for i, _ in lift.choices)
    raise UnclearError(
        "N317",
        f"{lift.said} taken off at which end, {where}?",
        lift.place,
        f"say it as in `with {lift.said} {lift.verb} at {lift.choices[0][0]}`",
    )


def _lands(names: Names, choice: tuple[str, tuple[str, ...]], probe: Terminal | str) -> bool:
    """Return whether a probe is on the terminal an end of this choice lands on."""
    item, ends = choice
    return any(
        f"{j.conductor}@{item}" in ends and probe in (j.a, j.b) and probe.item == item
        for j in names.cell.joins
        if isinstance(probe, Terminal)
    )
