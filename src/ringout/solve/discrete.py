"""Devices with states of their own: relays, brown-outs, fuses. They are outside the solve.

For given states the network has one solution; the solution moves the devices; and so on until
nothing moves. A set of states that comes back is chatter, which is a fact about the circuit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.network import Network
from ringout.solve.newton import Solution, plan_of, solve_cases

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOST_ENUMERATED = 12  # two-way devices of which every combination is tried
MOST_BRANCHES = 4096  # orders of opening that are followed


@dataclass(frozen=True, slots=True)
class Device:
    """Something that goes on and off by what it senses.

    Args:
        name: the user's name.
        sense: `volts` from node `a` to node `b`, or `amps` through `element`.
        a: first node; with `amps` and no `element`, the element.
        b: second node.
        on_at: goes on at this level and above; not used for one-way devices.
        off_at: goes off below this level, which is not above `on_at`; a one-way device goes
            off when the sensed value exceeds it in either direction, and stays off.
        one_way: fuse or latch.
        when_off: curves, by element, that replace the case's own while it is off.
        when_on: curves, by element, while it is on.
        initial: the state it starts in; one-way devices start on.
        element: element whose current is sensed, -1 for none.
        absolute: the polarity does not matter (coil without diode).
    """

    name: str
    sense: str
    a: int
    b: int
    on_at: float
    off_at: float
    one_way: bool
    when_off: Mapping[int, int] = field(default_factory=dict)
    when_on: Mapping[int, int] = field(default_factory=dict)
    initial: bool = False
    element: int = -1
    absolute: bool = False

    @property
    def sensed_element(self) -> int:
        """Return the element whose current is sensed."""
        return self.element if self.element >= 0 else self.a

    def starts_on(self) -> bool:
        """Return the state before anything has been solved."""
        return self.initial or self.one_way


@dataclass(frozen=True, eq=False)
class Settled:
    """Cases whose D devices agree with the solution, or never do.

    Args:
        solution: the cases as last solved.
        state: (S, D) True where a device is on.
        curve_of: (S, E) the curves these states select.
        chatter: (S,) the states repeat without ever agreeing.
        rounds: (S,) solves each case took.
        together: (S,) two one-way devices exceeded at once, so the outcome may depend on
            which opens first; `settle_all` follows each order.
    """

    solution: Solution
    state: BoolArray
    curve_of: IntArray
    chatter: BoolArray
    rounds: IntArray
    together: BoolArray


def sensed(devices: Sequence[Device], solution: Solution) -> FloatArray:
    """Return (S, D) what each device senses, in volts or amperes."""
    values = np.empty((len(solution.solved), len(devices)))
    for d, device in enumerate(devices):
        if device.sense == "volts":
            value = solution.node_v[:, device.a] - solution.node_v[:, device.b]
        else:
            value = solution.element_a[:, device.sensed_element]
        values[:, d] = np.abs(value) if device.absolute or device.one_way else value
    return values


def next_state(devices: Sequence[Device], state: BoolArray, value: FloatArray) -> BoolArray:
    """Return (S, D) the states that the sensed values ask for; NaN asks for no change."""
    on_at = np.array([d.on_at for d in devices])
    off_at = np.array([d.off_at for d in devices])
    one_way = np.array([d.one_way for d in devices], dtype=np.bool_)
    two_way = np.where(state, ~(value < off_at), value >= on_at)
    return np.where(one_way, state & ~(value > off_at), two_way)


def choose_curves(devices: Sequence[Device], curve_of: IntArray, state: BoolArray) -> IntArray:
    """Return (S, E) the curves with every device's choice put in; later devices win."""
    chosen = np.array(curve_of, dtype=np.int64, copy=True)
    for d, device in enumerate(devices):
        on = state[:, d]
        for element, curve in device.when_on.items():
            chosen[on, element] = curve
        for element, curve in device.when_off.items():
            chosen[~on, element] = curve
    return chosen


def settle(
    network: Network,
    curve_of: IntArray,
    devices: Sequence[Device],
    start_state: BoolArray | None = None,
) -> Settled:
    """Bring the devices of a batch of cases in line with the solution.

    All devices that want to move do so at once, as things do that take equally long.

    Args:
        network: N nodes, E elements.
        curve_of: (S, E) curves before any device has its say.
        devices: D devices.
        start_state: (S, D) states to start from; the devices' own when not given.

    Returns:
        The settled cases. One that cannot be solved keeps its last states and holds NaN.
    """
    curve_of = np.asarray(curve_of, dtype=np.int64)
    cases = curve_of.shape[0]
    if start_state is None:
        start = np.array([d.starts_on() for d in devices], dtype=np.bool_)
        state = np.repeat(start[None, :], cases, axis=0)
    else:
        state = np.array(start_state, dtype=np.bool_, copy=True)
    chosen = choose_curves(devices, curve_of, state)
    plan = plan_of(network)
    solution = solve_cases(network, chosen, plan=plan)
    rounds = np.ones(cases, dtype=np.int64)
    chatter = np.zeros(cases, dtype=np.bool_)
    together = np.zeros(cases, dtype=np.bool_)
    one_way = np.array([d.one_way for d in devices], dtype=np.bool_)
    seen = [{row.tobytes()} for row in state]
    active = np.arange(cases if devices else 0)
    while len(active):
        wanted = next_state(devices, state[active], sensed(devices, solution.take(active)))
        moved = wanted != state[active]
        together[active] |= (moved & one_way).sum(axis=1) > 1
        moving = moved.any(axis=1)
        active, wanted = active[moving], wanted[moving]
        state[active] = wanted
        if not len(active):
            break
        keys = [row.tobytes() for row in wanted]
        repeated = np.array([key in seen[s] for s, key in zip(active, keys, strict=True)])
        for s, key in zip(active, keys, strict=True):
            seen[s].add(key)
        chatter[active[repeated]] = True
        chosen[active] = choose_curves(devices, curve_of[active], wanted)
        again = solve_cases(network, chosen[active], start_v=solution.node_v[active], plan=plan)
        rounds[active] += 1
        _put(solution, active, again)
        active = active[~repeated]
    return Settled(solution, state, chosen, chatter, rounds, together)


