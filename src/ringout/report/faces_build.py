"""Faces of a cell: one for each used socket, with what is on each pin."""

from __future__ import annotations

from ringout.cell.model import Cell, Item, Terminal
from ringout.cell.part import Socket
from ringout.report.faces_model import Face, FacePin
from ringout.report.sheet_nets import Nets, other_end


def build_faces(cell: Cell, nets: Nets) -> tuple[Face, ...]:
    """Return a face for every socket that has at least one pin joined.

    Clamp strips are left out: their numbers are printed beside the clamps.
    """
    channels = {
        terminal: f"{item.name}.{channel.name}"
        for item in cell.items.values()
        for channel in item.part.channels.values()
        for terminal in nets.channel_terminals(item, channel.name)
    }
    return tuple(
        _face(nets, item, socket, channels)
        for item in cell.items.values()
        for socket in item.part.sockets.values()
        if not socket.clamps
        if any(Terminal(item.name, socket.name, p) in nets.joins_at for p in socket.pins)
    )


def _face(nets: Nets, item: Item, socket: Socket, channels: dict[Terminal, str]) -> Face:
    pins = []
    for pin in socket.pins:
        here = Terminal(item.name, socket.name, pin)
        joins = nets.joins_at.get(here, [])
        pins.append(
            FacePin(
                pin=pin,
                carries=nets.carries(here),
                channel=channels.get(here, ""),
                conductor=", ".join(j.conductor for j in joins if j.cable),
                colour=next((j.core for j in joins if j.core), ""),
                far=", ".join(str(other_end(j, here)) for j in joins),
            )
        )
    place = f"{item.name}-{socket.name}"
    return Face(place, item.note, socket.connector, socket.gender, tuple(pins))
