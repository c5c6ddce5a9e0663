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
    channels = channels_at(cell, nets)
    return tuple(
        face_of(nets, item, socket, channels)
        for item in cell.items.values()
        for socket in item.part.sockets.values()
        if not socket.clamps
        if any(Terminal(item.name, socket.name, p) in nets.joins_at for p in socket.pins)
    )


def channels_at(cell: Cell, nets: Nets) -> dict[Terminal, str]:
    """Return the channel, as in `K1.I1`, of every terminal that has one."""
    return {
        terminal: f"{item.name}.{channel.name}"
        for item in cell.items.values()
        for channel in item.part.channels.values()
        for terminal in nets.channel_terminals(item, channel.name)
    }


def face_of(nets: Nets, item: Item, socket: Socket, channels: dict[Terminal, str]) -> Face:
    """Return the face of one socket with what is on each pin.

    Args:
        nets: what the terminals of the cell carry.
        item: whose socket it is.
        socket: the socket.
        channels: from `channels_at`.
    """
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
