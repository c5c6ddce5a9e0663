"""What an item must be fed with: supply pins of its electronics, commons of its channels."""

from __future__ import annotations

from collections.abc import Iterable

from ringout.cell.model import Item
from ringout.cell.part import Channel


def feeds_of(item: Item) -> Iterable[tuple[str, str]]:
    """Yield `(plus net, minus net)` of everything in an item that must be fed."""
    if item.part.alive is not None:
        yield item.part.alive.tail, item.part.alive.head
    own = item.part.element_by_name.get("own")
    if own is not None and own.kind == "load" and not own.when:
        yield own.tail, own.head
    for side, net, _ in commons_of(item):
        yield ("", net) if side else (net, "")


def commons_of(item: Item) -> Iterable[tuple[int, str, list[Channel]]]:
    """Yield the common net of every group of channels: side (0 is +), net, channels."""
    part = item.part
    groups: dict[str, list[Channel]] = {}
    for channel in part.channels.values():
        groups.setdefault(channel.group, []).append(channel)
    for group in groups.values():
        elements = [part.element_by_name[c.element] for c in group]
        for side, nets in enumerate(({e.tail for e in elements}, {e.head for e in elements})):
            if len(nets) == 1 and len(group) > 1:
                yield side, nets.pop(), group
