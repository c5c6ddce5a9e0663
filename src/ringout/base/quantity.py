"""Quantities as people write them, `24 V` or `5.6 kΩ ± 10 %`, to numbers and back.

A quantity is one value, a range `10..45 °C`, a tolerance `5.6 kΩ ± 10 %`, or words:

- `up to 0.4 mA` may be anything from nothing up; half is taken as typical.
- `from 3 mA` names a bound and is read as exactly that value.
- `typ 1 V, 0..2 V` gives the typical value beside the range.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache

from ringout.base.diagnostic import Diagnostic, Severity
from ringout.base.dimension import (
    DIMENSIONS,
    awg_area_mm2,
    find_unit,
    find_unit_of_any_case,
    same_characters,
    unit_table,
)
from ringout.base.interval import Interval
from ringout.base.rare_unit import convert_rare_unit
from ringout.base.span import Span
from ringout.base.suggest import did_you_mean

LARGEST = 1e9  # in the dimension's own unit; nothing in a cell is larger
_LONGEST_TEXT = 120
_FINEST_GAUGE, _COARSEST_GAUGE = 40, -3

_PLAIN = r"(?:\d+(?:\.(?!\.)\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_NUMBER = re.compile(rf"([+-]?)\s*(?:(\d+)\s+(\d+)/(\d+)|(\d+)/(\d+)|({_PLAIN}))\s*(.*)", re.DOTALL)
_GAUGE = re.compile(r"AWG\s*(\d+(?:/0)?)|(\d+(?:/0)?)\s*AWG", re.IGNORECASE)
_LETTER_CODE = re.compile(r"(\d*)([RrKkM])(\d*)")  # IEC 60062: 2k2, 4R7, R47, 1M
_PLUS_MINUS = re.compile(r"±|\+\s*/?\s*-")
_RANGE = re.compile(r"\s*\.\.\s*|\s+to\s+")
_DECIMAL_COMMA = re.compile(r"\d,\d")
_DASH_RANGE = re.compile(r"(\d)\s*[-\u2013\u2014]\s*(\d)")
_NO_NUMBER = re.compile(r"[+-]?\s*(?:nan|inf|infinity|∞)\b|[+-]?∞", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class _Problem:
    code: str
    message: str
    fix: str


class _UnreadableError(Exception):
    def __init__(self, code: str, message: str, fix: str) -> None:
        super().__init__(message)
        self.problem = _Problem(code, message, fix)


def parse_quantity(
    text: str, dimension: str, span: Span, *, minimum: float | None = None
) -> Interval | Diagnostic:
    """Read a quantity with its unit and tolerance.

    Args:
        text: what the user wrote, such as `0.34 mm2`, `22 AWG` or `10..45 °C`.
        dimension: key of `DIMENSIONS`; also names the unit of the result.
        span: where the text stands.
        minimum: smallest value that is taken; where None, what the dimension allows.

    Returns:
        Low, typical and high value in the dimension's own unit (volts, amperes, ohms, metres,
        square millimetres, degrees Celsius ...), or what is wrong with the text.

    Raises:
        KeyError: `dimension` is not a known one.
    """
    found = _read_cached(text, dimension, minimum)
    if isinstance(found, _Problem):
        return Diagnostic(found.code, Severity.ERROR, found.message, span, fix=found.fix)
    return found


@lru_cache(maxsize=4096)
def _read_cached(text: str, dimension: str, minimum: float | None) -> Interval | _Problem:
    least = DIMENSIONS[dimension].minimum if minimum is None else minimum
    try:
        found = _read(same_characters(text), dimension)
        _check_bounds(text, found, dimension, least)
    except _UnreadableError as unreadable:
        return unreadable.problem
    return found


def _read(text: str, dimension: str) -> Interval:
    kind = DIMENSIONS[dimension]
    if not text:
        raise _UnreadableError(
            "N001",
            f"nothing stands here; {kind.called} is wanted",
            f"write it as in `{kind.example}`",
        )
    if len(text) > _LONGEST_TEXT:
        raise _unread(text[:20] + "...", dimension)
    if _DECIMAL_COMMA.search(text):
        raise _UnreadableError(
            "N004",
            f"`{text}` has a comma inside a number; decimals take a point",
            f"write `{text.replace(',', '.')}`",
        )
    typ, limits = None, None
    for clause in re.split(r"\s*,\s*", text):
        if clause.startswith("typ ") and typ is None:
            typ = _read_one(clause[4:].strip(), dimension, text)
        elif limits is None:
            limits = _read_clause(clause, dimension, text)
        else:
            raise _unread(text, dimension)
    if limits is None:
        assert typ is not None  # a text has at least one clause
        return Interval.exact(typ)
    if typ is None:
        return limits
    if not limits.low <= typ <= limits.high:
        raise _UnreadableError(
            "N008", f"`{text}`: the typical value lies outside the range", "correct one of the two"
        )
    return Interval(limits.low, typ, limits.high)


def _read_clause(clause: str, dimension: str, text: str) -> Interval:
    for word in ("up to ", "at most "):
        if clause.startswith(word):
            high = _read_one(clause[len(word) :].strip(), dimension, text)
            return Interval.span(min(0.0, high), high)
    ends = _RANGE.split(clause.removeprefix("from "))
    if len(ends) == 2 and all(ends):
        return _read_range(ends[0], ends[1], dimension, text)
    for word in ("from ", "at least "):
        if clause.startswith(word):
            return Interval.exact(_read_one(clause[len(word) :].strip(), dimension, text))
    halves = _PLUS_MINUS.split(clause)
    if len(halves) == 2 and all(halves):
        return _read_tolerance(halves[0].strip(), halves[1].strip(), dimension, text)
    if len(ends) > 1 or len(halves) > 1:
        raise _unread(text, dimension)
    return Interval.exact(_read_one(clause, dimension, text))


def _read_range(first: str, last: str, dimension: str, text: str) -> Interval:
    _, unit = _split(last, dimension, text)
    if first.isdigit() and _GAUGE.fullmatch(last):
        first += " AWG"
    number, own = _split(first, dimension, text) if not _GAUGE.fullmatch(first) else (0.0, "AWG")
    low = _read_one(first, dimension, text) if own else _convert(number, unit, dimension, text)
    high = _read_one(last, dimension, text)
    if own == "AWG":
        low, high = min(low, high), max(low, high)  # a larger gauge is a thinner wire
    if low > high:
        raise _UnreadableError(
            "N008", f"`{text}` runs from the larger to the smaller value", "exchange the two"
        )
    return Interval.span(low, high)


def _read_tolerance(value: str, tolerance: str, dimension: str, text: str) -> Interval:
    spread, spread_unit = _split(tolerance, dimension, text)
    if spread < 0:
        raise _unread(text, dimension)
    if spread_unit == "%":
        typ = _read_one(value, dimension, text)
        reach = abs(typ) * spread / 100
        return Interval(typ - reach, typ, typ + reach)
    number, unit = _split(value, dimension, text)
    unit = unit or spread_unit
    if spread_unit in {"", unit}:
        low, typ, high = (
            _convert(n, unit, dimension, text) for n in (number - spread, number, number + spread)
        )
        return Interval(low, typ, high)
    if dimension == "celsius":
        raise _unread(text, dimension)
    typ = _convert(number, unit, dimension, text)
    reach = _convert(spread, spread_unit, dimension, text)
    return Interval(typ - reach, typ, typ + reach)


def _read_one(words: str, dimension: str, text: str) -> float:
    """Return one value with its unit in the dimension's own unit."""
    gauge = _GAUGE.fullmatch(words)
    if gauge is not None:
        return _read_gauge(next(g for g in gauge.groups() if g), dimension, text)
    code = _LETTER_CODE.fullmatch(words) if dimension == "ohms" else None
    if code is not None and (code[1] or code[3]):
        factor = {"R": 1.0, "K": 1e3, "M": 1e6}[code[2].upper()]
        return float(f"{code[1] or 0}.{code[3] or 0}") * factor
    number, unit = _split(words, dimension, text)
    return _convert(number, unit, dimension, text)


