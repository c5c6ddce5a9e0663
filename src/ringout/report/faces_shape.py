"""Outlines of connectors in millimetres, for drawings to scale."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Shape:
    """What the outline of a connector looks like from the front.

    Args:
        body_mm: outer diameter, or side of a square housing.
        insert_mm: diameter of the insulating insert.
        circle_mm: diameter of the pin circle.
        pin_mm: diameter of a contact, or width of a blade.
        magnify: how many times larger it is drawn.
        square: square housing with blades instead of a round one with pins.
        slot_in_male: the slot of the key is in the male part, as in B coding.
    """

    body_mm: float
    insert_mm: float
    circle_mm: float
    pin_mm: float
    magnify: float
    square: bool = False
    slot_in_male: bool = False


_SHAPES: dict[str, Shape] = {
    "m12-a": Shape(12.0, 8.4, 5.0, 1.0, 4.0),
    "m12-b": Shape(12.0, 8.4, 5.0, 1.0, 4.0, slot_in_male=True),
    "m12-d": Shape(12.0, 8.4, 5.0, 1.0, 4.0),
    "m12-a-8": Shape(12.0, 8.4, 5.5, 0.8, 5.0),
    "m12-a-12": Shape(12.0, 8.4, 5.5, 0.8, 6.0),
    "m8": Shape(8.0, 6.0, 3.0, 0.9, 6.0),
    "din-valve": Shape(27.5, 0.0, 18.0, 5.0, 1.8, square=True),
}
_UNKNOWN = Shape(12.0, 8.4, 5.0, 1.0, 4.0)


def shape_of(connector: str) -> Shape:
    """Return the outline of a connector; one without an entry is drawn like M12.

    Args:
        connector: connector key such as `m12-a-4`.

    Returns:
        Sizes for a drawing that shows which pin is which; not a gauge for making parts.

    Source:
        memory
    """
    return _SHAPES.get(connector) or _SHAPES.get(connector.rpartition("-")[0]) or _UNKNOWN
