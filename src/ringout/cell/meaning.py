"""Signals, expectations and acceptances: names in them resolved to channels, actors, places."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from ringout.base import Diagnostic, Interval, Related, Span
from ringout.base.collect import Collector
from ringout.base.quantity import parse_quantity
from ringout.base.suggest import did_you_mean
from ringout.cell.model import Accept, Actor, Condition, Expect, Item, Join, Position, Signal
from ringout.cell.part import Channel
from ringout.cell.places import Places
from ringout.cellfile import condition as written
from ringout.cellfile.expect import ExpectLine
from ringout.cellfile.statements import AcceptLine, SignalLine
from ringout.cellfile.tree import Node, Scalar
from ringout.cellfile.words import Word

SIGNAL_SETTINGS = ("filter", "shortest")


class Meaning(Collector):
    """Resolves what names mean; collects diagnostics.

    Args:
        items: items by name.
        actors: actors by name.
        places: finder of terminals and cores.
    """

    def __init__(
        self, items: Mapping[str, Item], actors: Mapping[str, Actor], places: Places
    ) -> None:
        self.items = items
        self.actors = actors
        self.places = places
        self.problems: list[Diagnostic] = []

    # -- conditions ------------------------------------------------------------------------

    def condition(self, found: written.Condition) -> Condition | None:
        """Return a condition with its actors resolved, or None with a diagnostic."""
        if isinstance(found, written.Is):
            position = self._position(found)
            return None if position is None else Condition("is", position)
        if isinstance(found, written.Not):
            inner = self.condition(found.inner)
            return None if inner is None else Condition("not", None, (inner,))
        parts = [self.condition(p) for p in found.parts]
        good = tuple(p for p in parts if p is not None)
        if len(good) < len(parts):
            return None
        return Condition("and" if isinstance(found, written.And) else "or", None, good)

    def _position(self, found: written.Is) -> Position | None:
        name, word = found.actor.text, found.position.text
        item = name.split(".")[0].split("-")[0].split(":")[0]
        if item in self.places.failed:
            return None
        if item not in self.items:
            near = did_you_mean(name, list(self.actors))
            fix = f"did you mean `{near}`?" if near else "give it a line under `items:`"
            self._error("N302", f"there is no item {item}", found.actor.span, fix)
            return None
        mine = {a.name: a for a in self.actors.values() if a.item == item}
        if name in mine:
            mine = {name: mine[name]}
        elif name != item:
            near = did_you_mean(name, list(mine))
            fix = f"did you mean `{near}`?" if near else f"it has {', '.join(mine) or 'none'}"
            self._error(
                "N307", f"{item} has nothing called {name} that moves", found.actor.span, fix
            )
            return None
        having = [a for a in mine.values() if word in a.positions]
        if len(having) == 1:
            return Position(having[0].name, word, found.span)
        if len(having) > 1:
            self._error(
                "N307",
                f"several parts of {item} can be `{word}`",
                found.actor.span,
                f"say which one: {', '.join(a.name for a in having[:6])}",
            )
            return None
        every = [p for a in mine.values() for p in a.positions]
        near = did_you_mean(word, every)
        fix = (
            f"did you mean `{near}`?"
            if near
            else f"{item} can be {', '.join(dict.fromkeys(every))}"
            if every
            else f"{self.items[item].part.name} has nothing that moves"
        )
        self._error("N307", f"{name} is never `{word}`", found.position.span, fix)
        return None

    # -- signals ---------------------------------------------------------------------------

    def signals(self, lines: Iterable[SignalLine]) -> dict[str, Signal]:
        """Return signals by name."""
        out: dict[str, Signal] = {}
        taken: dict[tuple[str, str], Signal] = {}
        for line in lines:
            signal = self._signal(line)
            if signal is None:
                continue
            first = out.get(signal.name)
            if first is not None:
                self._error(
                    "N308",
                    f"the name {signal.name} is used twice",
                    line.name.span,
                    "give each signal a name of its own",
                    (Related("first", signal.name, first.span),),
                )
                continue
            other = taken.get((signal.item, signal.channel.name))
            if other is not None:
                self._error(
                    "N311",
                    f"channel {signal.channel_name} already has the signal {other.name}",
                    signal.channel_span,
                    "one channel carries one signal",
                    (Related("first", other.name, other.channel_span),),
                )
                continue
            out[signal.name] = signal
            taken[(signal.item, signal.channel.name)] = signal
        return out

    def _channel(self, text: str, span: Span) -> tuple[str, Channel] | None:
        name, _, key = text.partition(".")
        item = self.places.item(name, span)
        if item is None:
            return None
        channel = item.part.channels.get(key)
        if channel is None:
            every = [f"{name}.{c}" for c in item.part.channels]
            near = did_you_mean(text, every)
            shown = ", ".join(every[:8]) + (" ..." if len(every) > 8 else "")
            fix = (
                f"did you mean `{near}`?"
                if near
                else f"its channels are {shown}"
                if every
                else f"{item.part.name} has no channels; signals stand on a controller"
            )
            self._error("N306", f"{name} has no channel {key or '(none named)'}", span, fix)
            return None
        return name, channel

    def _signal(self, line: SignalLine) -> Signal | None:
        found = self._channel(str(line.channel), line.channel.span)
        condition = None if line.on is None else self.condition(line.on)
        if found is None or (line.on is not None and condition is None):
            return None
        item, channel = found
        settings = {k.text: n for k, n in line.settings}
        for key, node in line.settings:
            if key.text not in SIGNAL_SETTINGS:
                near = did_you_mean(key.text, SIGNAL_SETTINGS)
                fix = (
                    f"did you mean `{near}`?"
                    if near
                    else f"a signal may have {', '.join(SIGNAL_SETTINGS)}"
                )
                self._error("N309", f"a signal has no setting `{key.text}`", key.span, fix)
            elif not isinstance(node, Scalar):
                self._error("N309", f"`{key.text}` takes one value", node.span)
        drives = self._drives(line.drives)
        if drives is None:
            return None
        if channel.kind == "input" and condition is None:
            self._error(
                "N312",
                f"{line.name.text} does not say when it must be on",
                line.name.span,
                "add `on:`, as in `on: S1 pressed`",
            )
            return None
        if channel.kind == "output" and not drives:
            self._error(
                "N312",
                f"{line.name.text} does not say what it drives",
                line.name.span,
                "add `drives:`, as in `drives: Q1`",
            )
            return None
        filter_node = settings.get("filter")
        on_span = line.on_text.span if line.on_text is not None else line.name.span
        return Signal(
            name=line.name.text,
            item=item,
            channel=channel,
            on=condition if channel.kind == "input" else None,
            drives=drives if channel.kind == "output" else "",
            filter_s=self._seconds(filter_node),
            shortest_s=self._seconds(settings.get("shortest")),
            span=line.name.span,
            channel_span=line.channel.span,
            on_span=on_span,
            filter_span=filter_node.span if filter_node is not None else None,
        )

    def _seconds(self, node: Node | None) -> Interval | None:
        if not isinstance(node, Scalar):
            return None
        value = parse_quantity(node.text, "seconds", node.span, minimum=0.0)
        if isinstance(value, Diagnostic):
            self.problems.append(value)
            return None
        return value

    def _drives(self, node: Word | None) -> str | None:
        """Return what an output drives as `item` or `item.element`; None when it is wrong."""
        if node is None:
            return ""
        name, _, element = node.text.partition(".")
        item = self.places.item(name, node.span)
        if item is None:
            return None
        loads = [
            e.name for e in item.part.elements if e.kind in ("coil", "lamp", "load", "resistance")
        ]
        if element and element not in loads:
            near = did_you_mean(element, loads)
            fix = (
                f"did you mean `{name}.{near}`?" if near else f"it has {', '.join(loads) or 'none'}"
            )
            self._error("N311", f"{name} has no load {element}", node.span, fix)
            return None
        if not element and not item.part.main:
            choose = (
                f"name one: {', '.join(f'{name}.{x}' for x in loads)}"
                if loads
                else (f"a coil, lamp or load is wanted; {name} is a {item.part.family}")
            )
            self._error("N311", f"{name} is nothing an output can drive", node.span, choose)
            return None
        return node.text

    # -- expectations and acceptances --------------------------------------------------------

    def expects(
        self, lines: Iterable[ExpectLine], joins: Sequence[Join], signals: Mapping[str, Signal]
    ) -> tuple[Expect, ...]:
        """Return the expectations that can be checked."""
        conductors = {j.conductor for j in joins if j.cable}
        out: list[Expect] = []
        for line in lines:
            while_ = None if line.while_ is None else self.condition(line.while_)
            if line.while_ is not None and while_ is None:
                continue
            a = b = None
            conductor = name = ""
            if line.kind == "voltage":
                assert line.a is not None and line.b is not None
                a = self.places.terminal(str(line.a), line.a.span)
                b = self.places.terminal(str(line.b), line.b.span)
                if a is None or b is None:
                    continue
            elif line.kind == "current":
                assert line.conductor is not None
                conductor = str(line.conductor)
                if self.places.core(conductor, line.conductor.span) is None:
                    continue
                if conductor not in conductors:
                    self._error(
                        "N313",
                        f"core {conductor} is not joined anywhere",
                        line.span,
                        "join it, or expect a current elsewhere",
                    )
                    continue
            else:
                assert line.signal is not None
                name = line.signal.text
                if name not in signals:
                    near = did_you_mean(name, list(signals))
                    fix = f"did you mean `{near}`?" if near else "give it a line under `signals:`"
                    self._error("N313", f"there is no signal {name}", line.signal.span, fix)
                    continue
            out.append(
                Expect(
                    line.kind,
                    a,
                    b,
                    conductor,
                    name,
                    line.wanted_on,
                    line.low,
                    line.high,
                    while_,
                    line.text,
                    line.span,
                )
            )
        return tuple(out)

    def accepts(self, lines: Iterable[AcceptLine]) -> tuple[Accept, ...]:
        """Return what the user knows and takes."""
        return tuple(
            Accept(line.code.text, line.place.text, line.reason.text, line.span) for line in lines
        )
