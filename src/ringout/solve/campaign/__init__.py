"""The fast engine for campaigns: very many cases near one base state; the first imports numba."""

from ringout.solve.campaign.engine import (
    HARD,
    LOCAL,
    REFERENCE,
    UNSOLVED,
    Campaign,
    Compiled,
    Neighbourhood,
    Result,
)
from ringout.solve.campaign.jit import is_kept
from ringout.solve.campaign.near import Near

__all__ = [
    "HARD",
    "LOCAL",
    "REFERENCE",
    "UNSOLVED",
    "Campaign",
    "Compiled",
    "Near",
    "Neighbourhood",
    "Result",
    "is_kept",
]
