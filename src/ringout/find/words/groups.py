"""Several things at once: `all inputs of K1`, `all sensors on K1-X3`, `everything on K2`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ringout.cell.model import Signal
from ringout.find.words import vocabulary as say
from ringout.find.words.names import Names
from ringout.find.words.sentence import Token, UnclearError, word_set

_HEAD = frozenset({"all", "every", "everything", "each"})
_JOINTS = word_set("of on at in behind the to from , and both its")
_LAMPS = word_set("lamp lamps led leds light lights indicators")
_INPUTS = word_set("input inputs signal signals channel channels")
_SENSORS = word_set("sensor sensors switch switches")
_COILS = {
    "valve": ("load", "valve"), "valves": ("load", "valve"),
    "relay": ("relay", ""), "relays": ("relay", ""), "coil": ("", ""), "coils": ("", ""),
}  # fmt: skip
_DRIVEN = word_set("output outputs load loads")


@dataclass(frozen=True, slots=True)
class Thing:
    """One thing that is looked at.

    Args:
        kind: kind of the look: `level`, `shows` or `lamp`.
        what: signal, load or item.
        group: what may be said of it: a key of `vocabulary.OWN`.
    """

    kind: str
    what: str
    group: str

    @property
    def words(self) -> str:
        """Return it as the tool itself calls it."""
        return {"level": f"signal {self.what}", "lamp": f"lamp of {self.what}"}.get(
            self.kind, self.what
        )


def expand_group(subject: list[Token], names: Names, *, lit: bool) -> list[Thing] | None:
    """Return every thing a group of words means; None when it is no group.

    Args:
        subject: the words before what is said of them.
        names: names of the cell.
        lit: what is said can be said of lamps only.

    Raises:
        UnclearError: the group, or where it is, is not known, or it is empty.
    """
    words = [t for t in subject if t.text != ","]
    if not words or words[0].small not in _HEAD:
        return None
    place = (subject[0].start, subject[-1].end)
    every: dict[str, None] = {}
    kinds: set[str] = set()
    for token in words[1:]:
        if token.small in _JOINTS:
            continue
        if token.small in _INPUTS | _SENSORS | _LAMPS | _DRIVEN | set(_COILS):
            kinds.add(token.small)
            continue
        found = names.find(token.text, "item", "socket")
        if found is None:
            raise names.unknown(
                token.text, (token.start, token.end), "device or socket", "item", "socket"
            )
        every[found[1]] = None
    if words[0].small == "everything" and not every:
        raise UnclearError(
            "N317", "everything of what?", place, "name a device, as in `everything on K1 dead`"
        )
    things = _chosen(kinds, list(every), names, lit=lit)
    if not things:
        shown = " ".join(t.text for t in words)
        raise UnclearError("N316", f"there is nothing like `{shown}` here", place, names.example())
    return list(dict.fromkeys(things))


def _chosen(kinds: set[str], where: list[str], names: Names, *, lit: bool) -> list[Thing]:
    if kinds & _LAMPS or (lit and kinds & _SENSORS):
        return _lamps(where, names, sensors=bool(kinds & _SENSORS))
    out: list[Thing] = []
    if kinds & (_INPUTS | _SENSORS) or not kinds:
        signals = [s for s in names.cell.signals.values() if s.on is not None]
        if kinds & _SENSORS:
            family = "switch" if kinds & {"switch", "switches"} else "sensor"
            signals = [s for s in signals if _reads(s, names, family)]
        out += [Thing("level", s.name, say.LEVEL) for s in signals if _at(where, s, names)]
    for (item, _), name in names.loads.items():
        driven = any(s.drives == name for s in names.cell.signals.values() if s.on is None)
        coil = names.load_kind[name] == "coil"
        wanted = coil and any(_is(item, names, *_COILS[k]) for k in kinds & set(_COILS))
        wanted = wanted or (driven and (not kinds or bool(kinds & _DRIVEN)))
        if wanted and _load_at(where, item, name, names):
            out.append(load_thing(name, item, names))
    return out


def load_thing(name: str, item: str, names: Names) -> Thing:
    """Return a load as a thing to look at; the only lamp of an item is its lamp."""
    if names.load_kind[name] != "lamp":
        return Thing("shows", name, say.LOAD)
    if len(names.lamps_of(item)) == 1 and name == item:
        return Thing("lamp", item, say.LAMP)
    return Thing("shows", name, say.LAMP)


def _is(item: str, names: Names, family: str, begins: str) -> bool:
    part = names.cell.items[item].part
    return (not family or part.family == family) and part.name.startswith(begins)


def _reads(signal: Signal, names: Names, family: str) -> bool:
    assert signal.on is not None
    items = {names.cell.actors[p.actor].item for p in signal.on.leaves()}
    return any(names.cell.items[i].part.family == family for i in items)


def _lamps(where: list[str], names: Names, *, sensors: bool) -> list[Thing]:
    out: list[Thing] = []
    for item in names.cell.items.values():
        own = names.lamps_of(item.name)
        if sensors and item.part.family != "sensor":
            continue
        here = not where or item.name in where or _joined(where, item.name, names)
        if here and len(own) > 1:
            out += [load_thing(names.loads[item.name, n], item.name, names) for n in own]
        elif here and names.has_lamp(item.name):
            out.append(Thing("lamp", item.name, say.LAMP))
    return out


def _at(where: list[str], signal: Signal, names: Names) -> bool:
    """Return whether an input belongs to one of some controllers, sockets or devices."""
    if not where:
        return True
    assert signal.on is not None
    read = {names.cell.actors[p.actor].item for p in signal.on.leaves()}
    return any(
        w == signal.item
        or (w.startswith(f"{signal.item}-") and _on_socket(w, signal, names))
        or w in read
        or (not _is_controller(w, names) and any(_joined([w], r, names) for r in read))
        for w in where
    )


def _is_controller(word: str, names: Names) -> bool:
    return names.cell.items[word.partition("-")[0]].part.family == "controller"


def _on_socket(word: str, signal: Signal, names: Names) -> bool:
    """Return whether a socket has the pin that belongs to this channel alone."""
    part = names.cell.items[signal.item].part
    element = part.element_by_name[signal.channel.element]
    nets = set(part.sockets[word.partition("-")[2]].pins.values())
    others = [
        part.element_by_name[c.element] for c in part.channels.values() if c != signal.channel
    ]
    shared = {n for e in others for n in (e.tail, e.head)}
    return any(n in nets and n not in shared for n in (element.tail, element.head))


def _load_at(where: list[str], item: str, name: str, names: Names) -> bool:
    driven = [s for s in names.cell.signals.values() if s.on is None and s.drives == name]
    return not where or any(
        w == item
        or any(s.item == w for s in driven)
        or (not any(s.item == w for s in driven) and _joined([w], item, names))
        for w in where
    )


def _joined(where: list[str], item: str, names: Names) -> bool:
    """Return whether a conductor runs from an item to one of some items or sockets."""
    here: Callable[[str, str], bool] = lambda i, s: i in where or f"{i}-{s}" in where  # noqa: E731
    return any(
        here(near.item, near.socket) and far.item == item
        for j in names.cell.joins
        for near, far in ((j.a, j.b), (j.b, j.a))
    )
