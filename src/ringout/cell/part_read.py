"""Part file to `Part`: patterns expanded, settings filled in, every value in SI units."""

from __future__ import annotations

from collections.abc import Mapping

from ringout.base import Interval, Span
from ringout.base.suggest import did_you_mean
from ringout.cell.part import (
    COMMON_VALUES,
    ELEMENT_KINDS,
    ELEMENT_WORDS,
    Alive,
    Channel,
    Core,
    ElementSpec,
    Part,
    Socket,
)
from ringout.cell.part_values import ValueReader
from ringout.cell.templates import expand_name, fill_slots
from ringout.cellfile.tree import Mapping as MappingNode
from ringout.cellfile.tree import Node, Scalar
from ringout.cellfile.tree import Sequence as SequenceNode

FAMILIES = (
    "sensor",
    "switch",
    "controller",
    "supply",
    "protection",
    "load",
    "relay",
    "cable",
    "cordset",
    "connector",
    "component",
    "terminal",
)
_KEYS = (
    "part",
    "title",
    "family",
    "letter",
    "use",
    "mistakes",
    "source",
    "sockets",
    "terminals",
    "marks",
    "actors",
    "alive",
    "inside",
    "main",
    "settings",
    "facts",
    "channels",
    "cores",
    "ends",
    "note",
)
_ELEMENT_KEYS = {"kind", "from", "to", "when", "powered", "actor"}
_CHANNEL_VALUES = {
    "on_v": "volts",
    "off_v": "volts",
    "on_a": "amps",
    "off_a": "amps",
    "filter": "seconds",
    "scan": "seconds",
    "max_v": "volts",
}


