"""How the kernels are compiled; importing this module imports numba."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numba  # type: ignore[import-untyped, unused-ignore]

_F = TypeVar("_F", bound=Callable[..., object])


def kernel(function: _F) -> _F:
    """Return a function compiled at its first call and kept on disk for the next run."""
    made: _F = numba.njit(cache=True, error_model="numpy", fastmath={"contract"})(function)
    return made


def inlined(function: _F) -> _F:
    """Return a function to be called by kernels only."""
    made: _F = numba.njit(error_model="numpy", fastmath={"contract"})(function)
    return made
