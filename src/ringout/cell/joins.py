"""Join lines to conductors: cores landed by hand, cordsets plugged, direct plugs and links."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from ringout.base import Diagnostic, Related, Span
from ringout.base.collect import Collector
from ringout.cell.model import Cable, Item, Join, Terminal
from ringout.cell.part import Part, Socket
from ringout.cell.places import Places, split_word

# Items with so many conductors that one lost line says little of the others.
HUBS = frozenset({"controller", "supply", "protection", "terminal", "connector"})
_OPPOSITE = {"male": "female", "female": "male"}


@dataclass(frozen=True, slots=True)
class JoinWords:
    """A join line: two places and, between them, a core or cable; each with its span."""

    a: str
    a_span: Span
    over: str
    over_span: Span
    b: str
    b_span: Span
    span: Span
    length_m: float = 0.0
    area_mm2: float = 0.0


@dataclass
class JoinBuilder(Collector):
    """Turns join lines into joins and checks what a pin can hold.

    Args:
        places: name finder.
        joins: the result, in file order.
        problems: what is wrong.
        doubtful: items, sockets and terminals in lines that could not be used.
        named: channel to the signal the file names on it, as in `K1.I4`.
    """

    places: Places
    named: Mapping[str, str] = field(default_factory=dict)
    joins: list[Join] = field(default_factory=list)
    problems: list[Diagnostic] = field(default_factory=list)
    doubtful: set[str] = field(default_factory=set)
    _held: dict[Terminal, list[tuple[str, Span]]] = field(default_factory=dict)
    _plugged: dict[tuple[str, str], tuple[str, Span]] = field(default_factory=dict)
    _core_used: dict[str, Span] = field(default_factory=dict)
    _full: list[tuple[int, Terminal]] = field(default_factory=list)

    def add(self, words: JoinWords) -> None:
        """Add one join line; a bad one costs only itself."""
        before = len(self.joins)
        self._add(words)
        if len(self.joins) == before:
            self.doubtful |= {self._doubt(word) for word in (words.a, words.b)} - {""}

    def _doubt(self, word: str) -> str:
        """Return what an unused line leaves in doubt: an item, or a place on one of many places."""
        name, socket, pin = split_word(word)
        item = self.places.items.get(name)
        if item is None:
            return ""
        if item.part.family not in HUBS:
            return name
        if item.net(Terminal(name, socket, pin)) is not None:
            return word
        return f"{name}-{socket}" if socket else f"{name}:"

    def _add(self, words: JoinWords) -> None:
        if words.over:
            found = self.places.core(words.over, words.over_span)
            if found is None:
                self._look_at(words)
                return
            cable, core = found
            if core is None:
                self._plug_cable(words, cable)
            else:
                self._land(words, cable.name, core.colour)
            return
        if ":" in words.a or ":" in words.b:
            self._land(words, "", "")
        else:
            self._plug_direct(words)

    def finish(self) -> None:
        """Say where cores go that found their pin taken; what is free is known only now."""
        for number, terminal in self._full:
            fix = self._free_place(self.places.items[terminal.item], terminal)
            self.problems[number] = replace(self.problems[number], fix=fix)

    def _look_at(self, words: JoinWords) -> None:
        """Report wrong ends too when the cable itself is unknown."""
        for word, span in ((words.a, words.a_span), (words.b, words.b_span)):
            if ":" in word:
                self.places.terminal(word, span)
            else:
                self.places.socket(word, span)

    # -- by hand -------------------------------------------------------------------------

    def _land(self, words: JoinWords, cable: str, colour: str) -> None:
        a = self.places.terminal(words.a, words.a_span)
        b = self.places.terminal(words.b, words.b_span)
        if a is None or b is None:
            return
        conductor = f"{cable}:{colour}" if cable else f"{a} to {b}"
        if a == b:
            self._error(
                "W103",
                f"{conductor} begins and ends on {a}",
                words.span,
                "name the terminal its other end lands on",
            )
            return
        if cable:
            first = self._core_used.get(conductor)
            if first is not None:
                self._error(
                    "W101",
                    f"core {conductor} is joined twice",
                    words.over_span,
                    "a core has two ends: one line joins them; use a spare core or another cable",
                    (Related("first", f"core {conductor}", first),),
                )
                return
            self._core_used[conductor] = words.over_span
        for terminal, span in ((a, words.a_span), (b, words.b_span)):
            if not self._hold(terminal, conductor, span, words.over_span):
                return
        self.joins.append(
            Join(
                a,
                b,
                cable,
                colour,
                words.span,
                words.a_span,
                words.b_span,
                words.over_span,
                length_m=words.length_m,
                area_mm2=words.area_mm2,
            )
        )

    def _hold(self, terminal: Terminal, conductor: str, span: Span, line: Span) -> bool:
        item = self.places.items[terminal.item]
        plug = self._plugged.get((terminal.item, terminal.socket)) if terminal.socket else None
        if plug is not None:
            self._error(
                "W105",
                f"socket {terminal.item}-{terminal.socket} already holds the plug of {plug[0]}",
                span,
                "use another socket, or a splitter",
                (Related("first", f"plug of {plug[0]}", plug[1]),),
            )
            return False
        most = holds(item.part, terminal)
        before = self._held.setdefault(terminal, [])
        if len(before) >= most:
            self._full.append((len(self.problems), terminal))
            what = "already holds" if most == 1 else f"holds {most} conductors at most, already"
            self._error(
                "W107",
                f"terminal {terminal} {what} {', '.join(n for n, _ in before)}",
                span,
                None,
                tuple(Related("first", f"core {name}", at) for name, at in before[:1]),
            )
            return False
        before.append((conductor, line))
        return True

    def _free_place(self, item: Item, terminal: Terminal) -> str:
        net = item.net(terminal)
        same = [
            Terminal(item.name, s.name, p)
            for s in item.part.sockets.values()
            for p, n in s.pins.items()
            if n == net
        ] + [Terminal(item.name, "", p) for p, n in item.part.terminals.items() if n == net]
        free = [t for t in same if self._is_free(t)]
        if free:
            return f"land it on {free[0]}, which is the same point and free"
        mine = item.part.channels_at(net)
        if len(mine) != 1:
            return "use a terminal block to join conductors"
        choices: list[tuple[bool, bool, bool, int, str]] = []
        for channel in item.part.channels.values():
            signal = self.named.get(f"{item.name}.{channel.name}", "")
            for place in item.terminals():
                other = item.net(place)
                if other == net or item.part.channels_at(other) != [channel]:
                    continue
                if self._is_free(place):
                    words = f"land it on {place} (free, channel {item.name}.{channel.name}"
                    words += f", {signal})" if signal else ")"
                    # like the taken one, waited for by a signal, and near by
                    unlike = (channel.kind != mine[0].kind, not signal)
                    far = place.socket != terminal.socket
                    choices.append((*unlike, far, len(choices), words))
        return min(choices)[-1] if choices else "use a terminal block to join conductors"

    def _is_free(self, place: Terminal) -> bool:
        return not self._held.get(place) and (place.item, place.socket) not in self._plugged

    # -- plugs ---------------------------------------------------------------------------

    def _plug_cable(self, words: JoinWords, cable: Cable) -> None:
        part = cable.part
        if part.ends is None:
            self._error(
                "W106",
                f"{cable.name} ({part.name}) has no plugs: name its cores one by one",
                words.over_span,
                f"as in `{words.a}:1  {cable.name}:{part.cores[0].colour}  ...`"
                if part.cores
                else "name its cores",
            )
            return
        a = self.places.socket(words.a, words.a_span)
        b = self.places.socket(words.b, words.b_span)
        if a is None or b is None:
            return
        ways = ((0, 1), (1, 0))
        for near, far in ways:
            if mates(part.ends[near], a[1]) and mates(part.ends[far], b[1]):
                break
        else:
            self._error(
                "W102",
                f"{cable.name} does not fit: it has {_end(part.ends[0])} and "
                f"{_end(part.ends[1])}, {words.a} is {_socket(a[1])}, {words.b} is {_socket(b[1])}",
                words.over_span,
                "use a cordset with the opposite connectors",
            )
            return
        if not (
            self._take(a, cable.name, words.a_span) and self._take(b, cable.name, words.b_span)
        ):
            return
        for core in part.cores:
            pins = (core.from_pin, core.to_pin)
            pin_a, pin_b = pins[near], pins[far]
            if pin_a in a[1].pins and pin_b in b[1].pins:
                self.joins.append(
                    Join(
                        Terminal(a[0].name, a[1].name, pin_a),
                        Terminal(b[0].name, b[1].name, pin_b),
                        cable.name,
                        core.colour,
                        words.span,
                        words.a_span,
                        words.b_span,
                        words.over_span,
                        plugged=True,
                    )
                )

    def _plug_direct(self, words: JoinWords) -> None:
        a = self.places.socket(words.a, words.a_span)
        b = self.places.socket(words.b, words.b_span)
        if a is None or b is None:
            return
        if not mates((a[1].connector, a[1].gender), b[1]):
            self._error(
                "W102",
                f"{words.a} ({_socket(a[1])}) does not plug into {words.b} ({_socket(b[1])})",
                words.span,
                "put a cordset between them",
            )
            return
        if not (self._take(a, words.a, words.a_span) and self._take(b, words.b, words.b_span)):
            return
        for pin in a[1].pins:
            if pin in b[1].pins:
                self.joins.append(
                    Join(
                        Terminal(a[0].name, a[1].name, pin),
                        Terminal(b[0].name, b[1].name, pin),
                        "",
                        "",
                        words.span,
                        words.a_span,
                        words.b_span,
                        words.span,
                        plugged=True,
                    )
                )

    def _take(self, where: tuple[Item, Socket], name: str, span: Span) -> bool:
        item, socket = where
        key = (item.name, socket.name)
        first = self._plugged.get(key)
        by_hand = [
            (t, held[0]) for t, held in self._held.items() if (t.item, t.socket) == key and held
        ]
        if first is None and by_hand:
            first = by_hand[0][1]
        if first is not None:
            self._error(
                "W105",
                f"socket {item.name}-{socket.name} is already taken by {first[0]}",
                span,
                "use another socket, or a splitter",
                (Related("first", first[0], first[1]),),
            )
            return False
        self._plugged[key] = (name, span)
        return True


def holds(part: Part, terminal: Terminal) -> int:
    """Return how many conductors a terminal takes: a clamp two, a pin one (common practice)."""
    told = part.facts.get("holds", "")
    if told.isdigit():
        return int(told)
    return 1 if terminal.socket and not part.sockets[terminal.socket].clamps else 2


def mates(end: tuple[str, str], socket: Socket) -> bool:
    """Return whether a connector end fits a socket: same type, opposite gender."""
    connector, gender = end
    if _OPPOSITE.get(gender) != socket.gender:
        return False
    return _type(connector) == _type(socket.connector)


def _type(connector: str) -> str:
    """Return size and coding: an M12-A plug of 4 pins fits a socket of 5."""
    return connector.rsplit("-", 1)[0]


def _end(end: tuple[str, str]) -> str:
    return f"{end[0]} {end[1]}"


def _socket(socket: Socket) -> str:
    return f"{socket.connector} {socket.gender}"
