"""One signal's circuit as plain data: what takes part, and what flows in one state."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.cell.model import Terminal


@dataclass(frozen=True, slots=True)
class PathNet:
    """One net of an item.

    Args:
        item: item it belongs to.
        net: its name inside the part.
        volts: against the reference; None when not solved.
        rank: steps of parts from the + of a supply; `RETURN` for what is joined to its 0 V.
        earth: it is protective earth.
        free: terminals of it, where nothing is landed on any of them.
    """

    item: str
    net: str
    volts: float | None
    rank: float
    earth: bool = False
    free: str = ""


RETURN = 1000.0
EARTH_RANK = 1001.0


@dataclass(frozen=True, slots=True)
class PathPin:
    """A terminal where a conductor lands; no gender for a clamp; `text` replaces its label."""

    terminal: Terminal
    net: str
    connector: str
    gender: str
    text: str = ""

    @property
    def label(self) -> str:
        """Return what is written at it: socket and pin, or the terminal alone."""
        if self.text:
            return self.text
        socket = self.terminal.socket
        return f"{socket}:{self.terminal.pin}" if socket else self.terminal.pin


@dataclass(frozen=True, slots=True)
class PathElement:
    """One two-terminal inside an item.

    Args:
        name: as in `K1.in1`.
        item: item it belongs to.
        symbol: which sign it is drawn with.
        tail: net positive current enters.
        head: net it leaves.
        amps: current from tail to head; None when not solved.
        words: lines beside the sign.
        live: it carries current.
        main: it is the channel of the signal, or the load an output works.
        action: how a contact is moved: `push`, `turn`, `cam`, `near`, `coil` or empty.
    """

    name: str
    item: str
    symbol: str
    tail: str
    head: str
    amps: float | None
    words: tuple[str, ...]
    live: bool
    main: bool = False
    action: str = ""


@dataclass(frozen=True, slots=True)
class PathConductor:
    """One conductor: core of a cable, link or plugged contact.

    Args:
        name: `W1:BN`, or what it is.
        kind: `core`, `plug`, `link`, or `fault`.
        cable: its cable; empty for links and plugs.
        colour: colour code of the core.
        a: one end.
        b: the other end.
        amps: current from a to b; None when not solved.
        live: it carries current.
        text: what is written below it instead of its current.
    """

    name: str
    kind: str
    cable: str
    colour: str
    a: PathPin
    b: PathPin
    amps: float | None
    live: bool
    text: str = ""


@dataclass(frozen=True, slots=True)
class PathItem:
    """An item that takes part.

    Args:
        name: reference designation.
        note: the user's words.
        title: what the part is.
        part: name of the part.
        family: family of the part.
        settings: as set, in words.
        sockets: used sockets with connector and gender, in words.
        state: where its actors stand, in words.
        nets: its nets that take part.
    """

    name: str
    note: str
    title: str
    part: str
    family: str
    settings: str
    sockets: str
    state: str
    nets: tuple[PathNet, ...]


@dataclass(frozen=True, slots=True)
class PathCable:
    """A cable that takes part, in words."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class CircuitView:
    """The circuit of one signal in one state.

    Args:
        cell: name of the cell.
        revision: its revision.
        signal: name of the signal.
        channel: controller and channel.
        meaning: when it must be on, or what it works.
        state: the state drawn, in words.
        reference: terminal all volts are told against.
        items: what takes part, in the order of the file.
        elements: what is inside them.
        conductors: what joins them.
        cables: cables of these conductors.
        result: what the channel gets, in words.
        cautions: what must be known about this state.
        fault: the fault put in, in words; empty for none.
    """

    cell: str
    revision: str
    signal: str
    channel: str
    meaning: str
    state: str
    reference: str
    items: tuple[PathItem, ...]
    elements: tuple[PathElement, ...]
    conductors: tuple[PathConductor, ...]
    cables: tuple[PathCable, ...]
    result: str
    cautions: tuple[str, ...] = ()
    fault: str = ""
