"""Outputs tied together by conductors: each works what the other is to work."""

from __future__ import annotations

from collections.abc import Iterator

from ringout.base import Severity
from ringout.cell.part import Channel
from ringout.circuit.model import Circuit
from ringout.findings.model import Finding
from ringout.findings.references import pole_labels, rail_labels


def judge_tied(circuit: Circuit) -> list[Finding]:
    """Tell of semiconductor outputs whose own pins are one stretch of conductors.

    Relay contacts side by side are a usual way to say `or`, and are left alone; a stretch that
    is a pole of a supply is a short or a load fed from there, which is told as that.

    Args:
        circuit: the compiled cell.

    Returns:
        One finding per stretch.
    """
    label = rail_labels(circuit)
    poles = pole_labels(circuit, label)
    tied: dict[int, list[tuple[str, Channel, int]]] = {}
    for item, channel, node in _own_pins(circuit):
        if label[node] not in poles:
            tied.setdefault(label[node], []).append((item, channel, node))
    return [_finding(circuit, label, outs) for outs in tied.values() if len(outs) > 1]


def _own_pins(circuit: Circuit) -> Iterator[tuple[str, Channel, int]]:
    """Yield every semiconductor output with the node that no other channel shares."""
    for item in circuit.cell.items.values():
        part = item.part
        for channel in part.channels.values():
            contact = part.element_by_name[channel.element].kind == "contact"
            if channel.kind != "output" or contact:
                continue
            own = [n for n in part.ends_of(channel) if len(part.channels_at(n)) == 1]
            if len(own) == 1 and (item.name, own[0]) in circuit.node_of_net:
                yield item.name, channel, circuit.node_of_net[(item.name, own[0])]


def _finding(circuit: Circuit, label: list[int], outs: list[tuple[str, Channel, int]]) -> Finding:
    cell = circuit.cell
    names = [f"{item}.{channel.name}" for item, channel, _ in outs]
    stretch = label[outs[0][2]]
    joins = [j for j in cell.joins if label[circuit.node(j.a)] == stretch]
    owners = {item for item, _, _ in outs}
    # the place where they meet: what most of their conductors land on
    ends = [str(t) for j in joins for t in (j.a, j.b) if t.item not in owners]
    meet = max(dict.fromkeys(ends), key=ends.count, default="")
    at = f" at {meet}" if meet else ""
    signals = cell.signal_of_channel()
    mine = [s for item, channel, _ in outs if (s := signals.get((item, channel.name)))]
    return Finding(
        "F308",
        Severity.WARNING,
        f"{' and '.join(names)} are tied together{at}: what one switches on, the other cannot "
        f"switch off, and it is fed backwards. Give each its own conductor",
        tuple(dict.fromkeys(j.span for j in joins)),
        names[0],
        source="common practice",
        about=tuple(("signal", s.name) for s in mine),
    )
