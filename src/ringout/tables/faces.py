"""Where the pins of a connector are, looking at its mating face or at its wiring side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from ringout.tables.reader import Row, find_row, read_table

GENDERS: tuple[str, ...] = ("male", "female")
SIDES: tuple[str, ...] = ("mating", "wiring")


@dataclass(frozen=True, slots=True)
class Pin:
    """Place of one pin, in units of the pin circle; the key is at the top.

    Args:
        x: to the right.
        y: upwards.
    """

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Face:
    """One view of a connector.

    Args:
        connector: connector key.
        gender: `male` or `female`.
        side: `mating`, or `wiring` where the cores are landed.
        pins: place by pin name, in the order of counting.
        key_deg: direction of the key, counter-clockwise from the right.
        confidence: `H`, `M` or `L`, the worst of its pins; below H the numbers moulded beside
            the contacts decide.
    """

    connector: str
    gender: str
    side: str
    pins: Mapping[str, Pin]
    key_deg: float
    confidence: str


@dataclass(frozen=True, slots=True)
class Outline:
    """What a connector looks like from the front, in millimetres; no gauge for making parts.

    Args:
        connector: connector key.
        body_mm: outer diameter, or side of a square housing.
        insert_mm: diameter of the insulating insert; 0 for a square housing.
        circle_mm: diameter of the pin circle.
        contact_mm: diameter of a contact, or width of a blade.
        thick_mm: thickness of a blade; 0 for pins.
        square: square housing with blades instead of a round one with pins.
        slot_in_male: the slot of the key is in the male part, as in B coding.
        scale_x: how many times larger it is drawn.
    """

    connector: str
    body_mm: float
    insert_mm: float
    circle_mm: float
    contact_mm: float
    thick_mm: float
    square: bool
    slot_in_male: bool
    scale_x: float


@cache
def connector_outline(connector: str) -> Outline:
    """Return the outline of a connector for drawings to scale.

    Args:
        connector: connector key such as `m12-a-4`.

    Returns:
        Its sizes and the scale it is drawn in.

    Raises:
        KeyError: no such connector.

    Source:
        iec-61076-2-101, iec-61076-2-104, en-175301-803
    """
    row = find_row("connector_outlines", connector=connector)
    return Outline(
        connector,
        row.number("body_mm"),
        row.maybe("insert_mm") or 0.0,
        row.number("circle_mm"),
        row.number("contact_mm"),
        row.maybe("thick_mm") or 0.0,
        row.text("outline") == "square",
        row.cells["slot_in"] == "male",
        row.number("scale_x"),
    )


def connectors() -> tuple[str, ...]:
    """Return the keys of all connectors with a known face."""
    return tuple(dict.fromkeys(row.text("connector") for row in read_table("connector_faces")))


def connector_face(connector: str, gender: str, side: str) -> Face:
    """Return a view of a connector.

    The table holds the male mating face. A female face is its mirror image, and the wiring
    side of either is the mirror image of its mating face.

    Args:
        connector: connector key such as `m12-a-4`.
        gender: `male` or `female`.
        side: `mating` or `wiring`.

    Returns:
        The view.

    Raises:
        KeyError: no such connector, gender or side.

    Source:
        iec-61076-2-101, iec-61076-2-104, en-175301-803
    """
    if gender not in GENDERS or side not in SIDES:
        raise KeyError(f"no face {gender} {side}; genders are {GENDERS}, sides {SIDES}")
    find_row("connector_faces", connector=connector)
    rows = _rows(connector)
    mirrored = (gender == "female") != (side == "wiring")
    sign = -1.0 if mirrored else 1.0
    pins = {
        row.text("pin"): Pin(sign * row.number("x_pin_circle"), row.number("y_pin_circle"))
        for row in rows
    }
    key_deg = rows[0].number("key_deg")
    return Face(
        connector,
        gender,
        side,
        pins,
        180.0 - key_deg if mirrored else key_deg,
        max((row.text("confidence") for row in rows), key="HML".index),
    )


def pin_positions(connector: str, gender: str, side: str) -> Mapping[str, Pin]:
    """Return the place of every pin; see `connector_face`."""
    return connector_face(connector, gender, side).pins


def counts_clockwise(connector: str, gender: str, side: str) -> bool | None:
    """Return the direction of counting, None where the pins do not run round in order."""
    counting = find_row("connector_faces", connector=connector).text("counting")
    if counting not in {"cw", "ccw"}:
        return None
    mirrored = (gender == "female") != (side == "wiring")
    return (counting == "cw") != mirrored


def _rows(connector: str) -> list[Row]:
    return [r for r in read_table("connector_faces") if r.text("connector") == connector]
