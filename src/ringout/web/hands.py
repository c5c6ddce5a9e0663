"""What was changed by hand, told on the drawing in the words of the hand that did it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ringout.cell.model import Terminal
from ringout.report.drawing.path_build import path_pin
from ringout.report.drawing.path_model import CircuitView, PathConductor
from ringout.report.drawing.path_words import amps_text
from ringout.web.changes import Bench

Place = tuple[str, str]  # item and net


def in_bench_words(view: CircuitView, bench: Bench) -> CircuitView:
    """Return the view with cuts, swaps, bridges and lifted ends called by their names.

    The drawing calls all that is not as filed a fault; on the bench it was done on purpose, and a
    bridge goes from pin to pin as it was laid.

    Args:
        view: what is drawn.
        bench: the setting made real.
    """
    hands = _Hands(bench)
    return replace(view, conductors=tuple(hands.told(c) for c in view.conductors))


@dataclass(frozen=True, slots=True)
class Bridge:
    """A wire from pin to pin, and what it carries in words."""

    a: str
    b: str
    words: str


def bridges_over(view: CircuitView, bench: Bench) -> tuple[CircuitView, list[Bridge]]:
    """Return the view without the bridges between pins that it shows anyway, and those bridges.

    They are laid over the drawing, so that it does not jump when a bridge is set.

    Args:
        view: what is drawn, in the words of the bench.
        bench: the setting made real.
    """
    laid = {frozenset(pair) for pair in bench.bridges}

    def is_bridge(c: PathConductor) -> bool:
        return c.kind == "fault" and frozenset((c.a.terminal, c.b.terminal)) in laid

    seen = {p.terminal for c in view.conductors if not is_bridge(c) for p in (c.a, c.b)}
    over = [c for c in view.conductors if is_bridge(c) and {c.a.terminal, c.b.terminal} <= seen]
    left = tuple(c for c in view.conductors if c not in over)
    known = {frozenset((c.a.terminal, c.b.terminal)) for c in view.conductors if is_bridge(c)}
    found = [Bridge(str(c.a.terminal), str(c.b.terminal), amps_text(c.amps)) for c in over]
    found += [
        Bridge(str(a), str(b), "") for a, b in bench.bridges if frozenset((a, b)) not in known
    ]
    return replace(view, conductors=left), found


class _Hands:
    def __init__(self, bench: Bench) -> None:
        self.cell = bench.variant.cell
        done = [m for m in bench.made if not m.trouble]
        self.cut = {m.word for m in done if m.field == "cuts"}
        self.swapped = {
            name
            for m in done
            if m.field == "swaps"
            for name in m.word.rpartition("@")[0].split(",")
        }
        self.off: dict[str, list[str]] = {}
        for m in done:
            if m.field == "lifts":
                conductor, _, item = m.word.rpartition("@")
                self.off.setdefault(conductor, []).append(item)
        self.bridges: dict[frozenset[Place], tuple[Terminal, Terminal]] = {}
        for a, b in bench.bridges:
            self.bridges[frozenset((self._place(a), self._place(b)))] = (a, b)

    def _place(self, terminal: Terminal) -> Place:
        return terminal.item, self.cell.items[terminal.item].net(terminal) or ""

    def told(self, c: PathConductor) -> PathConductor:
        name = conductor_of(c)
        if c.kind != "fault":
            off = self.off.get(name)
            return replace(c, text=f"off at {' and '.join(off)}") if off else c
        if name in self.cut:
            return replace(c, name=f"{name} cut")
        if name in self.swapped:
            return replace(c, name=f"{name} swapped")
        if not c.cable:
            return self._bridge(c)
        return c

    def _bridge(self, c: PathConductor) -> PathConductor:
        ends = ((c.a.terminal.item, c.a.net), (c.b.terminal.item, c.b.net))
        found = self.bridges.get(frozenset(ends))
        if found is None:
            return c
        if self._place(found[0]) != ends[0]:
            found = (found[1], found[0])
        a, b = (path_pin(self.cell, t) for t in found)
        return replace(c, name="bridge", a=a, b=b)


def conductor_of(c: PathConductor) -> str:
    """Return the name of a conductor as the file has it, whatever is written at it."""
    return f"{c.cable}:{c.colour}" if c.cable else f"{c.a.terminal} to {c.b.terminal}"
