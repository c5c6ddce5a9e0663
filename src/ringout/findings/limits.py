"""What voltage counts as on and as off at a channel or a driven load."""

from __future__ import annotations

from dataclasses import dataclass

from ringout.cell.model import Signal
from ringout.cell.part import ElementSpec
from ringout.circuit.curves import inverse
from ringout.circuit.model import HIGH, LOW, Circuit
from ringout.tables.inputs import input_limits

LOAD_WORKS_FROM_V = 20.4  # 24 V - 15 %, iec-61131-2 supply range
LOAD_OFF_BELOW_V = 2.4  # a tenth of 24 V: usual release of coils, common practice
LAMP_SHOWS_FROM_A = 0.0003  # an LED can be seen from well under 1 mA, common practice


@dataclass(frozen=True, slots=True)
class Limits:
    """Levels in volts: surely on from `on_v`, surely off up to `off_v`; None when unknown."""

    on_v: float | None
    off_v: float | None
    max_v: float | None
    source: str


def limits_of(circuit: Circuit, signal: Signal, element: int) -> Limits:
    """Return the limits a signal is judged by.

    Current limits are turned into voltages on the element's own curve, which is exact
    because its current rises with its voltage.

    Args:
        circuit: compiled cell.
        signal: the signal.
        element: index of the element its level is measured across.

    Source:
        iec-61131-2
    """
    spec = circuit.elements[element].spec
    assert spec is not None
    if signal.on is None:
        return _load_limits(circuit, spec, element)
    values = signal.channel.values
    if signal.channel.limits == "own":
        on_v, off_v = _typ(values, "on_v"), _typ(values, "off_v")
        on_a, off_a = _typ(values, "on_a"), _typ(values, "off_a")
        if off_a is not None:
            at = _volts_at(circuit, element, off_a, HIGH)
            off_v = at if off_v is None else min(off_v, at)
        source = circuit.cell.items[signal.item].part.source
    else:
        rated = input_limits(signal.channel.limits)
        on_v, off_v, on_a = rated.on_v, rated.off_v, rated.on_a
        # the standard guarantees a 0 below its current limit even above 5 V
        at = _volts_at(circuit, element, rated.off_a, HIGH)
        off_v = max(off_v, min(at, rated.off_with_current_v))
        on_v = values["on_v"].typ if "on_v" in values else on_v
        off_v = values["off_v"].typ if "off_v" in values else off_v
        source = "iec-61131-2"
    if on_a is not None and on_v is not None:
        at = _volts_at(circuit, element, on_a, LOW)
        on_v = max(on_v, at) if at < 60.0 else on_v
    return Limits(on_v, off_v, _typ(values, "max_v"), source)


def _typ(values: object, key: str) -> float | None:
    found = values.get(key) if hasattr(values, "get") else None
    return None if found is None else float(found.typ)


def _volts_at(circuit: Circuit, element: int, amps: float, corner: int) -> float:
    curve = circuit.network.curves.curves[int(circuit.on_curve[corner, element])]
    return inverse(curve, amps)


def _load_limits(circuit: Circuit, spec: ElementSpec, element: int) -> Limits:
    v = spec.values
    part = circuit.cell.items[circuit.elements[element].item].part
    works = v.get("works_from") or v.get("pulls_in")
    off = v.get("off_below") or v.get("releases")
    on_v = works.high if works else LOAD_WORKS_FROM_V
    if off is not None:
        off_v = off.low
    elif spec.kind == "lamp":
        shows = v["shows_from"].low if "shows_from" in v else LAMP_SHOWS_FROM_A
        off_v = _volts_at(circuit, element, shows, HIGH)
    else:
        off_v = LOAD_OFF_BELOW_V
    max_v = v["max_v"].low if "max_v" in v else None
    return Limits(on_v, off_v, max_v, part.source)
