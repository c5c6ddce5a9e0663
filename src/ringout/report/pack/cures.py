"""Cures a cell already has: parts fitted for a signal's sake, and what would be without them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ringout.cell.model import Cell, Item
from ringout.findings import judge
from ringout.findings.model import Finding

# Families of parts that may be there for a signal's sake, and what then is inside them.
FITTED = frozenset({"component", "connector"})
WORKING = frozenset({"resistance", "diode", "clamp"})


def is_fitted(item: Item) -> bool:
    """Return whether an item is a cure: a bleeder, a suppressor, and no mere connector."""
    kinds = {e.kind for e in item.part.elements}
    return item.part.family in FITTED and bool(kinds & WORKING or item.part.family == "component")


def without_cures(cell: Cell, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return what would be found as well if the fitted parts were wired through but empty.

    Args:
        cell: the cell.
        findings: what is found with them.

    Returns:
        Findings of the cell solved again without them that it does not have with them; nothing
        when no part is fitted.
    """
    fitted = {n: i for n, i in cell.items.items() if is_fitted(i)}
    if not fitted:
        return ()
    empty = {n: replace(i, part=replace(i.part, elements=())) for n, i in fitted.items()}
    known = {_key(f) for f in findings}
    bare = replace(cell, items={**cell.items, **empty}, expects=())
    return tuple(f for f in judge(bare).findings if _key(f) not in known)


def _key(found: Finding) -> tuple[str, str, str]:
    return found.code, found.place, str(found.get("signal") or "")
