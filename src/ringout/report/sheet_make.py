"""How one end is made off: sleeve, bare length, screw torque, gauge, from tables and the part."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ringout.base import Interval, Span
from ringout.base.quantity import parse_quantity
from ringout.cell.part import Part
from ringout.report.sheet_model import Ferrule
from ringout.tables.colours import wire_colour
from ringout.tables.copper import nearest_awg
from ringout.tables.ferrule import ferrule_for, sheath_length_mm, strip_length_mm
from ringout.tables.torque import clamp_torque_nm, connector_torque_nm

DEFAULT_SERIES = "din-46228-4"
SERIES_NAMES = {
    "din-46228-4": "DIN 46228-4",
    "french": "French series",
    "old-german": "old German series",
}
DEFAULT_THREAD = "M3"  # common practice for clamps up to 2.5 mm2
INCH_MM = 25.4
POUND_INCH_NM = 0.112985  # exact to six figures by definition of pound-force and inch


@dataclass(frozen=True, slots=True)
class House:
    """House rules of the file that the sheet obeys.

    Args:
        series: key of the ferrule colour series.
        market: `iec` or `us`.
        thread: clamp screw assumed where the part says nothing.
        notes: what of the file's house rules could not be used.
    """

    series: str
    market: str
    thread: str
    notes: tuple[str, ...]

    @property
    def series_name(self) -> str:
        """Return the series as people call it."""
        return SERIES_NAMES[self.series]


def read_house(words: Mapping[str, str]) -> House:
    """Return the house rules; words that name nothing fall back and are told in the notes."""
    notes: list[str] = []

    def pick(key: str, default: str, known: Mapping[str, str]) -> str:
        given = words.get(key, default)
        found = "-".join(given.lower().split())
        if found in known:
            return known[found]
        notes.append(
            f"house rule {key}: `{given}` is not known; {default} is used. "
            f"Known: {', '.join(known)}"
        )
        return known[default]

    series = pick("ferrule_series", DEFAULT_SERIES, {k: k for k in SERIES_NAMES})
    market = pick("market", "iec", {"iec": "iec", "us": "us"})
    threads = {t.lower(): t for t in ("M2.5", "M3", "M3.5", "M4", "M5")}
    thread = pick("clamp_thread", DEFAULT_THREAD.lower(), threads)
    return House(series, market, thread, tuple(notes))


def colour_words(code: str) -> str:
    """Return a core's colour in words, or `number 1` for a numbered core."""
    if code.isdigit():
        return f"number {code}"
    try:
        return wire_colour(code).name
    except KeyError:
        pass
    pairs = [code[i : i + 2] for i in range(0, len(code), 2)]
    try:
        return "-".join(wire_colour(p).name for p in pairs)
    except KeyError:
        return code


def gauge(area_mm2: float | None) -> int | None:
    """Return the nearest gauge number, None when the cross-section is not known."""
    return nearest_awg(area_mm2) if area_mm2 else None


def is_stranded(cable: Part | None) -> bool:
    """Return whether strands must be held together; classes 1 and 2 are solid or stiff."""
    return cable is None or cable.facts.get("class", "5") not in {"1", "2"}


@dataclass(frozen=True, slots=True)
class MadeOff:
    """What is done to the end of one core."""

    ferrule: Ferrule | None
    strip_mm: float | None
    torque_nm: float | None


