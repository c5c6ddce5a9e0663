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

__all__ = [
    "HARD",
    "LOCAL",
    "REFERENCE",
    "UNSOLVED",
    "Campaign",
    "Compiled",
    "Neighbourhood",
    "Result",
]
