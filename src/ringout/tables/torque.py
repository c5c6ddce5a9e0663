"""Tightening torque of clamp screws and of round connectors."""

from __future__ import annotations

from ringout.base import Interval
from ringout.tables.reader import find_row


def clamp_torque_nm(thread: str) -> float:
    """Return the torque of a clamp screw.

    Args:
        thread: `M2.5` to `M5`.

    Returns:
        Newton metres.

    Raises:
        KeyError: no such thread.

    Source:
        iec-60947-1, terminal-data
    """
    return find_row("clamp_torque", thread=thread).number("torque_nm")


def connector_torque_nm(connector: str, nut: str = "metal") -> Interval:
    """Return the torque of a connector's nut or screw.

    Args:
        connector: connector key such as `m12-a-4`, or its family `m12`.
        nut: `metal`, `plastic`, or `screw` for a valve connector.

    Returns:
        Newton metres.

    Raises:
        KeyError: no such family or nut.

    Source:
        common practice
    """
    family = connector if connector == "din-valve" else connector.partition("-")[0]
    row = find_row("connector_torque", connector=family, nut=nut)
    return Interval(*(row.number(f"{which}_nm") for which in ("min", "typ", "max")))
