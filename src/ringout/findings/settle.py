"""Positions of everything the circuit moves itself, brought in line with the solution."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringout.circuit.model import TYP, BoolArray, Circuit, IntArray
from ringout.solve import Device, Solution, settle


@dataclass(frozen=True)
class SettledStates:
    """States with relays and electronics where the voltages put them.

    Args:
        positions: (S, A) positions after settling.
        solution: node voltages and element currents at typical values.
        chatter: (S,) True where no steady state exists.
    """

    positions: IntArray
    solution: Solution
    chatter: BoolArray


def devices_of(circuit: Circuit) -> tuple[list[Device], list[int]]:
    """Return the two-way discrete devices for the solver and their actors' columns."""
    devices: list[Device] = []
    columns: list[int] = []
    on, off = circuit.on_curve[TYP], circuit.off_curve[TYP]
    for driven in circuit.driven:
        if driven.one_way:
            continue
        when_on: dict[int, int] = {}
        when_off: dict[int, int] = {}
        for slot in range(2):
            for element in np.flatnonzero(circuit.cond_actor[:, slot] == driven.actor).tolist():
                mask = int(circuit.cond_mask[element, slot])
                both = circuit.cond_actor[element, 1] >= 0
                for position, table in (
                    (driven.on_position, when_on),
                    (driven.off_position, when_off),
                ):
                    if not mask >> position & 1:
                        table[element] = int(off[element])
                    elif not both:
                        table[element] = int(on[element])
        devices.append(
            Device(
                name=circuit.actors[driven.actor].name,
                sense=driven.sense,
                a=driven.tail,
                b=driven.head,
                on_at=driven.on_at.typ,
                off_at=driven.off_at.typ,
                one_way=False,
                when_off=when_off,
                when_on=when_on,
                absolute=circuit.actors[driven.actor].moved_by == "coil",
                initial=circuit.actors[driven.actor].moved_by == "voltage",
            )
        )
        columns.append(driven.actor)
    return devices, columns


def settle_states(
    circuit: Circuit, positions: IntArray, curve_of: IntArray, *, begin_on: bool | None = None
) -> SettledStates:
    """Settle a batch of states at typical values.

    Args:
        circuit: compiled cell.
        positions: (S, A) where persons and commands put things.
        curve_of: (S, E) curves for these positions before any device reacts.
        begin_on: every relay begins pulled in or released; None: released, electronics alive.

    Returns:
        The settled states; a device's column holds its own position.
    """
    devices, columns = devices_of(circuit)
    start = None
    if begin_on is not None:
        start = np.array(
            [begin_on or circuit.actors[c].moved_by == "voltage" for c in columns], dtype=np.bool_
        )
        start = np.repeat(start[None, :], len(positions), axis=0)
    result = settle(circuit.network, curve_of, devices, start)
    settled = positions.copy()
    driven = [d for d in circuit.driven if not d.one_way]
    for number, (column, device) in enumerate(zip(columns, driven, strict=True)):
        settled[:, column] = np.where(
            result.state[:, number], device.on_position, device.off_position
        )
    return SettledStates(settled, result.solution, result.chatter)
