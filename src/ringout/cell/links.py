"""Lines of `live` to links: which address or node each channel of a controller has."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from ringout.base import Diagnostic
from ringout.base.collect import Collector
from ringout.base.suggest import did_you_mean
from ringout.cell.model import Access, Item, Link
from ringout.cellfile.statements import LiveLine
from ringout.cellfile.tree import Mapping as MappingNode
from ringout.cellfile.tree import Node, Scalar

ACCESS_KEYS = ("security", "user", "certificate", "key", "trust")
KEYS = ("modbus", "opcua", "unit", "inputs", "outputs", "table", "map", *ACCESS_KEYS)
SECURITIES = ("none", "sign", "encrypt")
SECRETS = ("password", "passphrase", "secret", "pin")
TABLES = ("discrete", "coils", "input-registers", "holding-registers")
MODBUS_PORT = 502  # modbus application protocol v1.1b3
MOST_ADDRESS = 65535
MOST_UNIT = 255
CODE = "N319"
_HOST = re.compile(r"(?P<host>[A-Za-z0-9.\-]+|\[[0-9A-Fa-f:.]+\])(?::(?P<port>\d{1,5}))?")


def modbus_target(text: str) -> str | None:
    """Return `host:port` of a Modbus address, or None if it is none."""
    found = _HOST.fullmatch(text)
    if found is None:
        return None
    port = int(found["port"] or MODBUS_PORT)
    return f"{found['host']}:{port}" if 0 < port <= MOST_ADDRESS else None


def placed_on(item: Item, kind: str, first: int | str) -> dict[str, int | str]:
    """Return the place of each channel of a kind.

    Args:
        item: the controller.
        kind: `input` or `output`.
        first: address of the first channel, the others follow; or a node with `{channel}` in it.
    """
    names = [n for n, c in item.part.channels.items() if c.kind == kind]
    if isinstance(first, str):
        return {n: first.replace("{channel}", n) for n in names}
    return {n: first + k for k, n in enumerate(names)}


def access_of(security: str, user: str, certificate: str, key: str, trust: str) -> Access:
    """Return an access; without a word on security it is encrypted where anything is to protect."""
    asked = user or certificate or key or trust
    return Access(security or ("encrypt" if asked else "none"), user, certificate, key, trust)


class LinkReader(Collector):
    """Reads the lines of `live`.

    Args:
        items: the items of the cell.
    """

    def __init__(self, items: Mapping[str, Item]) -> None:
        self.items = items
        self.problems: list[Diagnostic] = []

    def links(self, lines: Iterable[LiveLine]) -> dict[str, Link]:
        """Return the link of every controller whose line can be used."""
        found = (self._link(line) for line in lines)
        return {link.item: link for link in found if link is not None}

    def _link(self, line: LiveLine) -> Link | None:
        item = self.items.get(line.name.text)
        controllers = [n for n, i in self.items.items() if i.part.channels]
        if item is None or not item.part.channels:
            near = did_you_mean(line.name.text, controllers)
            self._error(
                CODE,
                f"`{line.name.text}` is no controller of this cell",
                line.name.span,
                f"did you mean `{near}`?" if near else f"there are {', '.join(controllers)}",
            )
            return None
        fields = {key.text: node for key, node in line.settings}
        for key, _ in line.settings:
            if key.text in SECRETS:
                self._error(
                    CODE,
                    f"a `{key.text}` does not belong in the file",
                    key.span,
                    f"set RINGOUT_PASSWORD_{item.name} in the environment, or be asked for it",
                )
            elif key.text not in KEYS:
                near = did_you_mean(key.text, KEYS)
                fix = f"did you mean `{near}`?" if near else f"known here: {', '.join(KEYS)}"
                self._error(CODE, f"a live line has no `{key.text}`", key.span, fix)
        protocol = "opcua" if "opcua" in fields else "modbus"
        if ("opcua" in fields) == ("modbus" in fields):
            self._error(
                CODE,
                f"{item.name} is read over one protocol: `modbus` or `opcua`",
                line.span,
                "write `{modbus: robot-k1, inputs: 0}`",
            )
            return None
        target = self._target(fields[protocol], protocol)
        table = self._table(fields.get("table"))
        unit = self._number(fields.get("unit"), "unit", 1, MOST_UNIT)
        places = self._places(item, fields, protocol)
        access = self._access(fields, protocol)
        if target is None or table is None or unit is None or places is None or access is None:
            return None
        return Link(item.name, protocol, target, unit, table, places, line.span, access)

    def _target(self, node: Node, protocol: str) -> str | None:
        text = node.text.strip() if isinstance(node, Scalar) else ""
        found = modbus_target(text) if protocol == "modbus" else text
        if found and (protocol == "modbus" or text.startswith("opc.tcp://")):
            return found
        example = "robot-k1:502" if protocol == "modbus" else "opc.tcp://robot-k1:4840"
        self._error(CODE, f"`{text}` is no address", node.span, f"write `{protocol}: {example}`")
        return None

    def _table(self, node: Node | None) -> str | None:
        if node is None:
            return TABLES[0]
        text = node.text if isinstance(node, Scalar) else ""
        if text in TABLES:
            return text
        self._error(
            CODE, f"there is no table `{text}`", node.span, f"write one of {', '.join(TABLES)}"
        )
        return None

    def _number(self, node: Node | None, what: str, default: int, most: int) -> int | None:
        if node is None:
            return default
        text = node.text.strip() if isinstance(node, Scalar) else ""
        if text.isdecimal() and int(text) <= most:
            return int(text)
        self._error(
            CODE,
            f"`{what}` is a whole number up to {most}",
            node.span,
            f"write `{what}: {default}`",
        )
        return None

    def _access(self, fields: Mapping[str, Node], protocol: str) -> Access | None:
        found: dict[str, str] = {}
        for key in ACCESS_KEYS:
            node = fields.get(key)
            text = node.text.strip() if isinstance(node, Scalar) else ""
            fix = ""
            if node is not None and protocol == "modbus":
                fix = "Modbus TCP protects nothing: leave it out, or use `opcua`"
            elif node is not None and key == "security" and text not in SECURITIES:
                fix = f"write one of {', '.join(SECURITIES)}"
            elif node is not None and not text:
                fix = f"write `{key}: {'setter' if key == 'user' else 'FILE'}`"
            if node is not None and fix:
                self._error(CODE, f"`{key}: {text}` cannot be used", node.span, fix)
                return None
            found[key] = text
        return access_of(**found)

    def _places(
        self, item: Item, fields: Mapping[str, Node], protocol: str
    ) -> dict[str, int | str] | None:
        """Return the address or node of each channel."""
        places: dict[str, int | str] = {}
        for kind, key in (("input", "inputs"), ("output", "outputs")):
            node = fields.get(key)
            if node is None:
                continue
            if protocol == "opcua":
                text = node.text if isinstance(node, Scalar) else ""
                if "{channel}" not in text:
                    self._error(
                        CODE,
                        f"`{key}` is a node with `{{channel}}` in it",
                        node.span,
                        f'write `{key}: "ns=2;s={item.name}.{{channel}}"`',
                    )
                    return None
                places.update(placed_on(item, kind, text))
                continue
            first = self._number(node, key, 0, MOST_ADDRESS)
            if first is None:
                return None
            places.update(placed_on(item, kind, first))
        return self._overridden(item, fields.get("map"), protocol, places)

    def _overridden(
        self, item: Item, node: Node | None, protocol: str, places: dict[str, int | str]
    ) -> dict[str, int | str] | None:
        for key, value in node.entries if isinstance(node, MappingNode) else ():
            if key.text not in item.part.channels:
                near = did_you_mean(key.text, item.part.channels)
                fix = f"did you mean `{near}`?" if near else "name a channel of the part, as in I4"
                self._error(CODE, f"{item.name} has no channel `{key.text}`", key.span, fix)
                return None
            if protocol == "opcua":
                places[key.text] = value.text if isinstance(value, Scalar) else ""
                continue
            number = self._number(value, key.text, 0, MOST_ADDRESS)
            if number is None:
                return None
            places[key.text] = number
        return places
