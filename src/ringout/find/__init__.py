"""Room 7: from what was seen at the cell to the culprit and the next measurement."""

from ringout.find.model import Culprit, Found, NextLook, Observation
from ringout.find.search import Finder, find_culprits

__all__ = ["Culprit", "Finder", "Found", "NextLook", "Observation", "find_culprits"]
