"""What a meter showed, in words or numbers, to the values that agree with it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from ringout.base.dimension import find_unit, find_unit_of_any_case
from ringout.find.words.sentence import UnclearError
from ringout.tables.meters import beeps_below_ohm, reading_error

OPEN_FROM_OHM = 1e6  # what people call open; meters differ in where they give up, common practice
OPEN_ABOVE_OHM = 2e6  # a prediction above this is `open`
LEADS_OHM = 0.5  # leads and touch add up to this to a small resistance, common practice
NOTHING_V = 0.5  # "no voltage" is said up to here, common practice
ABOUT = 0.1  # "about" means so much more or less
COUNTS = 2000  # a plain meter's display ends at 1999, common practice
_LOWEST_RANGE = {"volts": 0.2, "ohms": 200.0}

OPEN, BEEPS, NO_BEEP, NO_VOLTS = "open", "beeps", "no beep", "no voltage"
READINGS = {
    **dict.fromkeys(
        ("open", "ol", "o.l", "overload", "infinite", "infinity", "an open", "open circuit"),
        OPEN,
    ),
    **dict.fromkeys(
        ("beeps", "beep", "beeping", "rings", "continuity", "has continuity", "closed", "short",
         "shorted", "a short", "short circuit", "good continuity"),
        BEEPS,
    ),
    **dict.fromkeys(
        ("no beep", "does not beep", "doesn't beep", "not beeping", "no continuity",
         "does not ring", "not continuous"),
        NO_BEEP,
    ),
    **dict.fromkeys(
        ("no voltage", "no volts", "nothing", "dead", "no volt", "no power", "zero", "zero volts"),
        NO_VOLTS,
    ),
}  # fmt: skip
_NUMBER = r"(?:(?P<sign{n}>[+-]|minus|plus)\s*)?(?P<num{n}>\d+(?:\.\d+)?|\.\d+)"
_ONE = re.compile(_NUMBER.format(n=1) + r"\s*(?P<unit>\S.*)?", re.IGNORECASE)
_TWO = re.compile(
    _NUMBER.format(n=1)
    + r"\s*(?P<unit1>[^\W\d_]+)?\s*(?:\.\.|…|\bto\b|\band\b|-)\s*"
    + _NUMBER.format(n=2)
    + r"\s*(?P<unit>\S.*)?",
    re.IGNORECASE,
)
_LETTER_CODE = re.compile(r"(\d+)([RrkKM])(\d+)")  # IEC 60062: 4k7
_COMMA = re.compile(r"(\d+),(\d+)")
_HEDGES = (
    ("about", re.compile(r"(?:about|around|approximately|approx\.?|roughly|circa|ca\.?|some|nearly"
                         r"|almost|~)\s*(?=\S)", re.IGNORECASE)),
    ("over", re.compile(r"(?:over|above|more\s+than|at\s+least|greater\s+than|>=?)\s*",
                        re.IGNORECASE)),
    ("under", re.compile(r"(?:under|below|less\s+than|at\s+most|up\s+to|not\s+more\s+than|<=?)\s*",
                         re.IGNORECASE)),
    ("", re.compile(r"(?:between|from)\s+", re.IGNORECASE)),
)  # fmt: skip
_AFTER = (
    ("about", re.compile(r"\s+(?:or\s+so|more\s+or\s+less)$", re.IGNORECASE)),
    ("over", re.compile(r"\s+(?:(?:or|and)\s+more|to\s+open)$", re.IGNORECASE)),
    ("under", re.compile(r"\s+(?:or|and)\s+less$", re.IGNORECASE)),
)
_OHM_WORDS = {"meg": 1e6, "m": 1e6, "megohm": 1e6, "megohms": 1e6, "kilohm": 1e3, "kilohms": 1e3}
_SYMBOLS = {
    ("volts", 1.0): "V", ("volts", 1e-3): "mV", ("volts", 1e-6): "µV", ("volts", 1e3): "kV",
    ("ohms", 1.0): "Ω", ("ohms", 1e3): "kΩ", ("ohms", 1e6): "MΩ", ("ohms", 1e-3): "mΩ",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Shown:
    """What a meter showed.

    Args:
        quantity: `volts` or `ohms`.
        low: lowest value that agrees with it.
        high: highest such value.
        typ: the number said, or the end of a range that is farthest from nothing.
        words: it in the tool's own words.
    """

    quantity: str
    low: float
    high: float
    typ: float
    words: str


@dataclass(frozen=True, slots=True)
class _Number:
    """One number with its unit: value, weight of its last digit, and as it is written."""

    value: float
    digit: float
    text: str
    quantity: str
    symbol: str


def read_value(text: str, place: tuple[int, int], meter: str = "") -> Shown:
    """Read what a meter showed.

    Args:
        text: `0.4 V`, `1..2 V`, `about 18 V`, `over 20 V`, `4.7 k`, `open`, `beeps` ...
        place: where it stands.
        meter: `lowz` for a loaded tester.

    Returns:
        The values that agree with it: half the last digit said, plus what the meter may be off.

    Raises:
        UnclearError: it is nothing a meter shows between two places, or its unit is missing.

    Source:
        common practice
    """
    said = " ".join(text.split())
    word = READINGS.get(said.casefold())
    if word is not None:
        return _in_words(word)
    hedge, bare = _hedge(_points(said, place))
    two = _TWO.fullmatch(bare)
    if two is not None:
        return _range(two, said, place, meter)
    return _single(hedge, _number(bare, said, place), meter)


def _in_words(word: str) -> Shown:
    if word == OPEN:
        return Shown("ohms", OPEN_FROM_OHM, math.inf, math.inf, word)
    if word == BEEPS:
        return Shown("ohms", 0.0, beeps_below_ohm(), 0.0, word)
    if word == NO_BEEP:
        return Shown("ohms", beeps_below_ohm(), math.inf, math.inf, word)
    return Shown("volts", -NOTHING_V, NOTHING_V, 0.0, word)


def _points(said: str, place: tuple[int, int]) -> str:
    """Return the text with decimal commas as points, where they can be nothing else."""
    comma = _COMMA.search(said)
    if comma is not None and len(comma[2]) == 3 and comma[1].strip("0"):
        pointed = said.replace(",", ".")
        raise UnclearError(
            "N317",
            f"`{said}`: is the comma a decimal point or does it part thousands?",
            place,
            f"write `{pointed}` or `{said.replace(',', '')}`",
        )
    return _COMMA.sub(r"\1.\2", said)


def _hedge(text: str) -> tuple[str, str]:
    hedge, found = "", True
    while found:
        found = False
        for word, pattern in (*_HEDGES, *_AFTER):
            m = pattern.match(text) if (word, pattern) in _HEDGES else pattern.search(text)
            if m is not None:
                text = (text[: m.start()] + text[m.end() :]).strip()
                hedge, found = word or hedge, True
    return hedge, text


def _number(text: str, said: str, place: tuple[int, int], unit: str = "") -> _Number:
    code = _LETTER_CODE.fullmatch(text)
    if code is not None:
        text = f"{code[1]}.{code[3]} {'ohm' if code[2] in 'Rr' else code[2].replace('K', 'k')}"
    m = _ONE.fullmatch(text)
    if m is None:
        raise UnclearError(
            "N316",
            f"`{said}` is nothing a meter shows",
            place,
            "say it as in `0.4 V`, `1..2 V`, `4.7 kΩ`, `open` or `beeps`",
        )
    return _with_unit(m["sign1"], m["num1"], m["unit"] or unit, said, place)


def _with_unit(
    sign: str | None, number: str, unit: str | None, said: str, place: tuple[int, int]
) -> _Number:
    if not unit:
        raise UnclearError(
            "N317",
            f"`{said}`: volts or ohms?",
            place,
            f"write the unit, as in `{said} V` or `{said} Ω`",
        )
    quantity, factor = _unit(unit, said, place)
    minus = "-" if sign and sign.casefold() in ("-", "minus") and float(number) else ""
    if minus and quantity == "ohms":
        raise UnclearError("N318", f"`{said}`: no resistance is below nothing", place, "")
    decimals = len(number.partition(".")[2])
    value = float(minus + number) * factor
    symbol = _SYMBOLS[quantity, factor]
    if number.startswith("."):
        number = f"0{number}"
    return _Number(value, 10.0**-decimals * factor, minus + number, quantity, symbol)


def _unit(unit: str, said: str, place: tuple[int, int]) -> tuple[str, float]:
    word = " ".join(unit.split())
    for quantity in ("volts", "ohms"):
        found = find_unit_of_any_case(word, quantity)
        if found is not None and (quantity, found.factor) in _SYMBOLS:
            return quantity, found.factor
    if word.casefold() in _OHM_WORDS and word != "m":
        return "ohms", _OHM_WORDS[word.casefold()]
    other = find_unit(word)
    fix = "a look is told in volts or ohms, as in `0.4 V`, `4.7 kΩ`, `open` or `beeps`"
    if other is not None and other.dimension == "amps":
        fix = "currents are not asked for: tell the volts between two terminals"
    if word.casefold().replace(" ", "") in ("vac", "v~", "v a.c."):
        fix = "only direct voltage is solved: set the meter to DC"
    message = f"`{said}` is nothing a meter shows between two places"
    raise UnclearError("N318", message, place, fix)


def _error(number: _Number, meter: str) -> float:
    """Return how far a usual meter may be off at this reading, in V or ohm."""
    kind = "ohms" if number.quantity == "ohms" else "lowz" if meter == "lowz" else "volts"
    least = _LOWEST_RANGE[number.quantity]
    size = max(abs(number.value) / 2, least / 2)
    digit = 2 * 10.0 ** math.ceil(math.log10(size) - 1e-9) / COUNTS
    return reading_error(kind, number.value, digit)


def _ohms(low: float, high: float) -> tuple[float, float]:
    low = max(0.0, low - LEADS_OHM) if low < OPEN_ABOVE_OHM else OPEN_FROM_OHM
    return low, (math.inf if high >= OPEN_ABOVE_OHM else high)


def _single(hedge: str, number: _Number, meter: str) -> Shown:
    error, value = _error(number, meter), number.value
    if hedge == "over":
        low, high = value - error, math.inf
    elif hedge == "under":
        # people say "under 1 V" of small negative readings too
        low, high = min(0.0, -min(abs(value), 1.0)) - error, value + error
    else:
        reach = number.digit / 2 + error
        if hedge == "about":
            reach = max(ABOUT * abs(value), number.digit) + error
        low, high = value - reach, value + reach
    if number.quantity == "ohms":
        low, high = _ohms(low, high)
    words = f"{hedge} {number.text} {number.symbol}".strip()
    return Shown(number.quantity, low, high, value, words)


def _range(m: re.Match[str], said: str, place: tuple[int, int], meter: str) -> Shown:
    last = _with_unit(m["sign2"], m["num2"], m["unit"], said, place)
    first = _with_unit(m["sign1"], m["num1"], m["unit1"] or m["unit"], said, place)
    if first.quantity != last.quantity:
        raise UnclearError("N318", f"`{said}`: volts and ohms in one reading", place, "")
    low, high = sorted((first, last), key=lambda n: n.value)
    ends = low.value - _error(low, meter), high.value + _error(high, meter)
    if low.quantity == "ohms":
        ends = _ohms(*ends)
    same = low.symbol == high.symbol
    words = f"{low.text}{'' if same else ' ' + low.symbol} to {high.text} {high.symbol}"
    typ = max(low.value, high.value, key=abs)
    return Shown(low.quantity, ends[0], ends[1], typ, words)
