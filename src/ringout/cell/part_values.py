"""Values, words and settings of a part file, read into SI units."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from ringout.base import Diagnostic, Interval
from ringout.base.collect import Collector
from ringout.base.quantity import parse_quantity
from ringout.base.suggest import did_you_mean
from ringout.cell.templates import fill_slots
from ringout.cellfile.tree import Mapping as MappingNode
from ringout.cellfile.tree import Node, Scalar
from ringout.cellfile.tree import Sequence as SequenceNode


class ValueReader(Collector):
    """Reads values of one part file, collecting diagnostics instead of raising.

    Args:
        root: the part file's top mapping.
        settings: setting name to the scalar or list the item line gives.
    """

    def __init__(self, root: MappingNode, settings: Mapping[str, Node] | None = None) -> None:
        self.root = root
        self.problems: list[Diagnostic] = []
        self.settings: dict[str, Scalar] = {}
        self._load_settings(settings or {})

    def _entries(self, node: Node | None) -> Iterator[tuple[Scalar, Node]]:
        if isinstance(node, MappingNode):
            yield from node.entries
        elif node is not None and not (isinstance(node, Scalar) and not node.text):
            self._error(
                "N201",
                "expected a list of `name: value` lines here",
                node.span,
                "write one `name: value` a line, indented below the section's name",
            )

    def _load_settings(self, given: Mapping[str, Node]) -> None:
        known: list[str] = []
        for key, node in self._entries(self.root.get("settings")):
            known.append(key.text)
            self._put_setting(key.text, node)
        for name, node in given.items():
            if name in known:
                self._put_setting(name, node)

    def _put_setting(self, name: str, node: Node) -> None:
        if isinstance(node, SequenceNode):
            for number, item in enumerate(node.items, start=1):
                if isinstance(item, Scalar):
                    self.settings[f"{name}.{number}"] = item
        elif isinstance(node, Scalar):
            self.settings[name] = node

    def _setting(self, scalar: Scalar) -> Scalar | None:
        """Return the scalar a `$name` stands for, or the scalar itself; None if unknown."""
        if not scalar.text.startswith("$"):
            return scalar
        found = self.settings.get(scalar.text[1:])
        if found is None:
            near = did_you_mean(scalar.text[1:], list(self.settings))
            every = ", ".join(f"${name}" for name in self.settings) or "none"
            fix = f"did you mean `${near}`?" if near else f"its settings are {every}"
            self._error("N202", f"`{scalar.text}` names no setting of this part", scalar.span, fix)
        return found

    def _value(self, node: Node, dimension: str, n: int | None = None) -> Interval | None:
        """Return a quantity written as text or as `{typ:, low:, high:}`."""
        if isinstance(node, MappingNode):
            names = set(node.keys())
            if names - {"typ", "low", "high"} or not names:
                self._error(
                    "N203",
                    "a value takes `typ`, `low` and `high` only",
                    node.span,
                    "write it as in `{typ: 1 V, high: 2 V}` or `1..2 V`",
                )
                return None
            parts = {k.text: self._value(v, dimension, n) for k, v in node.entries}
            if None in parts.values():
                return None
            got = {k: v.typ for k, v in parts.items() if v is not None}
            low = got.get("low", got.get("typ", 0.0))
            high = got.get("high", got.get("typ", low))
            typ = got.get("typ", (low + high) / 2)
            if not low <= typ <= high:
                fix = "put the smallest under `low` and the largest under `high`"
                self._error("N203", "needs low <= typ <= high", node.span, fix)
                return None
            return Interval(low, typ, high)
        if not isinstance(node, Scalar):
            fix = "write one value, as in `24 V`"
            self._error("N203", "expected one value here", node.span, fix)
            return None
        scalar = self._setting(Scalar(fill_slots(node.text, n), node.span, node.quoted))
        if scalar is None:
            return None
        result = parse_quantity(scalar.text, dimension, scalar.span)
        if isinstance(result, Diagnostic):
            self.problems.append(result)
            return None
        return result

    def _word(self, node: Node | None, n: int | None = None) -> str:
        if isinstance(node, Scalar):
            found = self._setting(node)
            return "" if found is None else fill_slots(found.text, n)
        return ""

    def _words(self, node: Node | None) -> tuple[str, ...]:
        if isinstance(node, SequenceNode):
            return tuple(self._word(i) for i in node.items)
        return (self._word(node),) if isinstance(node, Scalar) and node.text else ()
