"""Every socket of a cell: its face, what is on its pins, and what a sensor put there reaches."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.cell.model import Cell, Item, Terminal
from ringout.cell.part import Socket
from ringout.report.drawing.faces import draw_side
from ringout.report.faces_build import channels_at, face_of
from ringout.report.faces_model import Face, FacePin, connector_name, where_words
from ringout.report.sheet_nets import EARTH, PLUS, ZERO, Nets

HOSTS = ("controller", "connector")  # families that devices are plugged into
STANDARD = {"plus": "1", "minus": "3", "out": "4", "second": "2"}  # iec-60947-5-2, table III.1


@dataclass(frozen=True, slots=True)
class SocketView:
    """One socket.

    Args:
        place: item and socket, as in `K1-X2`.
        item: the item.
        note: what the item is.
        title: connector and gender in words.
        pins: what is on each pin.
        where: pin to where it is in the picture, in words.
        svg: the face; empty for a row of clamps.
        free: nothing is landed here.
        host: devices are plugged in here.
        reach: what a standard sensor plugged here would reach; empty where none fits.
    """

    place: str
    item: str
    note: str
    title: str
    pins: tuple[FacePin, ...]
    where: dict[str, str]
    svg: str
    free: bool
    host: bool
    reach: str


@dataclass(frozen=True, slots=True)
class FreeChannel:
    """A channel without a signal: its name, kind, terminals, and whether they are empty."""

    name: str
    kind: str
    terminals: str
    empty: bool


def socket_views(cell: Cell, side: str) -> list[SocketView]:
    """Return every socket of the cell.

    Args:
        cell: the cell.
        side: side the faces are seen from, `mating` or `wiring`.
    """
    nets = Nets(cell)
    channels = channels_at(cell, nets)
    return [
        _view(cell, nets, channels, item, socket, side)
        for item in cell.items.values()
        for socket in item.part.sockets.values()
    ]


def _view(  # what one socket is made of
    cell: Cell,
    nets: Nets,
    channels: dict[Terminal, str],
    item: Item,
    socket: Socket,
    side: str,
) -> SocketView:
    face = face_of(nets, item, socket, channels)
    host = item.part.family in HOSTS and socket.gender == "female"
    fits = host and socket.connector.startswith(("m12-a", "m8"))
    return SocketView(
        face.place,
        item.name,
        item.note,
        f"{connector_name(socket.connector)} {socket.gender}",
        face.pins,
        where_words(face, side),
        draw_side(face, side).svg if face.drawn else "",
        all(not p.far for p in face.pins),
        host,
        _reach(cell, face) if fits else "",
    )


def _reach(cell: Cell, face: Face) -> str:
    """Return what a sensor with its output on pin 4 would reach here, as a sentence."""
    pins = {p.pin: p for p in face.pins}
    out = pins.get(STANDARD["out"])
    if out is None:
        return ""
    if _kind(cell, out.channel) == "output":
        return f"No place for a sensor: pin 4 is the output {_channels(cell, out)}"
    if not out.carries or out.carries in (PLUS, ZERO, EARTH):
        words = [f"pin 4 reaches {out.carries or 'no channel'}"]
    else:
        words = [f"pin 4 reaches {_channels(cell, out)}"]
    second = pins.get(STANDARD["second"])
    if second is not None and second.carries not in ("", PLUS, ZERO, EARTH):
        words.append(f"pin 2 reaches {_channels(cell, second)}")
    lacks = [
        what
        for what, pin, wanted in (
            ("+24 V on pin 1", STANDARD["plus"], PLUS),
            ("0 V on pin 3", STANDARD["minus"], ZERO),
        )
        if pin not in pins or wanted not in pins[pin].carries.split(", ")
    ]
    text = f"A standard sensor plugged in here: {', '.join(words)}"
    return f"{text}; it finds no {' and no '.join(lacks)}" if lacks else text


def _kind(cell: Cell, channel: str) -> str:
    """Return `input` or `output` of a channel by its name; empty where it is none."""
    item, _, name = channel.partition(".")
    found = cell.items[item].part.channels.get(name) if item in cell.items else None
    return found.kind if found is not None else ""


def _channels(cell: Cell, pin: FacePin) -> str:
    """Return the channel of a pin, with the signal that has it."""
    by_signal = {s.name: s.channel_name for s in cell.signals.values()}
    out = []
    for word in pin.carries.split(", "):
        channel = by_signal.get(word, "")
        out.append(f"{channel} ({word})" if channel else word)
    return " and ".join(out)


def free_channels(cell: Cell) -> list[FreeChannel]:
    """Return the channels that no signal has."""
    nets = Nets(cell)
    taken = {s.channel_name for s in cell.signals.values()}
    out = []
    for item in cell.items.values():
        for channel in item.part.channels.values():
            name = f"{item.name}.{channel.name}"
            if name in taken:
                continue
            places = nets.channel_terminals(item, channel.name)
            empty = not any(t in nets.joins_at for t in places)
            out.append(FreeChannel(name, channel.kind, ", ".join(map(str, places)), empty))
    return out