def _put(solution: Solution, rows: IntArray, part: Solution) -> None:
    solution.node_v[rows] = part.node_v
    solution.element_a[rows] = part.element_a
    solution.residual_a[rows] = part.residual_a
    solution.solved[rows] = part.solved
    solution.iterations[rows] = part.iterations


def settle_all(network: Network, curve_of: IntArray, devices: Sequence[Device]) -> list[Settled]:
    """Find every state of the devices that agrees with the solution it causes.

    Up to `MOST_ENUMERATED` two-way devices are tried in all combinations; beyond that only
    what is reached from rest and from everything on. One-way devices start unblown and open
    from states the two-way devices agree with, or on the way from the devices' own initial
    states; where several exceed at once each order of opening is followed.

    Args:
        network: N nodes, E elements.
        curve_of: (E,) curves before any device has its say.
        devices: D devices.

    Returns:
        One settled case (S = 1) per self-consistent state, the one with the fewest devices on
        first; several mean that it depends on the order of switching on, none that it
        chatters from everywhere.
    """
    curve_of = np.asarray(curve_of, dtype=np.int64)
    initial = np.array([d.starts_on() for d in devices], dtype=np.bool_)[None, :]
    one_way = np.array([d.one_way for d in devices], dtype=np.bool_)
    if len(devices) - int(one_way.sum()) <= MOST_ENUMERATED:
        choices = [(True,) if d.one_way else (False, True) for d in devices]
        rows = list(product(*choices))
        seeds = np.array(rows, dtype=np.bool_).reshape(len(rows), len(devices))
    else:
        ends = [
            settle(network, curve_of[None, :], devices, begin).state[0] | one_way
            for begin in (initial, np.ones_like(initial))
        ]
        seeds = np.unique(np.array(ends), axis=0)
    return _Search(network, curve_of, devices).run(seeds, initial)


class _Search:
    """Follows devices from state to state, one batch of states at a time."""

    def __init__(self, network: Network, curve_of: IntArray, devices: Sequence[Device]) -> None:
        self.network, self.curve_of, self.devices = network, curve_of, devices
        self.one_way = np.array([d.one_way for d in devices], dtype=np.bool_)
        self.found: dict[bytes, Settled] = {}
        self.seen: set[bytes] = set()

    def run(self, seeds: BoolArray, initial: BoolArray) -> list[Settled]:
        """Return the consistent states; `seeds` are left only by opening one-way devices."""
        rounds = 1
        ahead = self._visit(seeds, rounds, seeds_only=True)
        self.seen |= {row.tobytes() for row in ahead}
        self.seen.add(initial[0].tobytes())
        state = np.concatenate([initial, ahead])
        while len(state) and len(self.seen) <= MOST_BRANCHES:
            rounds += 1
            ahead = self._visit(state, rounds, seeds_only=False)
            fresh = [row for row in np.unique(ahead, axis=0) if row.tobytes() not in self.seen]
            self.seen |= {row.tobytes() for row in fresh}
            state = np.array(fresh, dtype=np.bool_).reshape(len(fresh), len(self.devices))
        return sorted(self.found.values(), key=lambda f: (int(f.state.sum()), f.state[0].tolist()))

    def _visit(self, state: BoolArray, rounds: int, *, seeds_only: bool) -> BoolArray:
        """Solve some states, note the consistent ones and return those that follow."""
        base = np.repeat(self.curve_of[None, :], len(state), axis=0)
        chosen = choose_curves(self.devices, base, state)
        solution = solve_cases(self.network, chosen)
        moved = next_state(self.devices, state, sensed(self.devices, solution)) != state
        ahead: list[BoolArray] = []
        for s, moves in enumerate(moved):
            opening, turning = moves & self.one_way, moves & ~self.one_way
            if not moves.any() and bool(solution.solved[s]):
                row = np.array([s])
                no = np.zeros(1, dtype=np.bool_)
                self.found[state[s].tobytes()] = Settled(
                    solution.take(row), state[row], chosen[row], no, np.array([rounds]), no
                )
            if turning.any() and seeds_only:
                continue
            if turning.any():
                ahead.append(state[s] ^ turning)
            for d in np.flatnonzero(opening):
                after = state[s].copy()
                after[d] = False
                ahead.append(after)
        return np.array(ahead, dtype=np.bool_).reshape(len(ahead), len(self.devices))
