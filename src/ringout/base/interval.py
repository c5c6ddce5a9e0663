"""A value with its tolerance: lowest, typical and highest."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Interval:
    """A quantity in SI units that may lie anywhere from `low` to `high`.

    Args:
        low: smallest value that must be reckoned with.
        typ: value expected on the bench.
        high: largest value that must be reckoned with; low <= typ <= high.
    """

    low: float
    typ: float
    high: float

    @staticmethod
    def exact(value: float) -> Interval:
        """Return the interval that holds one value only."""
        return Interval(value, value, value)

    @staticmethod
    def span(low: float, high: float) -> Interval:
        """Return the interval from `low` to `high` with the middle as typical value."""
        return Interval(low, (low + high) / 2, high)

    def __add__(self, other: Interval) -> Interval:
        return Interval(self.low + other.low, self.typ + other.typ, self.high + other.high)

    def scaled(self, factor: float) -> Interval:
        """Return the interval times a positive factor."""
        return Interval(self.low * factor, self.typ * factor, self.high * factor)
