"""The next look: what splits the suspects best for what it costs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ringout.cell.model import Cell
from ringout.circuit.faults import Fault, with_faults
from ringout.circuit.model import IntArray
from ringout.circuit.network import FloatArray
from ringout.find.model import NextLook, Observation
from ringout.find.suspects import Suspects
from ringout.find.tell import look_words, seen_words
from ringout.findings.effects import lay_out
from ringout.findings.looks import Look, Predictor, lamp_of
from ringout.findings.looks.dead import DeadCells
from ringout.findings.looks.display import meter_error
from ringout.findings.looks.places import moving_s, pairs_of, place_cost_s, rails_of, standing
from ringout.findings.looks.powered import PoweredCells
from ringout.tables.steps import step_seconds

MOST_SUSPECTS = 24
MOST_STATES = 8
ENOUGH_BITS = 0.25
EACH_S = 30.0  # to read, write down and think, whatever the look: common practice
LIFTED_TRIED = 4
SETTLED = 0.95  # one group of suspects with this share: nothing more to measure
FADES = 0.02  # suspects of less than this share of the first are left out


@dataclass(frozen=True, eq=False)
class Option:
    """A look with what each suspect would show."""

    look: Look
    seconds: float
    low: FloatArray
    typ: FloatArray
    high: FloatArray


@dataclass(frozen=True, slots=True)
class Choice:
    """What to look at next.

    Args:
        next: the best look; None when nothing splits what is left, or one group is certain.
        alike: groups of suspects (class numbers) that no look tells apart, the first one's
            group first.
    """

    next: NextLook | None
    alike: tuple[tuple[int, ...], ...]


class Chooser:
    """Chooses looks at one cell.

    Args:
        cell: the cell as drawn.
        predictor: predicts single looks, cores lifted included.
    """

    def __init__(self, cell: Cell, predictor: Predictor) -> None:
        self.cell, self.predictor = cell, predictor
        self.laid = lay_out(cell)
        circuit = self.laid.circuit
        self.plus, self.minus = rails_of(circuit)
        pairs = pairs_of(circuit, self.plus, self.minus)
        self.volts = [p for p in pairs if circuit.node(p.b) in self.minus]
        self.ohms = [p for p in pairs if not p.rails]

    def choose(
        self, observations: Sequence[Observation], suspects: Suspects, share: FloatArray
    ) -> Choice:
        """Return the best next look, and the suspects that no look tells apart.

        Args:
            observations: what was seen already; it is not asked again.
            suspects: classes of suspects.
            share: (C,) their shares.
        """
        order = [int(k) for k in np.argsort(-share, kind="stable") if k and share[k] > 0.0]
        order = [k for k in order if share[k] >= FADES * share[order[0]]][:MOST_SUSPECTS]
        if len(order) < 2:
            return Choice(None, tuple((k,) for k in order))
        faults = [suspects.members[k][0] for k in order]
        weight = share[order] / share[order].sum()
        asked = {o.look for o in observations if o.look is not None}
        options = [o for o in self.options(observations, faults) if o.look not in asked]
        groups = _inseparable(options, len(order))
        best = _best(options, weight)
        if best is None or _bits(best, weight) < ENOUGH_BITS:
            options += [o for o in self._lifted(options, faults) if o.look not in asked]
            groups = _inseparable(options, len(order))
            best = _best(options, weight)
        alike = tuple(tuple(order[k] for k in g) for g in groups)
        whole = float(share[list(alike[0])].sum())
        if best is None or whole >= SETTLED:
            return Choice(None, alike)
        return Choice(
            NextLook(
                best.look,
                instruction(best.look),
                _expect(best, faults, weight),
                best.seconds,
                _bits(best, weight),
            ),
            alike,
        )

    # -- looks without taking anything off ---------------------------------------------------

    def _states(self, observations: Sequence[Observation], faults: Sequence[Fault]) -> IntArray:
        """Return the states worth a look: at rest, those told of, those that move suspects."""
        circuit = self.laid.circuit
        base = self.laid.found.base[0]
        rows = [base]
        for o in observations:
            if o.look is not None and o.look.powered:
                row = base.copy()
                for actor, position in o.look.state:
                    column = circuit.actor_index[actor]
                    row[column] = circuit.actors[column].positions.index(position)
                rows.append(row)
        for fault in faults:
            own = self.laid.reach.states(fault).positions
            rows.extend(own[(own != base).sum(axis=1) <= 1])
        unique = list({r.tobytes(): r for r in rows}.values())
        return np.stack(unique[:MOST_STATES])

    def options(self, observations: Sequence[Observation], faults: Sequence[Fault]) -> list[Option]:
        """Return every look without taking anything off, with what each suspect would show.

        Args:
            observations: what was seen; their states are among those looked at.
            faults: F suspects.
        """
        states = self._states(observations, faults)
        count = len(faults)
        positions = np.repeat(states, count, axis=0)
        fault_of = np.tile(np.arange(count), len(states))
        out: list[Option] = []
        cells = PoweredCells(self.laid, faults, [(p.a, p.b) for p in self.volts])
        seen = cells.see(positions, fault_of)
        for number, row in enumerate(states):
            state = standing(self.laid.circuit, row)
            move_s = moving_s(self.cell, state)
            rows = slice(number * count, (number + 1) * count)
            for k, pair in enumerate(self.volts):
                if seen.firm[rows, k].all():
                    look = Look("volts", pair.a, pair.b, state=state)
                    low, high = seen.low_v[rows, k], seen.high_v[rows, k]
                    cost = step_seconds("volts") + pair.cost_s + move_s
                    out.append(Option(look, cost, low, (low + high) / 2, high))
            for k, w in enumerate(self.laid.watched):
                words = seen.low_word[rows, k], seen.high_word[rows, k]
                if (words[0] < 0).any():
                    continue
                kind = w.look
                doubt = (words[0] == 1) | (words[1] == 1) if kind == "level" else False
                low = np.where(doubt, 0, words[0]).astype(np.float64)
                high = np.where(doubt, 2, words[1]).astype(np.float64)
                cost = step_seconds("inputs" if kind == "level" else "load") + move_s
                look = Look(kind, what=w.name, state=state)
                out.append(Option(look, cost, low, low, high))
            if all(self.cell.actors[a].moved_by == "person" for a, _ in state):
                out += self._dead(row, state, faults)
        return out

    def _dead(
        self, row: IntArray, state: tuple[tuple[str, str], ...], faults: Sequence[Fault]
    ) -> Iterator[Option]:
        """Yield looks with power off in a state that hands alone bring about."""
        circuit, count = self.laid.circuit, len(faults)
        cells = DeadCells(
            with_faults(circuit, faults), np.repeat(row[None, :], count, axis=0), np.arange(count)
        )
        nodes = np.array([(circuit.node(p.a), circuit.node(p.b)) for p in self.ohms])
        found = cells.readings(nodes)
        extra = step_seconds("ohms") + step_seconds("off") + moving_s(self.cell, state)
        for k, pair in enumerate(self.ohms):
            look = Look("ohms", pair.a, pair.b, state=state, powered=False)
            low, high = found.low[:, k], found.high[:, k]
            yield Option(look, extra + pair.cost_s, low, low, high)

    # -- lamps, and looks with a core taken off ----------------------------------------------

    def _lifted(self, options: Sequence[Option], faults: Sequence[Fault]) -> Iterable[Option]:
        """Yield looks that cost more: the lamps of devices, and cores of suspects taken off."""
        states = list(dict.fromkeys(o.look.state for o in options))[:MOST_STATES]
        items = list(dict.fromkeys(i for f in faults for i in f.items))
        for item in items:
            if lamp_of(self.laid.circuit, item) is None:
                continue
            for state in states:
                yield self._one(Look("lamp", what=item, state=state), step_seconds("load"), faults)
        minus = next((p.b for p in self.volts), None)
        if minus is None:
            return
        cores = [
            (j, end)
            for j in self.cell.joins
            for end in (j.a, j.b)
            if any(j.cable in f.cables or end.item in f.items for f in faults[:4])
            and self.laid.circuit.node(end) not in self.plus | self.minus
        ]
        for join, end in cores[:LIFTED_TRIED]:
            name = f"{join.conductor}@{end.item}"
            seconds = step_seconds("lift") + step_seconds("volts")
            for state in states[:1]:
                seconds_here = seconds + place_cost_s(self.cell, end, minus)
                bare = Look("volts", name, minus, state=state, lifted=(name,))
                yield self._one(bare, seconds_here, faults)
                yield self._one(replace(bare, a=end), seconds_here, faults)

    def _one(self, look: Look, seconds: float, faults: Sequence[Fault]) -> Option:
        seen = self.predictor.see(look, faults)
        low = np.where(seen.firm, seen.low, 0.0)
        high = np.where(seen.firm, seen.high, np.maximum(seen.high, 30.0))
        return Option(look, seconds + moving_s(self.cell, look.state), low, seen.typ, high)


def clusters(option: Option) -> list[list[int]]:
    """Return suspects that this look cannot tell apart, in order of what they show."""
    low, high = option.low, option.high
    if np.isnan(low).any() or np.isnan(high).any():
        return [list(range(len(low)))]
    if option.look.by_meter:
        low = low - meter_error(low, option.look.kind)
        high = high + meter_error(high, option.look.kind)
    spans = sorted(zip(low.tolist(), high.tolist(), range(len(low)), strict=True))
    groups: list[list[int]] = []
    top = -math.inf
    for first, last, k in spans:
        if groups and first <= top:
            groups[-1].append(k)
        else:
            groups.append([k])
        top = max(top, last)
    return groups


def _inseparable(options: Iterable[Option], count: int) -> list[list[int]]:
    """Return groups of suspects that no look separates, by their likeliest member."""
    apart = np.zeros((count, count), dtype=np.bool_)
    for option in options:
        label = np.empty(count, dtype=np.int64)
        for number, group in enumerate(clusters(option)):
            label[group] = number
        apart |= label[:, None] != label[None, :]
    groups: list[list[int]] = []
    for k in range(count):
        home = next((g for g in groups if not apart[k, g].any()), None)
        if home is None:
            groups.append([k])
        else:
            home.append(k)
    return groups


def _bits(option: Option, weight: FloatArray) -> float:
    shares = [float(weight[g].sum()) for g in clusters(option)]
    return -sum(s * math.log2(s) for s in shares if s > 0.0)


def _best(options: Iterable[Option], weight: FloatArray) -> Option | None:
    best, best_score = None, 0.0
    for option in options:
        bits = _bits(option, weight)
        if bits < 1e-6:
            continue
        score = bits / (option.seconds + EACH_S)
        if score > best_score:
            best, best_score = option, score
    return best


def _expect(
    option: Option, faults: Sequence[Fault], weight: FloatArray
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    out = []
    for group in clusters(option):
        low = float(np.min(option.low[group]))
        high = float(np.max(option.high[group]))
        typ = float(np.mean(option.typ[group]))
        ids = tuple(faults[k].id for k in sorted(group, key=lambda k: -weight[k]))
        out.append((float(weight[group].sum()), seen_words(option.look, low, typ, high), ids))
    out.sort(key=lambda entry: -entry[0])
    return tuple((shown, ids) for _, shown, ids in out)


def instruction(look: Look) -> str:
    """Return the look as an instruction."""
    words = look_words(look)
    if look.kind == "ohms":
        return f"With power off, measure {words}"
    if look.by_meter:
        return f"Measure {words}, DC volts"
    at_rest = "" if look.state else " with all at rest"
    if look.kind == "level":
        return f"Read input {words}{at_rest}"
    return f"Look at {words}{at_rest}"
