"""What is asked of each neighbourhood, and its cases as the kernels enumerate them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ringout.circuit.network import Network

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
Change = tuple[int, int]

MOST_LIMITS = 63


@dataclass(frozen=True, slots=True)
class Neighbourhood:
    """Cases that touch the same few elements: every fault in every state.

    A change is (element, curve). Where a fault and a state change the same element, the fault
    has the say.

    Args:
        faults: F lists of changes; an empty list is the sound circuit.
        states: Z lists of changes that all faults are combined with.
        volts: pairs of nodes whose voltage is wanted in each case.
        amps: elements whose current is wanted, after the voltages.
        limits: up to 63 (node, node, volts): decisions, true when the voltage is larger.
    """

    faults: Sequence[Sequence[Change]]
    states: Sequence[Sequence[Change]] = ((),)
    volts: Sequence[tuple[int, int]] = ()
    amps: Sequence[int] = ()
    limits: Sequence[tuple[int, int, float]] = ()


class Cases(NamedTuple):
    """Cases to enumerate: in each neighbourhood every fault in every state.

    Args:
        fault_first: (H + 1,) faults of each neighbourhood.
        fault_change: (F + 1,) changes of each fault.
        fault: (., 2) changed elements of the faults and their new curves.
        state_first: (H + 1,) states of each neighbourhood.
        state_change: (Z + 1,) changes of each state.
        state: (., 2) changed elements of the states and their new curves.
        read_first: (H + 1,) readings of each neighbourhood.
        read: (R, 3) nodes of the voltage, and -1 or the element whose current it is.
        limit_first: (H + 1,) limits of each neighbourhood.
        limit: (D, 2) nodes between which the voltage is compared.
        limit_v: (D,) with what.
        case_first: (H + 1,) cases of each neighbourhood.
        value_first: (H + 1,) readings' values of each neighbourhood.
    """

    fault_first: IntArray
    fault_change: IntArray
    fault: IntArray
    state_first: IntArray
    state_change: IntArray
    state: IntArray
    read_first: IntArray
    read: IntArray
    limit_first: IntArray
    limit: IntArray
    limit_v: FloatArray
    case_first: IntArray
    value_first: IntArray


class Out(NamedTuple):
    """What is kept of each case: readings, decisions as bits, how certified, imbalance."""

    value: FloatArray
    decision: IntArray
    certificate: NDArray[np.uint8]
    residual_a: FloatArray


def cases_of(areas: Sequence[Neighbourhood], network: Network) -> Cases:
    """Return the cases of neighbourhoods.

    Args:
        areas: H neighbourhoods.
        network: N nodes, E elements.

    Raises:
        ValueError: a node, element or curve that is not there, the current of an element that
            joins a node to itself, or too many limits.
    """
    if any(len(area.limits) > MOST_LIMITS for area in areas):
        raise ValueError(f"a neighbourhood may have {MOST_LIMITS} limits")
    loop = network.tail == network.head
    fault_change, fault = _changes([item for area in areas for item in area.faults], network, loop)
    state_change, state = _changes([item for area in areas for item in area.states], network, loop)
    volts = _columns([(a, b, -1) for area in areas for a, b in area.volts], 3)
    amps = _columns([(0, 0, e) for area in areas for e in area.amps], 3)
    _inside("element", amps[:, 2], network.element_count)
    if loop[amps[:, 2]].any():
        raise ValueError("the current of an element that joins a node to itself")
    amps[:, 0], amps[:, 1] = network.tail[amps[:, 2]], network.head[amps[:, 2]]
    limits = [limit for area in areas for limit in area.limits]
    limit = _columns([(a, b) for a, b, _ in limits], 2)
    _inside("node", volts[:, :2], network.node_count)
    _inside("node", limit, network.node_count)
    first = _running(
        [(len(a.faults), len(a.states), len(a.volts), len(a.amps), len(a.limits)) for a in areas]
    )
    f, z, v, a = (np.diff(column) for column in first[:4])
    # the readings of each neighbourhood: its voltages, then its currents
    owner = np.concatenate([np.repeat(np.arange(len(areas)), n) for n in (v, a)])
    read = np.concatenate([volts, amps])[np.argsort(owner, kind="stable")]
    return Cases(
        first[0],
        fault_change,
        fault,
        first[1],
        state_change,
        state,
        first[2] + first[3],
        read,
        first[4],
        limit,
        np.array([v for _, _, v in limits], dtype=float),
        _sum(f * z),
        _sum(f * z * (v + a)),
    )


def _changes(
    items: Sequence[Sequence[Change]], network: Network, loop: NDArray[np.bool_]
) -> tuple[IntArray, IntArray]:
    """Return where each item's changes begin, and all changes.

    An element that joins a node to itself is left out: changing it changes nothing.
    """
    first = _sum([len(item) for item in items])
    change = _columns([pair for item in items for pair in item], 2)
    _inside("element", change[:, 0], network.element_count)
    _inside("curve", change[:, 1], len(network.curves.count))
    keep = ~loop[change[:, 0]]
    if not keep.all():
        first = _sum(keep)[first]
    return first, change[keep]


def _inside(kind: str, numbers: IntArray, count: int) -> None:
    wrong = numbers[(numbers < 0) | (numbers >= count)]
    if wrong.size:
        raise ValueError(f"there is no {kind} {wrong[0]}")


def _columns(rows: Sequence[tuple[int, ...]], width: int) -> IntArray:
    flat = np.fromiter(chain.from_iterable(rows), dtype=np.int64)
    if flat.size != len(rows) * width:
        raise ValueError(f"expected groups of {width} numbers")
    return flat.reshape(-1, width)


def _running(counts: Sequence[tuple[int, ...]]) -> list[IntArray]:
    """Return the running count of each column, from 0."""
    return [_sum(column) for column in np.array(counts, dtype=np.int64).reshape(-1, 5).T]


def _sum(counts: ArrayLike) -> IntArray:
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
