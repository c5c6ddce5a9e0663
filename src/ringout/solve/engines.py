"""Which engine solves very many cases of one network: the reference engine or the fast one."""

from __future__ import annotations

import logging
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ringout.circuit.network import Network
from ringout.solve.newton import Solution, solve_cases

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

# Seconds on the machine it was written on; only their ratio decides.
REFERENCE_S = 4e-7  # of the reference engine, per case and element
COMPILE_S = 50.0  # the fast engine's kernels, when no earlier run has left them
LOAD_S = 2.5  # when one has; the first base states are solved in it, too
MOST_ELEMENTS = 2000  # beyond, whole solutions take gigabytes, and no gain has been measured
_log = logging.getLogger(__name__)


class Solve(Protocol):
    """Solves (S, E) curves of one network; `start_v` changes the time only."""

    def __call__(self, curve_of: IntArray, start_v: FloatArray | None = None) -> Solution:
        """Return the solution; a case that could not be solved is marked and holds NaN."""


class Reference:
    """The reference engine for one network.

    Args:
        network: N nodes, E elements.
    """

    def __init__(self, network: Network) -> None:
        self.network = network

    def __call__(self, curve_of: IntArray, start_v: FloatArray | None = None) -> Solution:
        """Solve a batch of cases, see `solve_cases`."""
        return solve_cases(self.network, curve_of, start_v=start_v)


def is_worth_it(elements: int, cases: int) -> bool:
    """Return whether the fast engine is sooner done, compiling or loading its kernels included.

    Args:
        elements: of the network.
        cases: to solve in all, roughly.
    """
    alone_s = REFERENCE_S * elements * cases
    if alone_s < 2.0 * LOAD_S or elements > MOST_ELEMENTS:
        return False
    if alone_s < 2.0 * COMPILE_S:
        from ringout.solve.campaign import is_kept

        if not is_kept():
            return False
    return _has_numba()


def _has_numba() -> bool:
    """Return whether numba is there and works; asked only where many cases wait."""
    try:
        import numba  # noqa: F401  # one that does not fit its numpy fails here, too
    except ImportError:
        return False
    return True


def engine_for(network: Network, cases: int) -> Solve:
    """Return the engine that is likely sooner done with so many cases.

    Args:
        network: N nodes, E elements.
        cases: to solve in all, roughly.
    """
    return fast_engine(network) if is_worth_it(network.element_count, cases) else Reference(network)


def fast_engine(network: Network) -> Solve:
    """Return the fast engine for a network; where its kernels must be compiled, that is logged."""
    from ringout.solve.campaign import Near, is_kept

    if not is_kept():
        _log.info("compiling the fast engine: once on this machine, about a minute")
    return Near(network).solve
