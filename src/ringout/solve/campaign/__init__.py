"""The fast engine for campaigns; importing it imports numba, so only campaigns do."""

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
