"""What kinds of quantity there are, how each is called and written, and the table of units."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files


@dataclass(frozen=True, slots=True)
class Dimension:
    """A kind of quantity.

    Args:
        called: how a sentence calls it, with its article.
        example: one value as a person writes it.
        symbol: unit a value is shown in.
        prefixes: powers of ten the symbol may be shown with.
        minimum: smallest value that makes sense, in the unit of `symbol`; None if any does.
    """

    called: str
    example: str
    symbol: str
    prefixes: tuple[int, ...] = (0,)
    minimum: float | None = None


DIMENSIONS: Mapping[str, Dimension] = {
    "volts": Dimension("a voltage", "24 V", "V", (-6, -3, 0, 3)),
    "amps": Dimension("a current", "15 mA", "A", (-9, -6, -3, 0, 3)),
    "ohms": Dimension("a resistance", "2.2 kΩ", "Ω", (-6, -3, 0, 3, 6, 9), 0.0),
    "watts": Dimension("a power", "4.5 W", "W", (-3, 0, 3)),
    "joules": Dimension("an energy", "40 mJ", "J", (-3, 0, 3), 0.0),
    "a2s": Dimension("a melting integral", "4 A2s", "A²s", (0,), 0.0),
    "seconds": Dimension("a time", "3 ms", "s", (-9, -6, -3, 0), 0.0),
    "metres": Dimension("a length", "5 m", "m", (-3, 0), 0.0),
    "mm2": Dimension("a cross-section", "0.34 mm2", "mm²", (0,), 0.0),
    "celsius": Dimension("a temperature", "10..45 °C", "°C", (0,), -273.15),
    "henry": Dimension("an inductance", "0.5 H", "H", (-6, -3, 0), 0.0),
    "farad": Dimension("a capacitance", "100 nF", "F", (-12, -9, -6, -3, 0), 0.0),
    "hertz": Dimension("a frequency", "50 Hz", "Hz", (0, 3, 6), 0.0),
    "newton_metre": Dimension("a torque", "0.5 Nm", "N·m", (0,)),
    "ratio": Dimension("a plain number", "0.7", ""),
}

# Characters that look alike are read alike: mu, ohm sign, minus, blanks of any width, ellipsis.
_ALIKE = str.maketrans(
    {
        "\u03bc": "µ",
        "\u2126": "Ω",
        "\u2212": "-",
        "\u00a0": " ",
        "\u2007": " ",
        "\u2009": " ",
        "\u202f": " ",
        "\u2026": "..",
        "\u2033": '"',
        "\u2103": "°C",
        "\t": " ",
        "\n": " ",
    }
)


def same_characters(text: str) -> str:
    """Return text with characters that merely look different made the same."""
    return text.translate(_ALIKE).strip()


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as written: one of it is `factor` of its dimension's own unit."""

    name: str
    dimension: str
    factor: float

    def convert(self, number: float) -> float:
        """Return so many of this unit in the dimension's own unit."""
        inverse = 1 / self.factor
        # Dividing by a power of ten is exact where multiplying by its inverse is not.
        if inverse > 1 and math.isclose(inverse, round(inverse), rel_tol=1e-12):
            return number / round(inverse)
        return number * self.factor


@cache
def unit_table() -> Mapping[str, Unit]:
    """Return the units of `units.csv` by the way they are written."""
    text = files("ringout.base").joinpath("units.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return {r["unit"]: Unit(r["unit"], r["dimension"], float(r["factor"])) for r in rows}


def find_unit(name: str) -> Unit | None:
    """Return the unit written so, or None; `u` may stand for µ."""
    table = unit_table()
    found = table.get(name)
    if found is None and name.startswith("u"):
        found = table.get("µ" + name[1:])
    return found


@cache
def _units_of_any_case() -> Mapping[tuple[str, str], Unit]:
    # The first spelling wins, so `Mohm` never stands for `mohm`: see below.
    table: dict[tuple[str, str], Unit] = {}
    for unit in unit_table().values():
        table.setdefault((unit.dimension, unit.name[:1] + unit.name[1:].casefold()), unit)
        if unit.name[:1] not in "mM":
            table.setdefault((unit.dimension, unit.name.casefold()), unit)
    return table


def find_unit_of_any_case(name: str, dimension: str) -> Unit | None:
    """Return the unit of this dimension written so but for small and capital letters.

    A leading `m` or `M` must be right: it is a thousandth or a million.
    """
    table = _units_of_any_case()
    if name[:1] in {"m", "M"}:
        return table.get((dimension, name[:1] + name[1:].casefold()))
    return table.get((dimension, name.casefold()))


def awg_area_mm2(gauge: int) -> float:
    """Return the cross-section of an American wire gauge; 0 is 1/0, -1 is 2/0.

    By definition gauge 36 is 0.005 inch thick, and 39 steps of equal ratio up is 92 times that.

    Source:
        memory
    """
    diameter_mm = 0.127 * math.pow(92, (36 - gauge) / 39)
    return math.pi / 4 * diameter_mm**2
