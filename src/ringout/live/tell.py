"""Live events as JSON for a stream, and as lines for a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from ringout.cell.model import Cell, Signal
from ringout.live.actions import Action, Answered, Asked, StepEvent, Unasked
from ringout.live.judge import RIGHT, SKIPPED, Answer, evidence
from ringout.live.poll import Change, Connection, Pace
from ringout.live.watcher import Key, LiveEvent, Settled, Standing

AnyEvent = LiveEvent | StepEvent


class Teller:
    """Puts events into words and JSON.

    Args:
        cell: the cell.
        begin_s: the moment that counts as 0, of the events' clock.
    """

    def __init__(self, cell: Cell, begin_s: float) -> None:
        self.begin_s = begin_s
        self.signals: dict[Key, Signal] = cell.signal_of_channel()

    def name(self, key: Key) -> str:
        """Return channel and signal, as in `K1.I4 lid_on_cup`."""
        channel = f"{key[0]}.{key[1]}"
        return f"{channel} {self.signals[key].name}" if key in self.signals else channel

    def json(self, event: AnyEvent) -> dict[str, Any]:
        """Return an event as JSON values; `kind` says which, see docs/json.md."""
        at: dict[str, Any] = {"kind": _KINDS[type(event)], "at_s": self._at(event.at_s)}
        if isinstance(event, Connection):
            on = [c for c, level in event.levels if level]
            said = {"up": event.up, "text": event.text, "cure": event.cure, "on": on}
            off = [c for c, level in event.levels if not level]
            return {**at, "item": event.item, **said, "off": off}
        if isinstance(event, Change):
            return {**at, **self._input((event.item, event.channel)), "on": event.on}
        if isinstance(event, Settled):
            moved = {"changes": event.changes, "span_s": round(event.span_s, 4)}
            return {**at, **self._input((event.item, event.channel)), "on": event.on, **moved}
        if isinstance(event, Pace):
            return {**at, "item": event.item, "slow": event.slow, "gap_s": round(event.gap_s, 4)}
        if isinstance(event, Standing):
            told = {"what": event.kind, "holds": event.holds, "text": event.text}
            return {**at, **told, "cure": event.cure, "inputs": self._inputs(event.channels)}
        if isinstance(event, Unasked):
            return {**at, "changes": self._changes(event.changes)}
        step = {**at, "step": event.step, "of": event.of, **_action(event.action)}
        if isinstance(event, Asked):
            wanted = [{**self._input(k), "on": on} for k, on in event.action.wanted.items()]
            return {**step, "text": event.action.ask, "wanted": wanted}
        answer = event.answer
        return {
            **step,
            "verdict": answer.verdict,
            "right": answer.verdict == RIGHT,
            "text": answer.text,
            "inputs": [
                {**self._input(k), "on": on, "changes": answer.counts[k]}
                for k, on in answer.changed
            ],
            "span_s": round(answer.span_s, 4),
            "exchanged": [[f"{i}.{c}" for i, c in pair] for pair in answer.exchanged],
            "seen": list(answer.seen),
        }

    def lines(self, event: AnyEvent, *, guided: bool = False) -> Iterator[str]:
        """Yield the lines a person reads; single changes are left out of a guided checkout."""
        stamp = f"{self._at(event.at_s):9.3f} s  "
        if isinstance(event, Connection):
            on = ", ".join(c for c, level in event.levels if level)
            yield stamp + event.text + (f"; on: {on}" if on else "")
            if event.cure:
                yield f"{'':13}{event.cure}"
        elif isinstance(event, Change):
            if not guided:
                yield f"{stamp}{self._level((event.item, event.channel), on=event.on)}"
        elif isinstance(event, Settled):
            if event.changes > 1 and not guided:
                name = self.name((event.item, event.channel))
                span = f"{event.span_s * 1000:.0f} ms"
                yield f"{stamp}{name} changed {event.changes} times within {span}: bounce"
        elif isinstance(event, Standing):
            yield f"{stamp}{'!' if event.holds else 'over:'} {event.text}"
            if event.holds and event.cure:
                yield f"{'':13}{event.cure}"
        elif isinstance(event, Unasked):
            moved = (self._level((c.item, c.channel), on=c.on) for c in event.changes)
            yield f"Moved without being asked: {', '.join(moved)}"
        elif isinstance(event, Asked):
            yield f"{event.step}/{event.of}  {event.action.ask}"
        elif isinstance(event, Answered):
            answer = event.answer
            mark = "right" if answer.verdict == RIGHT else answer.verdict.upper()
            yield f"  {mark}: {answer.text}"

    def _at(self, at_s: float) -> float:
        return round(at_s - self.begin_s, 4)

    def _input(self, key: Key) -> dict[str, Any]:
        signal = self.signals[key].name if key in self.signals else None
        return {"item": key[0], "channel": key[1], "signal": signal}

    def _inputs(self, keys: Iterable[Key]) -> list[dict[str, Any]]:
        return [self._input(k) for k in keys]

    def _changes(self, changes: Iterable[Change]) -> list[dict[str, Any]]:
        return [{**self._input((c.item, c.channel)), "on": c.on} for c in changes]

    def _level(self, key: Key, *, on: bool) -> str:
        return f"{self.name(key)} {'on' if on else 'off'}"


def finished(answers: Sequence[Answer]) -> dict[str, Any]:
    """Return the end of a led checkout as JSON values: how many were wrong, and what was seen."""
    skipped = sum(a.verdict == SKIPPED for a in answers)
    right = sum(a.verdict == RIGHT for a in answers)
    counts = {"actions": len(answers), "wrong": len(answers) - right - skipped}
    return {"kind": "finished", **counts, "left_out": skipped, "seen": evidence(answers)}


_KINDS = {
    Connection: "connection",
    Change: "change",
    Settled: "settled",
    Pace: "pace",
    Standing: "standing",
    Unasked: "unasked",
    Asked: "asked",
    Answered: "answered",
}


def _action(action: Action) -> dict[str, str]:
    return {"actor": action.actor, "position": action.position}