def make_for_clamp(
    part: Part, area_mm2: float | None, house: House, *, stranded: bool = True
) -> MadeOff:
    """Return how a core is made off for a clamp of an item.

    The part's own words `strip`, `torque`, `thread` and `terminals: spring` in its facts win.

    Args:
        part: the item's part.
        area_mm2: cross-section of the core, None when not known.
        house: house rules.
        stranded: whether the core is flexible, so that it wants a sleeve.

    Source:
        din-46228-4, terminal-data, iec-60947-1
    """
    spring = part.facts.get("terminals", "") == "spring"
    sleeve = ferrule_for(area_mm2, house.series) if area_mm2 and stranded else None
    place = "spring-terminal" if spring else "screw-terminal"
    strip_mm = sleeve.strip_mm if sleeve else strip_length_mm(place).typ
    own = _fact(part, "strip", "metres")
    if own is not None:
        strip_mm = round(own.typ * 1000, 2)
    torque = None if spring else _clamp_torque(part, house)
    ferrule = (
        Ferrule(sleeve.area_mm2, sleeve.colour, SERIES_NAMES[sleeve.series], sleeve.barrel_mm)
        if sleeve
        else None
    )
    return MadeOff(ferrule, strip_mm, torque)


def make_for_plug(connector: str) -> MadeOff:
    """Return how a core is made off for a field-wireable connector: bare strands, no sleeve.

    The clamp screws inside are too small for a figure that holds for every make.
    """
    return MadeOff(None, strip_length_mm(plug_place(connector)).typ, None)


def plug_place(connector: str) -> str:
    """Return the word the strip table has for a connector."""
    if connector == "din-valve":
        return connector
    return "m8-field" if connector.startswith("m8") else "m12-field"


def sheath_mm(connector: str) -> tuple[float, float] | None:
    """Return how much sheath comes off at a field-wireable connector."""
    found = sheath_length_mm(plug_place(connector))
    return None if found is None else (found.low, found.high)


def nut_words(connector: str, market: str) -> str:
    """Return the torque of a coupling nut in words; empty where none is known."""
    try:
        if connector == "din-valve":
            return f"centre screw {_nm(connector_torque_nm(connector, 'screw'), market)}"
        metal = connector_torque_nm(connector, "metal")
    except KeyError:
        return ""
    words = f"nut {_nm(metal, market)}"
    try:
        return f"{words}, {_nm(connector_torque_nm(connector, 'plastic'), market)} if of plastic"
    except KeyError:
        return words


def torque_words(torque_nm: float, market: str) -> str:
    """Return a torque as it is set on the tool."""
    return _nm(Interval.exact(torque_nm), market)


def strip_words(strip_mm: float, market: str) -> str:
    """Return a bare length; the us market reads inches too, to the nearest 1/32."""
    if market != "us":
        return f"{strip_mm:g} mm"
    return f"{strip_mm:g} mm ({inch_words(strip_mm)})"


def inch_words(length_mm: float) -> str:
    """Return a length in inches, decimal and as the nearest 1/32: `0.39 in, 13/32`."""
    parts = max(round(length_mm / INCH_MM * 32), 1)
    whole, rest = divmod(parts, 32)
    below = 32
    while rest and rest % 2 == 0:
        rest, below = rest // 2, below // 2
    fraction = f"{rest}/{below}" if rest else ""
    shown = " ".join(w for w in (str(whole) if whole else "", fraction) if w)
    return f"{length_mm / INCH_MM:.2f} in, {shown}"


def _nm(value: Interval, market: str) -> str:
    same = value.low == value.high
    words = f"{value.low:g} Nm" if same else f"{value.low:g} to {value.high:g} Nm"
    if market != "us":
        return words
    low, high = value.low / POUND_INCH_NM, value.high / POUND_INCH_NM
    return f"{words} ({low:.1f} lb-in)" if same else f"{words} ({low:.1f} to {high:.1f} lb-in)"


def _clamp_torque(part: Part, house: House) -> float:
    own = _fact(part, "torque", "newton_metre")
    if own is not None:
        return own.typ
    try:
        return clamp_torque_nm(part.facts.get("thread", house.thread))
    except KeyError:
        return clamp_torque_nm(house.thread)


def _fact(part: Part, key: str, dimension: str) -> Interval | None:
    text = part.facts.get(key)
    found = parse_quantity(text, dimension, Span("", 0, 0)) if text else None
    return found if isinstance(found, Interval) else None