class PartReader(ValueReader):
    """Reads one part from its tree, collecting diagnostics instead of raising."""

    # -- sections ----------------------------------------------------------------------

    def read(self) -> Part | None:
        """Return the part, or None when it has no name; see `problems` for what is wrong."""
        root = self.root
        for key, _ in root.entries:
            if key.text not in _KEYS:
                near = did_you_mean(key.text, _KEYS)
                fix = f"did you mean `{near}`?" if near else f"known keys: {', '.join(_KEYS)}"
                self._error("N204", f"a part has no key `{key.text}`", key.span, fix)
        name = root.get("part")
        if not isinstance(name, Scalar) or not name.text:
            self._error(
                "N205",
                "a part file needs a line `part: NAME`",
                root.span,
                "begin it with one, as in `part: my-sensor`",
            )
            return None
        family = self._word(root.get("family"))
        if family not in FAMILIES:
            near = did_you_mean(family, FAMILIES)
            fix = f"did you mean `{near}`?" if near else f"one of: {', '.join(FAMILIES)}"
            span = (root.get("family") or root).span
            self._error("N206", f"`{family}` is not a part family", span, fix)
        actors = self._actors()
        sockets = self._sockets()
        terminals = self._terminals()
        nets = set(terminals.values()) | {t for s in sockets.values() for t in s.pins.values()}
        elements = self._elements(actors, nets)
        by_name = {e.name: e for e in elements}
        return Part(
            name=name.text,
            title=self._word(root.get("title")),
            family=family,
            letter=self._word(root.get("letter")),
            use=self._word(root.get("use")),
            mistakes=self._words(root.get("mistakes")),
            source=self._word(root.get("source")),
            terminals=terminals,
            marks={k.text: self._word(v) for k, v in self._entries(root.get("marks"))},
            sockets=sockets,
            actors=actors,
            elements=elements,
            channels=self._channels(by_name),
            alive=self._alive(),
            cores=self._cores(),
            ends=self._ends(),
            settings={
                k.text: self._word(v) if isinstance(v, Scalar) else ", ".join(self._words(v))
                for k, v in self._entries(root.get("settings"))
            },
            facts={k.text: self._word(v) for k, v in self._entries(root.get("facts"))},
            main=self._word(root.get("main")),
            span=name.span,
            element_by_name=by_name,
        )

    def _terminals(self) -> dict[str, str]:
        node = self.root.get("terminals")
        if isinstance(node, SequenceNode):
            pairs = [(self._word(i), self._word(i)) for i in node.items]
        else:
            pairs = [(k.text, self._word(v)) for k, v in self._entries(node)]
        return {name: fill_slots(net, n) for key, net in pairs for name, n in expand_name(key)} | {}

    def _sockets(self) -> dict[str, Socket]:
        sockets: dict[str, Socket] = {}
        for key, node in self._entries(self.root.get("sockets")):
            if not isinstance(node, MappingNode):
                self._error(
                    "N201",
                    f"socket {key.text} needs `connector`, `gender`, `pins`",
                    key.span,
                    "as in {connector: m12-a-4, gender: male, pins: {1: plus, 4: out}}",
                )
                continue
            for name, n in expand_name(key.text):
                pins = {k.text: self._word(v, n) for k, v in self._entries(node.get("pins"))}
                connector = self._word(node.get("connector"))
                sockets[name] = Socket(
                    name, connector, self._word(node.get("gender")), pins, key.span
                )
        return sockets

    def _actors(self) -> dict[str, tuple[str, ...]]:
        actors: dict[str, tuple[str, ...]] = {}
        for key, node in self._entries(self.root.get("actors")):
            positions = self._words(node)
            if len(positions) < 2:
                self._error(
                    "N207",
                    f"actor {key.text} needs two positions or more",
                    key.span,
                    "list them, the rest position first, as in [released, pressed]",
                )
                continue
            actors.update({name: positions for name, _ in expand_name(key.text)})
        return actors

    def _alive(self) -> Alive | None:
        node = self.root.get("alive")
        if not isinstance(node, MappingNode):
            return None
        above = node.get("above")
        level = self._value(above, "volts") if above is not None else None
        if level is None:
            self._error(
                "N203",
                "`alive` needs `from`, `to` and `above: ... V`",
                node.span,
                "as in {from: plus, to: minus, above: 10 V}",
            )
            return None
        return Alive(self._word(node.get("from")), self._word(node.get("to")), level, node.span)

    def _elements(
        self, actors: Mapping[str, tuple[str, ...]], nets: set[str]
    ) -> tuple[ElementSpec, ...]:
        elements: list[ElementSpec] = []
        for key, node in self._entries(self.root.get("inside")):
            if not isinstance(node, MappingNode):
                self._error(
                    "N201",
                    f"element {key.text} needs {{kind: ..., from: ..., to: ...}}",
                    key.span,
                    "as in {kind: load, from: plus, to: minus, current: 10 mA}",
                )
                continue
            for name, n in expand_name(key.text):
                element = self._element(name, n, key.span, node, actors)
                if element is not None:
                    elements.append(element)
        inner = {e.tail for e in elements} | {e.head for e in elements}
        for element in elements:
            for net in (element.tail, element.head):
                used = sum((e.tail == net) + (e.head == net) for e in elements)
                if net not in nets and used < 2:
                    near = did_you_mean(net, nets | inner - {net})
                    known = ", ".join(sorted(nets)) or "none"
                    fix = f"did you mean `{near}`?" if near else f"nets on terminals: {known}"
                    self._error(
                        "N208",
                        f"element {element.name} ends on `{net}`, which leads nowhere",
                        element.span,
                        fix,
                    )
        return tuple(elements)

    def _element(
        self,
        name: str,
        n: int | None,
        span: Span,
        node: MappingNode,
        actors: Mapping[str, tuple[str, ...]],
    ) -> ElementSpec | None:
        kind = self._word(node.get("kind"))
        if kind not in ELEMENT_KINDS:
            near = did_you_mean(kind, ELEMENT_KINDS)
            fix = f"did you mean `{near}`?" if near else f"one of: {', '.join(ELEMENT_KINDS)}"
            self._error(
                "N209", f"`{kind}` is not an element kind", (node.get("kind") or node).span, fix
            )
            return None
        wanted = ELEMENT_KINDS[kind] | COMMON_VALUES
        values: dict[str, Interval] = {}
        words: dict[str, str] = {}
        for key, value in node.entries:
            if key.text in _ELEMENT_KEYS:
                continue
            if key.text in ELEMENT_WORDS:
                words[key.text] = self._word(value, n)
                continue
            dimension = wanted.get(key.text) or wanted.get(key.text + "?")
            if dimension is None:
                names = [k.rstrip("?") for k in wanted] + sorted(ELEMENT_WORDS)
                near = did_you_mean(key.text, names)
                fix = f"did you mean `{near}`?" if near else f"known: {', '.join(names)}"
                self._error("N210", f"`{kind}` has no value `{key.text}`", key.span, fix)
                continue
            got = self._value(value, dimension, n)
            if got is not None:
                values[key.text] = got
        for need in ELEMENT_KINDS[kind]:
            if not need.endswith("?") and need not in values:
                if node.get(need) is None:
                    fix = f"add `{need}: ...`"
                    self._error("N211", f"element {name} ({kind}) needs `{need}`", span, fix)
                return None
        actor, when = self._when(name, n, node, actors)
        return ElementSpec(
            name=name,
            kind=kind,
            tail=self._word(node.get("from"), n),
            head=self._word(node.get("to"), n),
            values=values,
            words=words,
            when=when,
            powered=self._word(node.get("powered")) == "true",
            actor=actor,
            span=span,
        )

    def _when(
        self, name: str, n: int | None, node: MappingNode, actors: Mapping[str, tuple[str, ...]]
    ) -> tuple[str, tuple[str, ...]]:
        when = node.get("when")
        if when is None:
            return "", ()
        words = list(self._words(when))
        negated = len(words) == 1 and words[0].startswith("not ")
        if negated:
            words = [words[0][4:].strip()]
        actor = self._word(node.get("actor"), n)
        if not actor:
            actor = next((a for a, p in actors.items() if words and words[0] in p), "")
        positions = actors.get(actor, ())
        for word in words:
            if word not in positions:
                every = [p for ps in actors.values() for p in ps]
                near = did_you_mean(word, every)
                fix = f"did you mean `{near}`?" if near else f"positions: {', '.join(every)}"
                self._error("N212", f"element {name}: `{word}` is no position here", when.span, fix)
                return "", ()
        if negated:
            return actor, tuple(p for p in positions if p not in words)
        return actor, tuple(words)

    def _channels(self, elements: Mapping[str, ElementSpec]) -> dict[str, Channel]:
        channels: dict[str, Channel] = {}
        for key, node in self._entries(self.root.get("channels")):
            if not isinstance(node, MappingNode):
                self._error(
                    "N201",
                    f"channel {key.text} needs {{kind: ..., element: ...}}",
                    key.span,
                    "as in {kind: input, element: in1, limits: iec-61131-2-type-3}",
                )
                continue
            for name, n in expand_name(key.text):
                values: dict[str, Interval] = {}
                for value_name, dimension in _CHANNEL_VALUES.items():
                    value_node = node.get(value_name)
                    if value_node is not None:
                        got = self._value(value_node, dimension, n)
                        if got is not None:
                            values[value_name] = got
                element = self._word(node.get("element"), n)
                if element not in elements:
                    self._error(
                        "N213",
                        f"channel {name} names no element `{element}`",
                        key.span,
                        f"its elements are {', '.join(list(elements)[:8])}",
                    )
                    continue
                channels[name] = Channel(
                    name,
                    self._word(node.get("kind")),
                    element,
                    self._word(node.get("limits")) or "own",
                    values,
                    self._word(node.get("group")),
                    key.span,
                )
        return channels

    def _cores(self) -> tuple[Core, ...]:
        cores: list[Core] = []
        for key, node in self._entries(self.root.get("cores")):
            area_node: Node | None = node
            near = far = ""
            if isinstance(node, MappingNode):
                area_node = node.get("area")
                near, far = self._word(node.get("near")), self._word(node.get("far"))
            area = self._value(area_node, "mm2") if area_node is not None else None
            if area is None:
                fix = "write it as in `BN: 0.34 mm2`"
                self._error("N203", f"core {key.text} needs its area", key.span, fix)
                continue
            cores.append(Core(key.text, area.typ, near, far))
        return tuple(cores)

    def _ends(self) -> tuple[tuple[str, str], tuple[str, str]] | None:
        node = self.root.get("ends")
        if not isinstance(node, MappingNode):
            return None
        ends = []
        for side in ("near", "far"):
            words = self._word(node.get(side)).split()
            if len(words) != 2:
                fix = f"as in `{side}: m12-a-4 female`"
                self._error("N214", f"end `{side}` needs connector and gender", node.span, fix)
                return None
            ends.append((words[0], words[1]))
        return (ends[0], ends[1])
