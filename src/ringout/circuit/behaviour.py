"""What an element of a part does: its current-voltage curves, with tolerance, by kind."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

from ringout.base import Interval
from ringout.circuit import curves as cv
from ringout.circuit.curves import Curve

# Defaults where a part file is silent. Source: common practice unless noted.
CONTACT_CLOSED_OHM = Interval(0.0, 0.02, 0.1)  # new under 50 mOhm, ageing to 100 mOhm
MATED_CONTACT_OHM = Interval(0.0, 0.005, 0.01)  # iec-61076-2-101: 10 mOhm limit
CLAMP_OHM = Interval(0.0, 0.001, 0.005)
DIODE_FORWARD_V = Interval(0.6, 0.75, 1.1)
DIODE_OHM = Interval(0.02, 0.05, 0.1)
OUTPUT_OHM = Interval.exact(0.1)
LED_FORWARD_V = Interval(1.7, 2.0, 3.3)
LED_NOMINAL_V = Interval.exact(24.0)
LEAK_KNEE_V = Interval.exact(1.0)
LOAD_KNEE_V = Interval.exact(5.0)
FUSE_OHM = Interval(0.005, 0.02, 0.05)
BREAKER_OHM = Interval(0.005, 0.05, 0.1)
PROTECTION_OHM = Interval(0.01, 0.03, 0.06)
PROTECTION_HOLDS = 1.5  # times the set current, WE-31
BOND_OHM = Interval.exact(0.001)
RUNAWAY_V = 200.0
BLOCKED_S = 1e-5  # electronics fed the wrong way round still pass this; keeps points held
LEAST_OHM = 0.0005  # a joint is never better; keeps the circuit well scaled

Values = Mapping[str, Interval]
Maker = Callable[..., Curve]


@dataclass(frozen=True, slots=True)
class Behaviour:
    """Curves of one element: lowest, typical and highest current at every voltage."""

    low: Curve
    typ: Curve
    high: Curve

    @staticmethod
    def fixed(curve: Curve) -> Behaviour:
        """Return the behaviour without tolerance."""
        return Behaviour(curve, curve, curve)


def envelope(make: Maker, *values: Interval) -> Behaviour:
    """Return the behaviour of `make` when each value lies anywhere in its interval.

    The curve is monotone in each value at every voltage, so the envelope of the corner
    curves is the envelope of all.
    """
    typ = make(*(v.typ for v in values))
    sides = [(v.low,) if v.low == v.high else (v.low, v.high) for v in values]
    corners = [make(*corner) for corner in product(*sides)]
    if len(corners) == 1:
        return Behaviour(corners[0], typ, corners[0])
    return Behaviour(cv.lower(corners), typ, cv.upper(corners))


@lru_cache(maxsize=1024)
def joined(first: Behaviour, second: Behaviour) -> Behaviour:
    """Return the behaviour that may be either one (a switch nobody has looked at)."""
    if first == second:
        return first
    low = cv.lower([first.low, second.low])
    return Behaviour(low, first.typ, cv.upper([first.high, second.high]))


OPEN = Behaviour.fixed(cv.open_circuit())


@lru_cache(maxsize=4096)
def ohmic(ohm: Interval) -> Behaviour:
    """Return a resistance, never better than `LEAST_OHM`."""
    floor = Interval(*(max(v, LEAST_OHM) for v in (ohm.low, ohm.typ, ohm.high)))
    return envelope(cv.resistor, floor)


def _drop(v: Values) -> tuple[Behaviour, Behaviour]:
    body = v["body"].typ if "body" in v else None
    ohm = v.get("ohm", OUTPUT_OHM)
    limit = v.get("limit")
    if limit is None:
        on = envelope(lambda d, r: cv.drop(d, r, None, body), v["drop"], ohm)
    else:
        on = envelope(lambda d, r, m: cv.drop(d, r, m, body), v["drop"], ohm, limit)
    if body is None:
        return on, OPEN
    return on, Behaviour.fixed(cv.mirrored(cv.diode(body, DIODE_OHM.typ)))


def _leak(v: Values) -> Behaviour:
    return envelope(cv.constant_current, v["current"], v.get("knee", LEAK_KNEE_V))


def _load(v: Values) -> Behaviour:
    def make(current: float, knee: float) -> Curve:
        rise = [(knee, current)] if current > 0.0 else []
        return cv.points([(0.0, 0.0), *rise], BLOCKED_S, 0.0 if rise else BLOCKED_S)

    return envelope(make, v["current"], v.get("knee", LOAD_KNEE_V))


def _lamp(v: Values) -> Behaviour:
    reverse = v["reverse"].typ if "reverse" in v else None

    def make(current: float, forward: float, nominal: float) -> Curve:
        light = cv.lamp_led(forward, max(nominal - forward, 0.1) / current, reverse)
        return cv.parallel([light, cv.resistor(1.0 / BLOCKED_S)])

    forward = v.get("volts", LED_FORWARD_V)
    return envelope(make, v["current"], forward, v.get("nominal", LED_NOMINAL_V))


def _source(v: Values) -> Behaviour:
    ohm = v["ohm"]
    if "limit" not in v:
        return envelope(cv.source, v["volts"], ohm)
    return envelope(cv.source, v["volts"], ohm, v["limit"])


def _protection(v: Values) -> Behaviour:
    limit = v["set"].scaled(PROTECTION_HOLDS)
    return envelope(cv.limited, v.get("ohm", PROTECTION_OHM), limit)


@lru_cache(maxsize=4096)
def behave(kind: str, values: tuple[tuple[str, Interval], ...]) -> tuple[Behaviour, Behaviour]:
    """Return what an element does while it conducts and while it does not.

    Args:
        kind: a key of the part room's `ELEMENT_KINDS`.
        values: its values in SI units by name, in any fixed order.

    Returns:
        Conducting and idle behaviour, both between tail and head.

    Raises:
        KeyError: `kind` is unknown (a programmer's error: the part reader checks it).
    """
    v = dict(values)
    if kind == "drop":
        return _drop(v)
    makers: dict[str, Callable[[], Behaviour]] = {
        "resistance": lambda: ohmic(v["ohm"]),
        "contact": lambda: ohmic(v.get("closed", CONTACT_CLOSED_OHM)),
        "diode": lambda: envelope(
            cv.diode, v.get("volts", DIODE_FORWARD_V), v.get("ohm", DIODE_OHM)
        ),
        "clamp": lambda: envelope(
            lambda f, b: cv.clamp(f, b, DIODE_OHM.typ),
            v.get("forward", DIODE_FORWARD_V),
            v["volts"],
        ),
        "leak": lambda: _leak(v),
        "load": lambda: _load(v),
        "lamp": lambda: _lamp(v),
        "coil": lambda: ohmic(v["ohm"]),
        "source": lambda: _source(v),
        "fuse": lambda: ohmic(v.get("ohm", FUSE_OHM)),
        "breaker": lambda: ohmic(v.get("ohm", BREAKER_OHM)),
        "protection": lambda: _protection(v),
        "bond": lambda: ohmic(v.get("ohm", BOND_OHM)),
    }
    return makers[kind](), OPEN


def held_current(current_a: float) -> Curve:
    """Return a coil at the instant of switching off: it keeps its current at any voltage.

    Beyond `RUNAWAY_V`, where every semiconductor has long broken down, it gives way, so that a
    coil nothing takes the current of stands there instead of at millions of volts.
    """
    flat = cv.MIN_SLOPE_S
    return Curve((-RUNAWAY_V, RUNAWAY_V), (0.1, flat, 0.1), current_a - flat * RUNAWAY_V)
