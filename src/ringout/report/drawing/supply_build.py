"""Who feeds what: supplies, the protection behind them, and what hangs on each branch."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from ringout.cell.model import Cell, Item, Terminal
from ringout.circuit.compile import compile_circuit
from ringout.circuit.model import Circuit
from ringout.findings.bounds import Bounder
from ringout.findings.feeds import commons_of, feeds_of
from ringout.findings.model import BranchLoad
from ringout.findings.power import feed_questions
from ringout.findings.protection import (
    FarShort,
    Place,
    branch_loads,
    branch_questions,
    far_shorts,
    landed_on,
)
from ringout.findings.survey import survey
from ringout.report.drawing.path_find import FIELD
from ringout.report.sheet_nets import PASS_ON, Nets, is_zero, other_end

GUARDS = frozenset({"protection", "fuse", "breaker"})
NO_LIMIT_A = 1e6


@dataclass(frozen=True, slots=True)
class ShortAt:
    """What a short at an item draws, and from which current its protection opens.

    Args:
        item: where the short is.
        low_a: guaranteed lowest.
        high_a: guaranteed highest.
        verdict: `at once`, `late` or `may never`.
    """

    item: str
    low_a: float
    high_a: float
    verdict: str


@dataclass(frozen=True, slots=True)
class SupplyRow:
    """One supply, branch or fed item.

    Args:
        depth: steps from the supply.
        kind: `supply`, `branch` or `item`.
        name: what it is called: `T1`, `F1.branch1`, `K1-XS:1`.
        about: what it is, in the user's words.
        over: conductors it is fed over; empty for supplies and branches.
        load: what it carries; None for items.
        lowest_v: lowest guaranteed voltage at its electronics; None where nothing is known.
        short: the short at it, or the weakest one among what it feeds.
        feeds: field devices it feeds, and loads its outputs work.
        lowest_at: item the lowest voltage is at.
    """

    depth: int
    kind: str
    name: str
    about: str
    over: str = ""
    load: BranchLoad | None = None
    lowest_v: float | None = None
    short: ShortAt | None = None
    feeds: tuple[str, ...] = ()
    lowest_at: str = ""


@dataclass(frozen=True, slots=True)
class SupplyView:
    """The supply of a cell.

    Args:
        cell: its name.
        revision: its revision.
        rows: from the supplies outwards, each followed by what hangs on it.
        unfed: items with feed terminals that no supply reaches.
    """

    cell: str
    revision: str
    rows: tuple[SupplyRow, ...]
    unfed: tuple[str, ...]


def build_supply_view(
    cell: Cell, branches: Sequence[BranchLoad] | None = None, *, circuit: Circuit | None = None
) -> SupplyView:
    """Return who feeds what in a cell, with budgets, lowest voltages and shorts at the far end.

    Args:
        cell: the cell.
        branches: loads of supplies and branches, as the judgement of this cell holds them; they
            are bounded anew when not given.
        circuit: the compiled cell, if at hand.
    """
    circuit = circuit or compile_circuit(cell)
    found = survey(circuit)
    questions = feed_questions(circuit, found)
    count = len(questions)
    if branches is None:
        questions = [*questions, *branch_questions(circuit, found)]
    ranges = Bounder(circuit, found).ask(questions)
    if branches is None:
        branches = branch_loads(circuit, found, ranges.part(count, len(questions)))
    electronics = [
        circuit.actors[d.actor].item
        for d in circuit.driven
        if circuit.actors[d.actor].moved_by == "voltage"
    ]
    lowest = dict(zip(electronics, (float(v) for v in ranges.low[:count]), strict=False))
    shorts = {s.item: s for s in far_shorts(cell, found, circuit, places=short_places(cell))}
    return _Walk(cell, {b.name: b for b in branches}, lowest, shorts).run()


def short_places(cell: Cell) -> list[Place]:
    """Return where a short is asked for: at every branch, and at each feed of every fed item."""
    returns = (i for i in cell.items.values() if i.part.family == "supply")
    home = next((t for i in returns if (t := _zero_of(cell, i, "")) is not None), None)
    places: list[Place] = []
    for item in cell.items.values():
        if item.part.family in PASS_ON | {"supply"}:
            continue
        if item.part.family == "protection" or any(e.kind in GUARDS for e in item.part.elements):
            fed = [e.head for e in item.part.elements if e.kind in GUARDS]
        else:
            fed = list(dict.fromkeys(plus for plus, _ in feeds_of(item) if plus))
        for net in fed:
            here, back = landed_on(cell, item.name, net), _zero_of(cell, item, net) or home
            if here is not None and back is not None:
                places.append((f"{item.name} {net}", here, back))
    return places


def _zero_of(cell: Cell, item: Item, plus: str) -> Terminal | None:
    """Return the landed 0 V terminal of an item, that of the same group first."""
    nets = {n for t in item.terminals() if (n := item.net(t)) is not None and is_zero(n)}
    own = plus.rstrip("+")
    for net in sorted(nets, key=lambda n: (n.rstrip("-") != own, n)):
        found = landed_on(cell, item.name, net)
        if found is not None:
            return found
    return None


class _Walk:
    def __init__(
        self,
        cell: Cell,
        loads: Mapping[str, BranchLoad],
        lowest: Mapping[str, float],
        shorts: Mapping[str, FarShort],
    ) -> None:
        self.cell, self.loads, self.lowest, self.shorts = cell, loads, lowest, shorts
        self.nets = Nets(cell)
        self.seen: set[tuple[str, str]] = set()
        self.reached: set[str] = set()

    def run(self) -> SupplyView:
        rows: list[SupplyRow] = []
        for item in self.cell.items.values():
            if item.part.family != "supply":
                continue
            for spec in item.part.elements:
                if spec.kind != "source":
                    continue
                self.reached.add(item.name)
                load = self.loads.get(f"{item.name}.{spec.name}")
                row = SupplyRow(0, "supply", item.name, _about(item), load=load)
                rows += self._with(row, item, spec.tail)
        unfed = tuple(
            i.name
            for i in self.cell.items.values()
            if i.name not in self.reached
            and i.part.family not in PASS_ON
            and any(plus for plus, _ in feeds_of(i))
        )
        return SupplyView(self.cell.name, self.cell.revision, tuple(rows), unfed)

    def _with(self, row: SupplyRow, item: Item, net: str) -> Iterator[SupplyRow]:
        """Yield a row, told what hangs on it, and the rows of what is larger than a device."""
        devices: list[str] = []
        below: list[SupplyRow] = []
        self._behind(item.name, net, row.depth + 1, "", devices, below)
        works = self._works(item, net) if row.kind == "item" else ()
        named = dict.fromkeys((*devices, *works))
        yield self._judged(replace(row, feeds=tuple(named)), item, net, devices)
        yield from below

    def _judged(self, row: SupplyRow, item: Item, net: str, devices: Sequence[str]) -> SupplyRow:
        own = [item.name] if row.kind == "item" else []
        alive = item.part.alive
        fed = [*(own if alive is not None and alive.tail == net else []), *devices]
        volts = [(self.lowest[n], n) for n in fed if n in self.lowest]
        keys = [f"{item.name} {net}"]
        keys += [k for n in devices for k in self.shorts if k.partition(" ")[0] == n]
        shorts = [self.shorts[k] for k in keys if k in self.shorts]
        worst = min(shorts, key=lambda s: s.low_a, default=None)
        low, place = min(volts, default=(None, ""))
        told = None
        if worst is not None:
            where = worst.item.partition(" ")[0]
            told = ShortAt(where, worst.low_a, worst.high_a, _verdict(worst))
        return replace(row, lowest_v=low, lowest_at=place, short=told)

    def _works(self, item: Item, net: str) -> tuple[str, ...]:
        """Return the loads worked by outputs whose common is this net."""
        groups = [channels for side, common, channels in commons_of(item) if common == net]
        names = {c.name for channels in groups for c in channels if c.kind == "output"}
        return tuple(
            s.drives.partition(".")[0]
            for s in self.cell.signals.values()
            if s.item == item.name and s.channel.name in names and s.drives
        )

    def _behind(
        self,
        item_name: str,
        net: str,
        depth: int,
        over: str,
        devices: list[str],
        below: list[SupplyRow],
    ) -> None:
        if (item_name, net) in self.seen:
            return
        self.seen.add((item_name, net))
        item = self.cell.items[item_name]
        for terminal in self.nets.terminals_on(item, net):
            for join in self.nets.joins_at.get(terminal, ()):
                name = join.conductor if join.cable else ""
                chain = " ".join(w for w in (over, name) if w)
                self._over(other_end(join, terminal), depth, chain, devices, below)
        for spec in item.part.elements:
            if spec.kind in GUARDS and spec.tail == net:
                name = f"{item.name}.{spec.name}"
                row = SupplyRow(depth, "branch", name, "", over, self.loads.get(name))
                made = list(self._with(row, item, spec.head))
                if len(made) > 1 or made[0].feeds or (item.name, spec.head) in self.nets_used:
                    below += made

    @property
    def nets_used(self) -> set[tuple[str, str]]:
        """Return the nets with something landed on them."""
        return {
            (t.item, net)
            for t in self.nets.joins_at
            if (net := self.cell.items[t.item].net(t)) is not None
        }

    def _over(
        self, far: Terminal, depth: int, over: str, devices: list[str], below: list[SupplyRow]
    ) -> None:
        item = self.cell.items[far.item]
        net = item.net(far)
        if net is None or (far.item, net) in self.seen:
            return
        guards = any(s.kind in GUARDS and s.tail == net for s in item.part.elements)
        if item.part.family in PASS_ON:
            self._behind(far.item, net, depth, f"{over} via {far.item}", devices, below)
            return
        self.reached.add(item.name)
        if item.part.family in FIELD and not guards:
            devices.append(item.name)
            self._behind(far.item, net, depth, over, devices, below)
            return
        if guards:
            self._behind(far.item, net, depth, over, devices, below)
            return
        row = SupplyRow(depth, "item", str(far), _about(item), over.strip())
        below += self._with(row, item, net)


def _about(item: Item) -> str:
    return item.note or item.part.title


def _verdict(short: FarShort) -> str:
    if short.low_a >= short.fast_a:
        return "at once"
    return "late" if short.low_a >= short.sure_a else "may never"
