"""Words like `K1-X1:4`, `S1:13`, `W1:BN` and `B1` found in a cell, or the reason they are not."""

from __future__ import annotations

from collections.abc import Mapping

from ringout.base import Diagnostic, Span
from ringout.base.collect import Collector
from ringout.base.suggest import did_you_mean
from ringout.cell.model import Cable, Item, Terminal
from ringout.cell.part import Core, Socket

MOST_LISTED = 12


def split_word(word: str) -> tuple[str, str, str]:
    """Return item, socket and pin of a word; what is not there is empty."""
    head, _, pin = word.partition(":")
    item, _, socket = head.partition("-")
    return item, socket, pin


def _near(word: str, choices: list[str], otherwise: str) -> str:
    near = did_you_mean(word, choices)
    return f"did you mean `{near}`?" if near else otherwise


class Places(Collector):
    """Finds items, sockets, terminals and cores by name, collecting diagnostics.

    Names in `failed` have a line that could not be used; what follows from that is not told again.
    """

    def __init__(self, items: Mapping[str, Item], cables: Mapping[str, Cable]) -> None:
        self.items = items
        self.cables = cables
        self.failed: frozenset[str] = frozenset()
        self.problems: list[Diagnostic] = []

    def item(self, name: str, span: Span) -> Item | None:
        """Return an item, or None with a diagnostic."""
        found = self.items.get(name)
        if found is None and name not in self.failed:
            fix = _near(name, list(self.items), "give it a line under `items:`")
            self._error("N302", f"there is no item {name}", span, fix)
        return found

    def terminal(self, word: str, span: Span) -> Terminal | None:
        """Return the terminal a word names, or None with a diagnostic."""
        name, socket, pin = split_word(word)
        item = self.item(name, span)
        if item is None:
            return None
        part = item.part
        if not pin:
            self._error(
                "N303",
                f"`{word}` names no terminal",
                span,
                f"write the terminal after a colon; {name} has {self._choices(item)}",
            )
            return None
        if socket:
            found = part.sockets.get(socket)
            if found is None:
                every = [f"{name}-{s}" for s in part.sockets]
                fix = _near(f"{name}-{socket}", every, f"{name} has {self._choices(item)}")
                self._error("N303", f"{name} has no socket {socket}", span, fix)
                return None
            if pin not in found.pins:
                self._error(
                    "N303",
                    f"socket {name}-{socket} has no pin {pin}",
                    span,
                    f"its pins are {', '.join(found.pins)}",
                )
                return None
            return Terminal(name, socket, pin)
        if pin not in part.terminals and not part.terminals and len(part.sockets) == 1:
            only = next(iter(part.sockets.values()))
            if pin in only.pins:
                return Terminal(name, only.name, pin)
        if pin not in part.terminals:
            every = [f"{name}:{t}" for t in part.terminals]
            every += [f"{name}-{s.name}:{p}" for s in part.sockets.values() for p in s.pins]
            choices = f"{name} has {self._choices(item)}"
            # of a few, all; of many, the nearest
            fix = choices if len(every) <= MOST_LISTED else _near(word, every, choices)
            self._error("N303", f"{name} has no terminal {pin}", span, fix)
            return None
        return Terminal(name, "", pin)

    def socket(self, word: str, span: Span) -> tuple[Item, Socket] | None:
        """Return the socket a word names; an item with one socket may stand for it."""
        name, socket, _ = split_word(word)
        item = self.item(name, span)
        if item is None:
            return None
        sockets = item.part.sockets
        if socket:
            found = sockets.get(socket)
            if found is None:
                every = [f"{name}-{s}" for s in sockets]
                fix = _near(word, every, f"{name} has {self._choices(item)}")
                self._error("N303", f"{name} has no socket {socket}", span, fix)
                return None
            return item, found
        if len(sockets) == 1:
            return item, next(iter(sockets.values()))
        shown = ", ".join(f"{name}-{s}" for s in sockets)
        fix = f"say which one: {shown}" if sockets else f"{name} has {self._choices(item)}"
        self._error("N303", f"`{word}` names no single socket of {name}", span, fix)
        return None

    def core(self, word: str, span: Span) -> tuple[Cable, Core | None] | None:
        """Return the cable and, where the word names one, the core."""
        name, _, colour = word.partition(":")
        cable = self.cables.get(name)
        if cable is None:
            if name in self.failed:
                return None
            fix = _near(name, list(self.cables), "give it a line under `cables:`")
            self._error("N304", f"there is no cable {name}", span, fix)
            return None
        if not colour:
            return cable, None
        core = cable.core(colour)
        if core is None:
            every = [c.colour for c in cable.part.cores]
            fix = _near(colour, every, f"its cores are {', '.join(every)}")
            self._error("N305", f"cable {name} ({cable.part.name}) has no core {colour}", span, fix)
            return None
        return cable, core

    @staticmethod
    def _choices(item: Item) -> str:
        part = item.part
        words = [f"{item.name}:{t}" for t in part.terminals]
        words += [
            f"{item.name}-{s}" for s in part.sockets if part.terminals or len(part.sockets) > 1
        ]
        if not part.terminals and len(part.sockets) == 1:
            words += [f"{item.name}:{p}" for s in part.sockets.values() for p in s.pins]
        shown = ", ".join(words[:MOST_LISTED]) + (" ..." if len(words) > MOST_LISTED else "")
        return shown or "no terminals"
