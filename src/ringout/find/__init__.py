"""Room 7: from what was seen at the cell to the culprit and the next measurement."""

from ringout.find.model import Culprit, Found, NextLook, Observation

__all__ = ["Culprit", "Found", "NextLook", "Observation"]
