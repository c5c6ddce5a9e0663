"""What contacts and connectors stand, and what they need to stay clean."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.base import Interval
from ringout.tables.reader import find_row


@dataclass(frozen=True, slots=True)
class Wetting:
    """Least voltage and current at which a contact stays dependable."""

    min_v: float
    min_a: float


def wetting(material: str) -> Wetting:
    """Return the least voltage and current of a contact.

    Args:
        material: `silver`, `gold` or `reed`.

    Returns:
        The limits.

    Raises:
        KeyError: no such material.

    Source:
        iec-60947-5-4, relay-notes
    """
    row = find_row("contact_materials", material=material)
    return Wetting(row.number("wet_min_v"), row.number("wet_min_ma") / 1000.0)


def contact_ohm(material: str) -> Interval:
    """Return the resistance of a closed contact: new, ageing, bad (relay-notes)."""
    row = find_row("contact_materials", material=material)
    return Interval(*(row.number(f"{age}_ohm") for age in ("new", "ageing", "bad")))


@dataclass(frozen=True, slots=True)
class ConnectorRating:
    """What one pin of a connector stands; where sources disagree, the lower figure."""

    current_a: float
    voltage_v: float
    contact_max_ohm: float
    area_min_mm2: float
    area_max_mm2: float


def connector_rating(connector: str) -> ConnectorRating:
    """Return the rating of a connector.

    Args:
        connector: connector key such as `m12-a-4`.

    Returns:
        The rating.

    Raises:
        KeyError: no such connector.

    Source:
        iec-61076-2-101, iec-61076-2-104, connector-guide
    """
    row = find_row("connector_ratings", connector=connector)
    return ConnectorRating(
        row.number("current_a"),
        row.number("voltage_v"),
        row.number("contact_max_ohm"),
        row.number("area_min_mm2"),
        row.number("area_max_mm2"),
    )
