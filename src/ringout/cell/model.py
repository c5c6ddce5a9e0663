"""The cell as frozen data: items, cables, joins, signals and what the file says must hold."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from ringout.base import Interval, Span
from ringout.cell.part import Channel, Core, Part


@dataclass(frozen=True, slots=True, order=True)
class Terminal:
    """A place where a conductor lands: item, socket (empty for a free terminal) and pin."""

    item: str
    socket: str
    pin: str

    def __str__(self) -> str:
        return f"{self.item}-{self.socket}:{self.pin}" if self.socket else f"{self.item}:{self.pin}"


@dataclass(frozen=True, slots=True)
class Item:
    """Something with a reference designation and its part."""

    name: str
    part: Part
    note: str
    settings: Mapping[str, str]
    setting_spans: Mapping[str, Span]
    span: Span
    part_span: Span

    def terminals(self) -> list[Terminal]:
        """Return every terminal, those outside sockets first, in the order of the part."""
        free = [Terminal(self.name, "", pin) for pin in self.part.terminals]
        sockets = self.part.sockets.values()
        return free + [Terminal(self.name, s.name, pin) for s in sockets for pin in s.pins]

    def net(self, terminal: Terminal) -> str | None:
        """Return the part's net behind a terminal, or None if there is no such terminal."""
        if not terminal.socket:
            return self.part.terminals.get(terminal.pin)
        socket = self.part.sockets.get(terminal.socket)
        return None if socket is None else socket.pins.get(terminal.pin)


@dataclass(frozen=True, slots=True)
class Cable:
    """A cable or cordset with its length in metres (0 for a direct plug)."""

    name: str
    part: Part
    length_m: Interval
    span: Span
    part_span: Span
    length_span: Span

    def core(self, colour: str) -> Core | None:
        """Return the core of this colour, or None."""
        return next((c for c in self.part.cores if c.colour == colour), None)


@dataclass(frozen=True, slots=True)
class Join:
    """One conductor landed at both ends.

    Args:
        a: terminal the line names first.
        b: terminal the line names last.
        cable: name of the cable; empty for a direct plug or link.
        core: colour of the core; empty for a direct plug or link.
        span: the join line; several joins of one plugged cordset share it.
        a_span: where the first terminal is written.
        b_span: where the last terminal is written.
        core_span: where the core is written.
        plugged: landed by plugging a made-up connector, not by hand.
        length_m: length of a link that is no cable, 0 when the line states none.
        area_mm2: its copper cross-section, 0 when the line states none.
    """

    a: Terminal
    b: Terminal
    cable: str
    core: str
    span: Span
    a_span: Span
    b_span: Span
    core_span: Span
    plugged: bool = False
    length_m: float = 0.0
    area_mm2: float = 0.0

    @property
    def conductor(self) -> str:
        """Return the name a person would call this conductor by."""
        return f"{self.cable}:{self.core}" if self.cable else f"{self.a} to {self.b}"


@dataclass(frozen=True, slots=True)
class Position:
    """An actor of an item in one of its positions, as in `S1 pressed` or `K1.O1 on`."""

    actor: str
    position: str
    span: Span


@dataclass(frozen=True, slots=True)
class Condition:
    """Truth of positions: `kind` is is, not, and, or; leaves hold a `Position`."""

    kind: str
    position: Position | None = None
    parts: tuple[Condition, ...] = ()

    def holds(self, positions: Mapping[str, str]) -> bool:
        """Return whether the condition holds when actors stand as `positions` says."""
        if self.kind == "is":
            assert self.position is not None
            return positions.get(self.position.actor) == self.position.position
        if self.kind == "not":
            return not self.parts[0].holds(positions)
        if self.kind == "and":
            return all(p.holds(positions) for p in self.parts)
        return any(p.holds(positions) for p in self.parts)

    def leaves(self) -> Iterator[Position]:
        """Yield every position the condition names."""
        if self.position is not None:
            yield self.position
        for part in self.parts:
            yield from part.leaves()

    def __str__(self) -> str:
        if self.position is not None:
            return f"{self.position.actor} {self.position.position}"
        if self.kind == "not":
            return f"not {self.parts[0]}"
        return f" {self.kind} ".join(str(p) for p in self.parts)


