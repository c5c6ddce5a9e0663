"""How long the steps of a checkout take a person."""

from __future__ import annotations

from ringout.tables.reader import find_row


def step_seconds(kind: str) -> float:
    """Return the seconds one kind of step takes.

    Args:
        kind: row of the table of step costs.

    Raises:
        KeyError: no such kind.

    Source:
        common practice
    """
    return find_row("step_costs", kind=kind).number("cost_s")
