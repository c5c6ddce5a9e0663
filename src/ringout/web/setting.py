"""How a circuit is set up on the bench: read from a URL, changed, and written as one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import quote, urlencode

from ringout.web.exchange import Ask

MODES = ("volts", "lowz", "ohms")
TOOLS = ("probe", "cut", "lift", "bridge", "swap", "part", "fault")
MOST = 24  # changes of one kind in a URL


@dataclass(frozen=True, slots=True)
class Setting:
    """Everything that is not as the file says, in the words of the URL.

    Args:
        state: positions, as in `S1 pressed and K1.O1 on`.
        faults: faults by name.
        cuts: conductors cut through.
        lifts: core ends taken off, as `W1:BN@S1`.
        bridges: pairs of terminals joined by a wire, as `K1-X1:1,K1-X1:4`.
        swaps: two conductors exchanged at an item, as `W1:BN,W1:BK@S1`.
        parts: item and the part fitted instead, as `S1,pushbutton-1nc`.
        red: where the red probe is.
        black: where the black one is.
        mode: kind of meter.
        tool: what a click on the drawing does.
        first: what was clicked first, where a tool takes two.
    """

    state: str = ""
    faults: tuple[str, ...] = ()
    cuts: tuple[str, ...] = ()
    lifts: tuple[str, ...] = ()
    bridges: tuple[str, ...] = ()
    swaps: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    red: str = ""
    black: str = ""
    mode: str = "volts"
    tool: str = "probe"
    first: str = ""

    def but(self, **changes: Any) -> Setting:
        """Return the setting with some fields changed."""
        return replace(self, **changes)

    def toggled(self, field: str, word: str) -> Setting:
        """Return the setting with a word of one list put in, or taken out if it is there."""
        have: tuple[str, ...] = getattr(self, field)
        left = tuple(w for w in have if w != word) if word in have else (*have, word)
        return replace(self, **{field: left})  # type: ignore[arg-type]

    @property
    def as_filed(self) -> bool:
        """Return whether the wiring is as the file says."""
        changes = (self.faults, self.cuts, self.lifts, self.bridges, self.swaps, self.parts)
        return not any(changes)

    @property
    def query(self) -> str:
        """Return the part of the URL behind the question mark."""
        pairs: list[tuple[str, str]] = [("while", self.state)] if self.state else []
        for key, words in (
            ("fault", self.faults),
            ("cut", self.cuts),
            ("lift", self.lifts),
            ("bridge", self.bridges),
            ("swap", self.swaps),
            ("part", self.parts),
        ):
            pairs += [(key, w) for w in words]
        if self.red or self.black:
            pairs.append(("probe", f"{self.red},{self.black}"))
        pairs += [("mode", self.mode)] if self.mode != MODES[0] else []
        pairs += [("tool", self.tool)] if self.tool != TOOLS[0] else []
        pairs += [("first", self.first)] if self.first else []
        return urlencode(pairs, safe=":,@.")

    def url(self, signal: str) -> str:
        """Return the URL of a signal's circuit set up like this."""
        query = self.query
        return f"/circuit/{quote(signal, safe='')}" + (f"?{query}" if query else "")

    def fields(self, *without: str) -> list[tuple[str, str]]:
        """Return the query as pairs for hidden fields of a form, without some keys."""
        from urllib.parse import parse_qsl

        return [(k, v) for k, v in parse_qsl(self.query) if k not in without]


def read_setting(ask: Ask) -> Setting:
    """Return the setting a URL asks for; words without meaning count as their default."""
    red, _, black = ask.first("probe").partition(",")
    red, black = ask.first("red", red), ask.first("black", black)  # as a form sends them
    mode, tool = ask.first("mode", MODES[0]), ask.first("tool", TOOLS[0])

    def several(key: str) -> tuple[str, ...]:
        return tuple(dict.fromkeys(ask.every(key)))[:MOST]

    return Setting(
        state=ask.first("while").strip(),
        faults=several("fault"),
        cuts=several("cut"),
        lifts=several("lift"),
        bridges=several("bridge"),
        swaps=several("swap"),
        parts=several("part"),
        red=red.strip(),
        black=black.strip(),
        mode=mode if mode in MODES else MODES[0],
        tool=tool if tool in TOOLS else TOOLS[0],
        first=ask.first("first"),
    )
