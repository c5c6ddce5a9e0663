"""What is stored with a run: its steps with all they expect and expose, and what the file said."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields, is_dataclass
from pathlib import PurePath
from typing import Any

from ringout.base import Span
from ringout.cell.model import Cell
from ringout.cell.part import Part
from ringout.checkout import Checkout, Step
from ringout.checkout.model import FUNCTION, fault_mark

LIVE_KIND = "live"
_WORDS = ("title", "use", "mistakes", "source", "span")  # of a part; they change no circuit


@dataclass(frozen=True, slots=True)
class RunStep:
    """One step as it was planned.

    Args:
        number: its number in the run, from 1.
        key: what is looked at, where and in which state; the same in every revision of the file.
        phase: `dead`, `power` or `function`.
        kind: `ohms`, `volts`, `inputs`, `load`, or `live` for the controller's own inputs.
        do: the instruction.
        expect: what must be seen, in words.
        low: lowest good reading, as printed; None for a look.
        high: highest, `inf` for open; None for a look.
        unit: `ohm`, `V` or empty.
        levels: for a look (name, what must be seen).
        if_not: what anything else means.
        caught: marks of the faults the step exposes.
        kept: it was right in the run this one goes on from, and nothing about it changed.
    """

    number: int
    key: str
    phase: str
    kind: str
    do: str
    expect: str
    low: float | None
    high: float | None
    unit: str
    levels: tuple[tuple[str, str], ...]
    if_not: str
    caught: tuple[str, ...]
    kept: bool = False


def run_steps(checkout: Checkout) -> tuple[RunStep, ...]:
    """Return the steps of a procedure as they are stored.

    Args:
        checkout: the procedure.
    """
    return tuple(_step(n, s) for n, s in enumerate(checkout.steps, 1))


def _step(number: int, step: Step) -> RunStep:
    return RunStep(
        number=number,
        key=step.key,
        phase=step.phase,
        kind=step.kind,
        do=f"{step.do}.",
        expect=step.expect,
        low=None if math.isnan(step.low) else step.low,
        high=None if math.isnan(step.high) else step.high,
        unit=step.unit,
        levels=step.levels,
        if_not=step.if_not,
        caught=tuple(sorted(map(fault_mark, step.caught))),
        kept=step.kept,
    )


def live_steps(actions: Sequence[tuple[str, str, str]]) -> tuple[RunStep, ...]:
    """Return the steps of a checkout that the controller's own inputs judge.

    Args:
        actions: (what is moved and where to, the request, what must change) of each step.
    """
    return tuple(
        RunStep(n, f"live {moved}", FUNCTION, LIVE_KIND, do, expect, None, None, "", (), "", ())
        for n, (moved, do, expect) in enumerate(actions, 1)
    )


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What a cell file said, as far as it makes a difference to the circuit.

    Args:
        revision: of the file.
        ambient_c: lowest and highest ambient temperature.
        items: name to part, settings and a digest of the part's data.
        cables: name to part and length.
        joins: conductor to its two ends; the same conductor twice is numbered.
        signals: name to channel and rule.
    """

    revision: str
    ambient_c: tuple[float, float]
    items: Mapping[str, Mapping[str, str]]
    cables: Mapping[str, Mapping[str, str]]
    joins: Mapping[str, Mapping[str, str]]
    signals: Mapping[str, Mapping[str, str]]

    def to_json(self) -> str:
        """Return it as JSON, always the same for the same file."""
        return json.dumps(asdict(self), sort_keys=True, ensure_ascii=False, separators=(",", ":"))

    @staticmethod
    def from_json(text: str) -> Snapshot:
        """Return what `to_json` gave."""
        data: dict[str, Any] = json.loads(text)
        low, high = data["ambient_c"]
        return Snapshot(**{**data, "ambient_c": (low, high)})


def snapshot_of(cell: Cell) -> Snapshot:
    """Return what a cell file says.

    Args:
        cell: the cell.
    """
    items = {
        name: {
            "part": item.part.name,
            "settings": ", ".join(f"{k} {v}" for k, v in item.settings.items()),
            "data": _digest(item.part),
        }
        for name, item in cell.items.items()
    }
    cables = {
        name: {
            "part": cable.part.name,
            "length": f"{cable.length_m.typ:g} m",
            "data": _digest(cable.part),
        }
        for name, cable in cell.cables.items()
    }
    joins: dict[str, dict[str, str]] = {}
    for join in cell.joins:
        name, turn = join.conductor, 1
        while name in joins:
            turn += 1
            name = f"{join.conductor} ({turn})"
        size = f"{join.length_m:g} m, {join.area_mm2:g} mm2" if not join.cable else ""
        joins[name] = {"from": str(join.a), "to": str(join.b), "size": size}
    signals = {
        s.name: {
            "channel": s.channel_name,
            "rule": f"on while {s.on}" if s.on is not None else f"drives {s.drives}",
        }
        for s in cell.signals.values()
    }
    ambient = (float(cell.ambient_c.low), float(cell.ambient_c.high))
    return Snapshot(cell.revision, ambient, items, cables, joins, signals)


def _digest(part: Part) -> str:
    """Return a digest of what a part does, without its words and the places it was read from."""
    inside = {f.name: getattr(part, f.name) for f in fields(part) if f.name not in _WORDS}
    return hashlib.sha256(_plain(inside).encode()).hexdigest()[:12]


def _plain(value: Any) -> str:
    if isinstance(value, Span):
        return ""
    if is_dataclass(value):
        parts = (f"{f.name}={_plain(getattr(value, f.name))}" for f in fields(value))
        return f"{type(value).__name__}({';'.join(parts)})"
    if isinstance(value, Mapping):
        return "{" + ";".join(f"{_plain(k)}:{_plain(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ";".join(map(_plain, value)) + "]"
    if isinstance(value, set | frozenset):
        return "{" + ";".join(sorted(map(_plain, value))) + "}"
    return repr(value)


def file_name(cell: Cell) -> str:
    """Return the name of the cell file without its folder."""
    return PurePath(cell.files[0][0]).name if cell.files else ""
