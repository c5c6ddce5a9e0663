"""Adding up loads on a supply, a pin or a contact."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ringout.base import Interval
from ringout.tables.reader import find_row


@dataclass(frozen=True, slots=True)
class Load:
    """Equal loads on one supply.

    Args:
        current_a: current of each.
        count: how many.
        simultaneous: largest share that is on at once, 0 to 1.
        duty: share of the time each is on; counts for heat only, never for the instant.
    """

    current_a: float
    count: int = 1
    simultaneous: float = 1.0
    duty: float = 1.0


def total_a(loads: Iterable[Load]) -> float:
    """Return the largest current at any instant.

    Source:
        we-36, we-40
    """
    return sum(load.current_a * load.count * load.simultaneous for load in loads)


def mean_a(loads: Iterable[Load]) -> float:
    """Return the current averaged over time, which warms and is billed but trips nothing.

    Source:
        we-38
    """
    return sum(load.current_a * load.count * load.simultaneous * load.duty for load in loads)


def left_for_others_a(limit_a: float, loads: Iterable[Load]) -> float:
    """Return what a supply, pin or feed-through has left; negative when overdrawn (we-39)."""
    return limit_a - total_a(loads)


def current_from_power_a(power_w: float, supply_v: float = 24.0) -> float:
    """Return the current of a load stated in watts (we-38)."""
    return power_w / supply_v


def input_power_w(output_w: float, efficiency: float) -> float:
    """Return what a supply takes from the mains (we-41)."""
    return output_w / efficiency


def inrush_a(kind: str, steady_a: float) -> Interval:
    """Return the planning range of a load's current at switching on.

    Args:
        kind: row of the table of inrush, such as `lamp` or `motor`.
        steady_a: current once warm or running.

    Returns:
        Amperes.

    Raises:
        KeyError: no such kind.

    Source:
        relay-notes
    """
    row = find_row("inrush", kind=kind)
    return Interval.span(row.number("planning_min_x"), row.number("planning_max_x")).scaled(
        steady_a
    )


def contact_rating_a(kind: str, steady_a: float) -> float:
    """Return the resistive rating a contact needs for a load.

    Args:
        kind: `lamp`, `motor` or `resistive`.
        steady_a: current once warm or running.

    Returns:
        Amperes.

    Raises:
        KeyError: no such kind.
        TypeError: the table states no rule for it.

    Source:
        we-46
    """
    return find_row("inrush", kind=kind).number("rating_rule_x") * steady_a
