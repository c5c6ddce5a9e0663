"""The names of a cell as people say them: any case, nearest names, loads, lamps, poles."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ringout.base import Span
from ringout.base.span import ASKED
from ringout.base.suggest import did_you_mean
from ringout.cell.ask import lift_names
from ringout.cell.model import Actor, Cell, Signal, Terminal
from ringout.cell.places import Places, split_word
from ringout.cell.poles import find_pole
from ringout.find.words.sentence import UnclearError

KINDS = (
    "item", "cable", "core", "socket", "terminal", "signal", "channel", "load", "actor",
)  # fmt: skip


class Names:
    """Finds what a word names in a cell, whatever its case.

    Args:
        cell: the cell that is spoken about.
    """

    def __init__(self, cell: Cell) -> None:
        self.cell = cell
        self.terminals = _terminals(cell)
        self.lifts = tuple(dict.fromkeys(lift_names(cell)))
        self.conductors = tuple(dict.fromkeys(j.conductor for j in cell.joins))
        self.loads = _loads(cell)
        self.load_kind = {
            name: cell.items[item].part.element_by_name[element].kind
            for (item, element), name in self.loads.items()
        }
        self.signal_of = {s.channel_name: s for s in cell.signals.values()}
        self.channels = [f"{i.name}.{c}" for i in cell.items.values() for c in i.part.channels]
        self._folded = {kind: _folded(names) for kind, names in self._all().items()}
        for (item, element), name in self.loads.items():
            self._folded["load"].setdefault(f"{item}.{element}".casefold(), name)

    def _all(self) -> Mapping[str, Iterable[str]]:
        cell = self.cell
        return {
            "item": cell.items,
            "cable": cell.cables,
            "core": [f"{c.name}:{k.colour}" for c in cell.cables.values() for k in c.part.cores],
            "socket": [f"{i.name}-{s}" for i in cell.items.values() for s in i.part.sockets],
            "terminal": self.terminals,
            "signal": cell.signals,
            "channel": self.channels,
            "load": self.load_kind,
            "actor": cell.actors,
            "lift": self.lifts,
            "conductor": self.conductors,
        }

    def find(self, word: str, *kinds: str) -> tuple[str, str] | None:
        """Return kind and name of what a word names, looking through kinds in order."""
        for kind in kinds:
            folded = self._folded[kind]
            name = folded.get(word) or folded.get(word.casefold())
            if name:
                return kind, name
        return None

    def near(self, word: str, *kinds: str) -> str | None:
        """Return the known name nearest to a word, or None."""
        every = [name for kind in kinds or KINDS for name in self._all()[kind]]
        return did_you_mean(word, every)

    def unknown(
        self, word: str, place: tuple[int, int], what: str = "name", *kinds: str
    ) -> UnclearError:
        """Return the problem of a word that names nothing here."""
        near = self.near(word, *kinds)
        fix = f"did you mean `{near}`?" if near else self.example()
        return UnclearError("N316", f"`{word}` is no {what} of this cell", place, fix)

    def example(self) -> str:
        """Return how to say something about this very cell."""
        signal = next((s for s in self.cell.signals.values() if s.on is not None), None)
        if signal is not None:
            return f"say it as in `{signal.name} off while {signal.on}`"
        return "say it as in `A to B = 0.4 V`, with two terminals for A and B"

    # -- terminals --------------------------------------------------------------------------

    def terminal(self, word: str, place: tuple[int, int]) -> Terminal:
        """Return the terminal a word names; an item with one socket may stand for it.

        Raises:
            UnclearError: there is none.
        """
        found = self.find(word, "terminal")
        if found is not None:
            return self.terminals[found[1]]
        places = Places(self.cell.items, self.cell.cables)
        places.terminal(word, Span(ASKED, 1, 1))
        problem = places.problems[0]
        near = self.near(word, "terminal") if problem.code == "N302" else None
        fix = f"did you mean `{near}`?" if near else problem.fix or ""
        if problem.code == "N302" and near is None:
            fix = f"the items are {', '.join(list(self.cell.items)[:12])} ..."
        raise UnclearError(problem.code, problem.message, place, fix)

    def pole(self, word: str, place: tuple[int, int]) -> Terminal:
        """Return the supply terminal that `0 V`, `24 V`, `PE` or `ground` stands for.

        Raises:
            UnclearError: there is not exactly one supply, or it has no such terminal.
        """
        found, message, fix = find_pole(self.cell, word)
        if found is None:
            raise UnclearError("N317", message, place, fix)
        return found

    # -- loads and lamps --------------------------------------------------------------------

    def lamps_of(self, item: str) -> list[str]:
        """Return the names of the lamp elements of an item."""
        return [e.name for e in self.cell.items[item].part.elements if e.kind == "lamp"]

    def has_lamp(self, item: str) -> bool:
        """Return whether a device has a lamp: one of its own, or that of a sensor's output."""
        part = self.cell.items[item].part
        if self.lamps_of(item):
            return True
        moved = {a.key for a in self.cell.actors.values() if a.item == item and _by_person(a)}
        return part.family == "sensor" and any(e.when and e.actor in moved for e in part.elements)

    def loads_of(self, item: str) -> list[str]:
        """Return the names of the loads of an item."""
        return [name for (own, _), name in self.loads.items() if own == item]

    def signals_of_item(self, item: str) -> list[Signal]:
        """Return the input signals whose meaning names an item."""
        return [
            s
            for s in self.cell.signals.values()
            if s.on is not None
            and any(self.cell.actors[p.actor].item == item for p in s.on.leaves())
        ]

    def max_volts(self) -> float:
        """Return more volts than all supplies together can give; 0 without a supply."""
        every = [
            e.values["volts"].high
            for i in self.cell.items.values()
            for e in i.part.elements
            if e.kind == "source" and "volts" in e.values
        ]
        return sum(every)


def _by_person(actor: Actor) -> bool:
    return actor.moved_by == "person"


def _folded(names: Iterable[str]) -> dict[str, str]:
    """Return every name by itself and, where only one has it, by its small letters."""
    out: dict[str, str] = {}
    shared: set[str] = set()
    exact = list(names)
    for name in exact:
        small = name.casefold()
        if small in out and out[small] != name:
            shared.add(small)
        out.setdefault(small, name)
    for small in shared:
        del out[small]
    out.update({name: name for name in exact})
    return out


def _terminals(cell: Cell) -> dict[str, Terminal]:
    out: dict[str, Terminal] = {}
    for item in cell.items.values():
        own = item.terminals()
        out.update({str(t): t for t in own})
        if len(item.part.sockets) == 1 and not item.part.terminals:
            out.update({f"{item.name}:{t.pin}": t for t in own})
    return out


def _loads(cell: Cell) -> dict[tuple[str, str], str]:
    """Return (item, element) to the name of every driven load, coil and lamp."""
    out: dict[tuple[str, str], str] = {}
    for signal in cell.signals.values():
        if signal.on is None:
            item, _, element = signal.drives.partition(".")
            part = cell.items[item].part
            out.setdefault((item, element or part.main), signal.drives)
    for item in cell.items:
        own = [e.name for e in cell.items[item].part.elements if e.kind in ("coil", "lamp")]
        for element in own:
            out.setdefault((item, element), f"{item}.{element}" if len(own) > 1 else item)
    return {k: v for k, v in out.items() if k[1] in cell.items[k[0]].part.element_by_name}


def item_of(word: str) -> str:
    """Return the item part of a word such as `K1-X3:4`."""
    return split_word(word)[0]
