"""Zeroing the leads: the tips held together a few times, at the start and at the end of a run."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from statistics import fmean, stdev

TOUCHES = 3
MOST_LEAD_OHM = 5.0  # more than any pair of leads: something else is between the tips


@dataclass
class LeadZero:
    """Collects the touches.

    `resolution_ohm`: the worth of the meter's last digit. `touch_ohm`: standard uncertainty of one touch.
    """

    wanted: int = TOUCHES
    values_ohm: list[float] = field(default_factory=list)
    resolution_ohm: float = 0.0
    touch_ohm: float = 0.0

    def add(self, value_ohm: float, resolution_ohm: float = math.nan) -> bool:
        """Take one touch; True when there are enough. Raises ValueError for what cannot be leads."""
        if not -MOST_LEAD_OHM < value_ohm < MOST_LEAD_OHM:
            raise ValueError("more than any pair of leads has: hold the two tips together, metal on metal")
        self.values_ohm.append(value_ohm)
        if math.isfinite(resolution_ohm):
            self.resolution_ohm = max(self.resolution_ohm, resolution_ohm)
        return len(self.values_ohm) >= self.wanted

    @property
    def ohm(self) -> float:
        """The mean of the touches."""
        return fmean(self.values_ohm)

    @property
    def uncertainty_ohm(self) -> float:
        """Standard uncertainty of the mean: scatter of the touches and rounding (JCGM 100, 4.2.3 and 4.3.7).

        One touch alone has no scatter to go by; the instrument's `touch_ohms` then stands for it.
        """
        rounding = self.resolution_ohm / math.sqrt(12.0)
        count = len(self.values_ohm)
        scatter = stdev(self.values_ohm) / math.sqrt(count) if count > 1 else self.touch_ohm
        return max(math.hypot(scatter, rounding), 1e-6)
