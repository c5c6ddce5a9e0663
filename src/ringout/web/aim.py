"""What a click on a place of the drawing does, by the tool in hand."""

from __future__ import annotations

from collections.abc import Iterable

from ringout.cell.model import Cell, Join
from ringout.web.changes import swap_word
from ringout.web.picture import Spot, Target
from ringout.web.setting import Setting


class Aimer:
    """Gives the aim of every place.

    Args:
        cell: the cell as filed.
        signal: the signal drawn.
        setting: how it is set up.
        opened: protections that have opened.
    """

    def __init__(
        self, cell: Cell, signal: str, setting: Setting, opened: Iterable[str] = ()
    ) -> None:
        self.cell, self.signal, self.setting = cell, signal, setting
        self.opened = {o.partition(".")[0] for o in opened}
        self.joins: dict[str, Join] = {j.conductor: j for j in cell.joins}
        self.ends: dict[str, list[Join]] = {}
        for join in cell.joins:
            for end in (join.a, join.b):
                self.ends.setdefault(str(end), []).append(join)

    def places(self, lifts: Iterable[str]) -> list[str]:
        """Return every place a probe can be held at, as words."""
        cell = self.cell
        words = [str(t) for item in cell.items.values() for t in item.terminals()]
        return [*lifts, *words]

    def aim(self, spot: Spot) -> Target | None:
        """Return what a click on a place does; None for nothing."""
        made = {"pin": self._pin, "core": self._core, "item": self._item}[spot.kind](spot.name)
        marks = self._marks(spot)
        if made is None and not marks:
            return None
        if made is None:
            return Target("", spot.name, marks)
        setting, label = made
        return Target(setting.url(self.signal), label, marks)

    def _marks(self, spot: Spot) -> tuple[str, ...]:
        s = self.setting
        marks = []
        if spot.kind == "pin":
            marks += ["red"] if spot.name == s.red else []
            marks += ["black"] if spot.name == s.black else []
        if spot.name == s.first:
            marks.append("first")
        if spot.kind == "core" and spot.name in s.cuts:
            marks.append("cut")
        if spot.kind == "item" and spot.name in self.opened:
            marks.append("opened")
        return tuple(marks)

    def _pin(self, name: str) -> tuple[Setting, str] | None:
        s = self.setting
        if s.tool == "probe":
            return self.probe(name)
        if s.tool == "lift":
            return self._lift(name)
        if s.tool == "bridge":
            if s.first == name:
                return s.but(first=""), f"{name}: not from here after all"
            if s.first:
                known = f"{name},{s.first}" in s.bridges
                pair = f"{name},{s.first}" if known else f"{s.first},{name}"
                return s.toggled("bridges", pair).but(first=""), f"Bridge {s.first} and {name}"
            return s.but(first=name), f"Bridge from {name}"
        return None

    def probe(self, name: str) -> tuple[Setting, str]:
        """Return the setting with a probe moved: red, then black, then red again."""
        s = self.setting
        if name == s.red:
            return s.but(red=""), f"Take the red probe off {name}"
        if name == s.black:
            return s.but(black=""), f"Take the black probe off {name}"
        if s.red and not s.black:
            return s.but(black=name), f"Black probe on {name}"
        return s.but(red=name), f"Red probe on {name}"

    def _lift(self, name: str) -> tuple[Setting, str] | None:
        joins = self.ends.get(name, [])
        if not joins:
            return None
        item = self._item_of(name)
        words = [f"{j.conductor}@{item}" for j in joins]
        on = [w for w in words if w not in self.setting.lifts]
        if on:
            return self.setting.toggled("lifts", on[0]), f"Take {on[0]} off"
        return self.setting.toggled("lifts", words[0]), f"Land {words[0]} again"

    @staticmethod
    def _item_of(terminal: str) -> str:
        return terminal.partition(":")[0].partition("-")[0]

    def _core(self, name: str) -> tuple[Setting, str] | None:
        s = self.setting
        if name not in self.joins:
            return None
        if s.tool == "cut":
            verb = "Make whole" if name in s.cuts else "Cut"
            return s.toggled("cuts", name), f"{verb} {name}"
        if s.tool == "swap":
            if s.first == name:
                return s.but(first=""), f"{name}: not this one after all"
            if s.first and s.first in self.joins:
                word = swap_word(self.joins[s.first], self.joins[name])
                if word is None:
                    return s.but(first=name), f"Exchange {name} instead: no item is common"
                return s.toggled("swaps", word).but(first=""), f"Exchange {s.first} and {name}"
            return s.but(first=name), f"Exchange {name} with another"
        return None

    def _item(self, name: str) -> tuple[Setting, str] | None:
        if self.setting.tool == "part":
            return self.setting.but(first=name), f"Replace {name}"
        return None
