"""Readings of the pair that is asked for which did not fit, until one fits or the same comes twice."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class DoubtfulReading:
    """A reading on disk that did not fit: its row, as it was typed or shown, and its number."""

    row: int
    text: str
    value: float


@dataclass
class Doubts:
    """`doubt_ohm`: what a reading of so many ohms may be off by."""

    doubt_ohm: Callable[[float], float]
    readings: list[DoubtfulReading] = field(default_factory=list)

    def add(self, reading: DoubtfulReading) -> bool:
        """Take one more; True where an earlier one read the same: twice the same is believed."""
        same = any(self._agree(one.value, reading.value) for one in self.readings)
        self.readings.append(reading)
        return same

    def odd_beside(self, value: float) -> list[DoubtfulReading]:
        """Those that read otherwise than `value`."""
        return [one for one in self.readings if not self._agree(one.value, value)]

    def _agree(self, one: float, two: float) -> bool:
        if math.isinf(one) or math.isinf(two):
            return one == two
        return abs(one - two) <= max(0.1 * max(abs(one), abs(two)), self.doubt_ohm(two))