@dataclass(frozen=True, slots=True)
class Signal:
    """A named channel with its meaning.

    Args:
        name: the name programs use.
        item: controller that holds the channel.
        channel: channel of the part.
        on: condition under which an input must be on; None for an output.
        drives: item an output must work; empty for an input.
        filter_s: input filter set for this signal, if the line gives one.
        seen_by: shortest pulse in seconds this signal must not miss, if the line gives one.
        span: the signal line.
        channel_span: where the channel is written.
        on_span: where the condition is written.
    """

    name: str
    item: str
    channel: Channel
    on: Condition | None
    drives: str
    filter_s: Interval | None
    shortest_s: Interval | None
    span: Span
    channel_span: Span
    on_span: Span
    filter_span: Span | None = None

    @property
    def channel_name(self) -> str:
        """Return item and channel, as in `K1.I4`."""
        return f"{self.item}.{self.channel.name}"

    @property
    def devices(self) -> tuple[str, ...]:
        """Return the items it is about: those of its condition, or the one it drives."""
        if self.on is not None:
            names = (leaf.actor.partition(".")[0] for leaf in self.on.leaves())
            return tuple(dict.fromkeys(names))
        return (self.drives.partition(".")[0],) if self.drives else ()


@dataclass(frozen=True, slots=True)
class Expect:
    """Something the file says must hold: a voltage, a current or a signal's state."""

    kind: str
    a: Terminal | None
    b: Terminal | None
    conductor: str
    signal: str
    wanted_on: bool
    low: float
    high: float
    while_: Condition | None
    text: str
    span: Span


@dataclass(frozen=True, slots=True)
class Accept:
    """A finding the user knows and takes, with the reason."""

    code: str
    place: str
    reason: str
    span: Span


@dataclass(frozen=True, slots=True)
class Actor:
    """Something that changes state: its positions, rest first, and who moves it.

    `moved_by` is `person` (buttons, targets), `command` (outputs), `supply`, `coil`.
    """

    name: str
    item: str
    key: str
    positions: tuple[str, ...]
    moved_by: str


@dataclass(frozen=True, slots=True)
class Access:
    """How a controller lets a client in over OPC UA; no secret is ever part of it.

    Args:
        security: `none`, `sign` or `encrypt`.
        user: user name; empty: nobody.
        certificate: file of the client's certificate.
        key: file of its private key.
        trust: file of the certificate the controller must show, or of its issuer.
    """

    security: str = "none"
    user: str = ""
    certificate: str = ""
    key: str = ""
    trust: str = ""


@dataclass(frozen=True, slots=True)
class Link:
    """How a controller's channels are read and commanded while the machine runs.

    Args:
        item: the controller.
        protocol: `modbus` or `opcua`.
        target: host and port, or URL.
        unit: Modbus unit.
        table: Modbus: `discrete`, `coils`, `input-registers`, `holding-registers`.
        places: channel to address (Modbus) or node (OPC UA), inputs and outputs.
        span: the line.
        access: OPC UA: how to get in.
    """

    item: str
    protocol: str
    target: str
    unit: int
    table: str
    places: Mapping[str, int | str]
    span: Span
    access: Access = Access()


@dataclass(frozen=True, slots=True)
class Cell:
    """Everything the file says, resolved: names are keys, every reference is known to exist.

    `doubtful` are the items, sockets (`K1-X1`, `K1:` for its clamps) and terminals that a join
    line names which could not be used: what is missing there may be missing for that alone.
    """

    name: str
    revision: str
    ambient_c: Interval
    items: Mapping[str, Item]
    cables: Mapping[str, Cable]
    joins: tuple[Join, ...]
    signals: Mapping[str, Signal]
    expects: tuple[Expect, ...]
    accepts: tuple[Accept, ...]
    actors: Mapping[str, Actor]
    house: Mapping[str, str]
    files: tuple[tuple[str, str], ...]
    span: Span
    join_at: Mapping[Terminal, tuple[Join, ...]] = field(default_factory=dict)
    folder: str = ""
    links: Mapping[str, Link] = field(default_factory=dict)
    doubtful: frozenset[str] = frozenset()

    def is_doubtful(self, terminal: Terminal) -> bool:
        """Return whether a join line that names this place could not be used."""
        place = f"{terminal.item}-{terminal.socket}" if terminal.socket else f"{terminal.item}:"
        return bool({terminal.item, place, str(terminal)} & self.doubtful)

    def actor_of_output(self, signal: Signal) -> str:
        """Return the actor that switches an output: its channel, or else all of its item."""
        name = signal.channel_name
        return name if name in self.actors else signal.item

    def signal_of_channel(self) -> dict[tuple[str, str], Signal]:
        """Return the signal that each (item, channel) carries."""
        return {(s.item, s.channel.name): s for s in self.signals.values()}
