"""Colours of cores: codes, names, screen colours, usual pins and the rules of two markets."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from ringout.tables.reader import Row, find_row, read_table

RGB = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class WireColour:
    """One colour of a core.

    Args:
        code: code such as `BN`.
        name: English name.
        rgb: screen colour, 0 to 255 each.
        second_rgb: second screen colour of a two-coloured core.
    """

    code: str
    name: str
    rgb: RGB
    second_rgb: RGB | None


@cache
def wire_colour(code: str) -> WireColour:
    """Return a colour by its code.

    Args:
        code: such as `BN` or `GNYE`.

    Returns:
        The colour.

    Raises:
        KeyError: no such code.

    Source:
        iec-60757
    """
    row = find_row("wire_colours", code=code)
    second = None if row.maybe("second_red_rgb") is None else _rgb(row, "second_")
    return WireColour(code, row.text("name"), _rgb(row, ""), second)


def usual_core_colour(connector: str, pin: str) -> str | None:
    """Return the usual colour of the core on a pin, None where nothing is usual.

    A habit, never a promise: a cordset's own sheet goes before.

    Args:
        connector: connector key such as `m12-a-4`.
        pin: pin name.

    Returns:
        Colour code.

    Source:
        common practice, connector-guide
    """
    family, _, kind = connector.partition("-")
    pins = kind.rpartition("-")[2]
    if pins == "8":
        family = f"{family}-8"
    elif pins not in {"3", "4", "5"}:
        return None
    rows = (r for r in read_table("core_colours") if r.text("connector") == family)
    return next((row.text("colour") for row in rows if row.text("pin") == pin), None)


def rule_colours(market: str, use: str) -> tuple[str, ...]:
    """Return the colour codes a market wants for a use; `WH/BU` is white with a blue stripe.

    Args:
        market: `iec` or `us`.
        use: such as `control-dc` or `earth`.

    Returns:
        Codes, the usual one first.

    Raises:
        KeyError: the table has no such case.

    Source:
        iec-60204-1, nfpa-79
    """
    return tuple(find_row("colour_rules", use=use, market=market).text("colours").split(";"))


def _rgb(row: Row, prefix: str) -> RGB:
    red, green, blue = (
        int(row.number(f"{prefix}{colour}_rgb")) for colour in ("red", "green", "blue")
    )
    return red, green, blue