def _read_gauge(gauge: str, dimension: str, text: str) -> float:
    if dimension != "mm2":
        raise _wrong_dimension(text, "mm2", dimension)
    number = 1 - int(gauge[:-2]) if gauge.endswith("/0") else int(gauge)
    if not _COARSEST_GAUGE <= number <= _FINEST_GAUGE:
        raise _UnreadableError(
            "N006", f"`{text}`: wire gauges run from 4/0 to 40", "write it as in `22 AWG`"
        )
    return awg_area_mm2(number)


def _split(words: str, dimension: str, text: str) -> tuple[float, str]:
    """Return number and unit of one value."""
    if _NO_NUMBER.match(words):
        raise _UnreadableError(
            "N006",
            f"`{text}` is no value a thing can have",
            f"write a finite number, as in `{DIMENSIONS[dimension].example}`",
        )
    found = _NUMBER.fullmatch(words)
    if found is None:
        raise _unread(text, dimension)
    sign, whole, above, below, top, bottom, plain, unit = found.groups()
    try:
        if plain:
            number = float(plain)
        elif whole:
            number = int(whole) + int(above) / int(below)
        else:
            number = int(top) / int(bottom)
    except (ArithmeticError, ValueError):
        raise _unread(text, dimension) from None
    if unit and not unit[0].isalpha() and unit[0] not in '°%×"':
        raise _unread(text, dimension)
    return (-number if sign == "-" else number), " ".join(unit.split())


