"""A connector with what is on its pins, and where each pin is from the side it is seen from."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ringout.tables.faces import (
    connector_face,
    connector_outline,
    connectors,
    counts_clockwise,
)

MATING = "mating"
WIRING = "wiring"
SIDES = (MATING, WIRING)
OTHER_GENDER = {"male": "female", "female": "male"}

_FEW = 5  # up to so many contacts, corners say where one is; with more, the clock does
_NEAR = 0.35  # within this share of the pin circle a coordinate counts as the middle


@dataclass(frozen=True, slots=True)
class FacePin:
    """One contact of a face.

    Args:
        pin: number or letter beside the contact.
        carries: signal, or `+24 V`, `0 V`, `PE`.
        channel: controller channel, as in `K1.I4`.
        conductor: cable and core, as in `W1:BN`; empty for a direct plug.
        colour: colour code of the core.
        far: terminal at the other end.
    """

    pin: str
    carries: str = ""
    channel: str = ""
    conductor: str = ""
    colour: str = ""
    far: str = ""


@dataclass(frozen=True, slots=True)
class Face:
    """A connector with what is on each of its pins.

    Args:
        place: item and socket; empty for a bare connector type.
        note: what the item is, in the user's words.
        connector: connector type.
        gender: gender of this very connector.
        pins: its contacts in the order of the part.
    """

    place: str
    note: str
    connector: str
    gender: str
    pins: tuple[FacePin, ...]

    @property
    def drawn(self) -> bool:
        """Return whether it is known where the pins are."""
        if self.connector not in connectors() or self.gender not in OTHER_GENDER:
            return False
        known = connector_face(self.connector, self.gender, MATING).pins
        return bool(self.pins) and all(p.pin in known for p in self.pins)


@dataclass(frozen=True, slots=True)
class PlacedPin:
    """A contact with its place in millimetres from the middle, to the right and upwards."""

    pin: FacePin
    x_mm: float
    y_mm: float


def placed_pins(face: Face, side: str) -> tuple[PlacedPin, ...]:
    """Return the contacts as they are seen from `mating` or `wiring` side with the key up.

    Args:
        face: a face that is `drawn`.
        side: `mating` or `wiring`.
    """
    circle_mm = connector_outline(face.connector).circle_mm
    known = connector_face(face.connector, face.gender, side).pins
    return tuple(
        PlacedPin(p, known[p.pin].x * circle_mm / 2, known[p.pin].y * circle_mm / 2)
        for p in face.pins
    )


def blank_pins(face: Face) -> Face:
    """Return a face with those contacts of its connector that the device does not use."""
    used = {p.pin for p in face.pins}
    known = connector_face(face.connector, face.gender, MATING).pins
    return replace(face, pins=tuple(FacePin(n) for n in known if n not in used))


def counterpart(face: Face) -> Face:
    """Return the connector that goes into this one: opposite gender, same pins."""
    return replace(face, gender=OTHER_GENDER[face.gender])


def bare_face(connector: str, gender: str) -> Face:
    """Return a face of a connector type with nothing on its pins."""
    names = connector_face(connector, gender, MATING).pins
    return Face("", "", connector, gender, tuple(FacePin(n) for n in names))


def connector_name(connector: str) -> str:
    """Return a connector type as people write it: `m12-a-4` is `M12-A 4-pin`."""
    if connector == "din-valve":
        return "DIN valve connector"
    head, _, count = connector.rpartition("-")
    if head.startswith("m") and count.isdigit():
        return f"{head.upper()} {count}-pin"
    return connector.replace("-", " ")


def fitted_name(connector: str, gender: str) -> str:
    """Return a cable connector as one asks for it: `M12-A 4-pin plug (male)`."""
    word = {"male": "plug (male)", "female": "socket (female)"}.get(gender, gender)
    return f"{connector_name(connector)} {word}"


def view_title(face: Face, side: str) -> str:
    """Return what a view shows, in words that cannot be read the wrong way round."""
    return f"{connector_name(face.connector)} {face.gender}, seen from the {side} side"


def counting_words(connector: str, gender: str, side: str) -> str:
    """Return which way the numbers run round in a view; empty where they do not."""
    clockwise = counts_clockwise(connector, gender, side)
    if clockwise is None:
        return ""
    return "numbers run clockwise" if clockwise else "numbers run counter-clockwise"


def where_words(face: Face, side: str) -> dict[str, str]:
    """Return for each pin where it is with the key up, for people without a drawing at hand."""
    if not face.drawn:
        return {}
    pins = placed_pins(face, side)
    radius_mm = connector_outline(face.connector).circle_mm / 2
    few = len(connector_face(face.connector, face.gender, side).pins) <= _FEW
    return {p.pin.pin: _words(p.x_mm / radius_mm, p.y_mm / radius_mm, few=few) for p in pins}


def _words(x: float, y: float, *, few: bool) -> str:
    out = math.hypot(x, y)
    if out < _NEAR / 2:
        return "centre"
    if few:
        return " ".join(w for w in (_side(y, "bottom", "top"), _side(x, "left", "right")) if w)
    clockwise_deg = (90 - math.degrees(math.atan2(y, x))) % 360
    clock = f"{round(clockwise_deg / 30) or 12} o'clock"
    return clock if out > 1 - _NEAR else f"inner, {clock}"


def _side(share: float, low: str, high: str) -> str:
    if abs(share) < _NEAR:
        return ""
    return high if share > 0 else low
