"""The I/O list: every channel of every controller, joined or free."""

from __future__ import annotations

from ringout.cell.model import Cell, Item, Signal, Terminal
from ringout.cell.part import Channel
from ringout.report.sheet_model import IoRow
from ringout.report.sheet_nets import Nets


def build_io(cell: Cell, nets: Nets) -> tuple[IoRow, ...]:
    """Return one row per channel, controllers and channels in the order of file and part."""
    named = {s.channel_name: s for s in cell.signals.values()}
    return tuple(
        _row(cell, nets, item, channel, named.get(f"{item.name}.{channel.name}"))
        for item in cell.items.values()
        for channel in item.part.channels.values()
    )


def _row(cell: Cell, nets: Nets, item: Item, channel: Channel, signal: Signal | None) -> IoRow:
    terminals = nets.channel_terminals(item, channel.name)
    joined = [t for t in terminals if t in nets.joins_at]
    traces = [nets.trace(t) for t in joined]
    far = list(dict.fromkeys(d for found, _ in traces for d in found))
    cores = [next((j for j in way if j.cable), None) for _, way in traces]
    joins = [j for j in cores if j is not None]
    joined_words, loose_words = ("no name", "free") if signal is None else ("used", "not joined")
    return IoRow(
        controller=item.name,
        channel=channel.name,
        kind=channel.kind,
        terminals=tuple(str(t) for t in (*joined, *(t for t in terminals if t not in joined))),
        signal=signal.name if signal is not None else "",
        meaning=_meaning(cell, signal, far),
        devices=tuple(str(t) for t in far),
        cable=", ".join(dict.fromkeys(j.cable for j in joins)),
        core=", ".join(j.core for j in joins),
        on=_on(signal),
        status=joined_words if far else loose_words,
    )


def _meaning(cell: Cell, signal: Signal | None, devices: list[Terminal]) -> str:
    """Return the notes of the items the signal is about, else of those it is joined to."""
    about = signal.devices if signal is not None else ()
    names = about or [t.item for t in devices]
    notes = [cell.items[n].note for n in names if n in cell.items]
    return "; ".join(dict.fromkeys(n for n in notes if n))


def _on(signal: Signal | None) -> str:
    if signal is None:
        return ""
    if signal.on is not None:
        return str(signal.on)
    return f"drives {signal.drives}" if signal.drives else ""