def _convert(number: float, unit: str, dimension: str, text: str) -> float:
    kind = DIMENSIONS[dimension]
    if not unit:
        if dimension == "ratio":
            return number
        shown = kind.example if dimension == "mm2" else f"{text} {kind.example.split(' ')[-1]}"
        raise _UnreadableError(
            "N001",
            f"`{text}` has no unit; {kind.called} is wanted",
            f"write the unit, as in `{shown}`",
        )
    known = find_unit(unit) or find_unit_of_any_case(unit, dimension)
    if known is not None:
        if known.dimension != dimension:
            raise _wrong_dimension(text, known.dimension, dimension)
        return known.convert(number)
    if unit[0] in "mM" and (
        near := find_unit_of_any_case(unit[0].swapcase() + unit[1:], dimension)
    ):
        raise _no_such_unit(text, unit, f"did you mean `{number:g} {near.name}`?")
    rare = convert_rare_unit(number, unit, dimension)
    if isinstance(rare, float):
        return rare
    if rare is not None:
        raise _UnreadableError(
            "N003",
            f"`{text}`: `{unit}` does not measure {kind.called}, which is wanted here",
            f"write it as in `{kind.example}`",
        )
    names = [u.name for u in unit_table().values() if u.dimension == dimension]
    name = did_you_mean(unit, names)
    cure = f"did you mean `{number:g} {name}`?" if name else f"write it as in `{kind.example}`"
    raise _no_such_unit(text, unit, cure)


def _wrong_dimension(text: str, got: str, wanted: str) -> _UnreadableError:
    kind = DIMENSIONS[wanted]
    return _UnreadableError(
        "N003",
        f"`{text}` is {DIMENSIONS[got].called}, but {kind.called} is wanted here",
        f"write it as in `{kind.example}`",
    )


def _no_such_unit(text: str, unit: str, fix: str) -> _UnreadableError:
    return _UnreadableError("N002", f"`{text}`: there is no unit `{unit}`", fix)


def _unread(text: str, dimension: str) -> _UnreadableError:
    kind = DIMENSIONS[dimension]
    fix = f"write a number and its unit, as in `{kind.example}`"
    if _DASH_RANGE.search(text):
        pointed = _DASH_RANGE.sub(r"\1..\2", text)
        fix = f"a range has two points: `{pointed}`"
    return _UnreadableError("N005", f"`{text}` cannot be read as {kind.called}", fix)


def _check_bounds(text: str, found: Interval, dimension: str, least: float | None) -> None:
    for value in (found.low, found.typ, found.high):
        if not math.isfinite(value) or abs(value) > LARGEST:
            raise _UnreadableError(
                "N006",
                f"`{text}` is larger than anything in a cell",
                "check the number and the letter in front of the unit",
            )
        if least is not None and value < least:
            kind = DIMENSIONS[dimension]
            raise _UnreadableError(
                "N007",
                f"`{text}` goes below {format_quantity(least, dimension)}, "
                f"the least {kind.called} can be here",
                f"write it as in `{kind.example}`",
            )


_PREFIXES = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}


def format_quantity(value: float, dimension: str, *, digits: int = 3) -> str:
    """Return a value as a person writes it, as in `2.7 kΩ`, `0.34 mm²` or `6.7 V`.

    Args:
        value: number in the dimension's own unit.
        dimension: key of `DIMENSIONS`.
        digits: significant digits that are kept; digits before the point are never dropped.
    """
    kind = DIMENSIONS[dimension]
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "no limit"
    power = _power(value, kind.prefixes, digits)
    number = _round(value / 10.0**power, digits)
    return f"{number} {_PREFIXES[power]}{kind.symbol}".rstrip()


def format_interval(value: Interval, dimension: str, *, digits: int = 3) -> str:
    """Return a value with its tolerance as a range, as in `2.5..3.5 V`."""
    low = format_quantity(value.low, dimension, digits=digits)
    high = format_quantity(value.high, dimension, digits=digits)
    if low == high:
        return high
    low_number, _, low_unit = low.partition(" ")
    return f"{low_number}..{high}" if low_unit == high.partition(" ")[2] else f"{low}..{high}"


def format_plain(value: float, unit: str = "", *, decimals: int = 2) -> str:
    """Return a number with fixed decimals, without a minus before what rounds to nothing."""
    return f"{round(value, decimals) + 0.0:.{decimals}f} {unit}".rstrip()


def format_between(low: float, high: float, unit: str, *, decimals: int = 2) -> str:
    """Return a range as in `6.81 to 9.00 A`; as one value where both ends read the same."""
    first, last = (format_plain(v, decimals=decimals) for v in (low, high))
    return f"{last} {unit}" if first == last else f"{first} to {last} {unit}"


def _power(value: float, prefixes: tuple[int, ...], digits: int) -> int:
    """Return the largest power of ten that leaves at least 1 before the point."""
    if value == 0:
        return 0
    rounded = abs(float(f"{value:.{digits - 1}e}"))
    return max((p for p in prefixes if rounded >= 10.0**p * (1 - 1e-12)), default=min(prefixes))


def _round(value: float, digits: int) -> str:
    if value == 0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{min(decimals, 12)}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in {"-0", ""} else text
