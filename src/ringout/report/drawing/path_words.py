"""Words and signs of elements: what is written beside them, and how they are drawn."""

from __future__ import annotations

import math

from ringout.base import Interval
from ringout.base.quantity import format_interval, format_quantity
from ringout.cell.model import Item
from ringout.circuit.model import Circuit, Element, IntArray

# What moves an actor, by the actor's name in the part; others are drawn without an actuator.
ACTION = {
    "button": "push", "left": "push", "right": "push", "grip": "push", "foot": "push",
    "pedal": "push", "selector": "turn", "key": "turn", "mode": "turn", "lever": "cam",
    "plunger": "cam", "door": "cam", "piston": "near", "face": "near", "magnet": "near",
    "knife": "turn", "handle": "turn",
}  # fmt: skip
ZERO_A = 5e-7
_MORE = {"piston", "face", "beam", "field", "fork", "pressure", "vacuum"}


def amps_text(amps: float | None) -> str:
    """Return a current as a meter shows it, without sign."""
    if amps is None or math.isnan(amps):
        return "?"
    size = abs(amps)
    if size < ZERO_A:
        return "0"
    return format_quantity(size, "amps", digits=3 if size >= 1e-3 else 2)


def volts_text(volts: float | None) -> str:
    """Return a voltage with two places; nothing for None."""
    if volts is None:
        return ""
    if math.isnan(volts):
        return "?"
    return f"{volts:.2f} V".replace("-0.00 V", "0.00 V").replace("-", "−")


def symbol_of(element: Element, item: Item, *, channel: bool) -> str:
    """Return the name of an element's sign."""
    spec = element.spec
    if spec is None:
        return "load"
    if spec.kind == "contact":
        resting = not spec.when or _rest(item, spec.actor) in spec.when
        return "break" if resting and spec.when else "make"
    if channel and item.part.family == "controller" and spec.kind in ("load", "resistance"):
        return "input"
    return {"drop": "switch", "resistance": "resistor", "bond": "link"}.get(spec.kind, spec.kind)


def action_of(element: Element, item: Item) -> str:
    """Return how a contact or switch is moved."""
    spec = element.spec
    if spec is None or not spec.when:
        return ""
    if item.part.family == "sensor":
        return "near"
    if item.part.family == "relay":
        return "coil"
    if item.part.family == "controller":
        return "program"
    return ACTION.get(spec.actor, "")


def _rest(item: Item, actor: str) -> str:
    return item.part.actors[actor][0]


def words_of(
    circuit: Circuit, number: int, positions: IntArray, *, channel: str, conducts: bool
) -> list[str]:
    """Return the lines beside an element, without its current.

    Args:
        circuit: compiled cell.
        number: element.
        positions: (A,) settled positions.
        channel: name of the channel it is, if it is the one drawn.
        conducts: its conditions hold.
    """
    element = circuit.elements[number]
    spec = element.spec
    if spec is None:
        return []
    column = int(circuit.cond_actor[number, 0])
    where = ""
    if column >= 0 and spec.when:
        actor = circuit.actors[column]
        where = actor.positions[int(positions[column])]
    lines: list[str] = [channel] if channel else []
    if spec.kind == "contact":
        lines += [where] if where else []
        lines.append("closed" if conducts else "open")
    elif spec.kind == "drop":
        lines += [where] if where and where not in ("on", "off") else []
        lines.append("on" if conducts else "off")
    elif spec.kind in ("fuse", "breaker", "protection"):
        lines.append(
            ("set " if spec.kind == "protection" else "") + _setting(spec.values, spec.words)
        )
        if not conducts:
            lines.append("opened")
    elif not channel:
        lines += _value(spec.kind, spec.name, spec.values)
    return lines


def _setting(values: object, words: object) -> str:
    assert hasattr(values, "get")
    assert hasattr(words, "get")
    found = values.get("set") or values.get("rated")
    return f"{words.get('curve', '')} {format_quantity(found.typ, 'amps')}".strip()


def _value(kind: str, name: str, values: object) -> list[str]:
    assert hasattr(values, "get")

    def quantity(key: str, dimension: str) -> list[str]:
        found = values.get(key)
        if not isinstance(found, Interval):
            return []
        return [format_quantity(found.typ, dimension)]

    if kind in ("resistance", "coil"):
        return quantity("ohm", "ohms")
    if kind == "source":
        return quantity("volts", "volts")
    if kind == "clamp":
        found = values.get("volts")
        return [format_interval(found, "volts")] if isinstance(found, Interval) else []
    if kind == "leak":
        return ["leakage"]
    if kind == "load":
        return [{"own": "feed"}.get(name, name.replace("_", " "))]
    if kind == "lamp":
        return [name.replace("_", " ")]
    if kind == "bond":
        return ["bond"]
    return []
