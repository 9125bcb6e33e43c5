"""What a hands-free meter must not take for a reading: fingers on both tips, and a tip that is dragged."""

from __future__ import annotations

import math

import numpy as np

from loomtest.harness.model import FloatArray


class Fingers:
    """Both tips held in fingers: the person's own resistance, wandering between 0.2 and 8 MΩ."""

    def __init__(self, rng: np.random.Generator, hold_s: float) -> None:
        self.hold_s = hold_s
        self._level = float(np.exp(rng.uniform(math.log(2e5), math.log(8e6))))
        self._phase = float(rng.uniform(0.0, 2 * math.pi))
        self._swing = float(rng.uniform(0.0, 0.4))

    def ohms(self, since_s: FloatArray) -> FloatArray:
        """(n,) resistance at these times since the tips were taken up."""
        value = self._level * (1.0 + self._swing * np.sin(2 * math.pi * 0.7 * since_s + self._phase))
        return np.asarray(
            np.where((since_s < 0.0) | (since_s > self.hold_s), np.inf, value), dtype=np.float64
        )


class Brush:
    """A tip dragged over pins with one hand: contacts of 20 to 300 ms that never rest."""

    def __init__(self, rng: np.random.Generator, hold_s: float) -> None:
        self.hold_s = hold_s
        count = int(hold_s * 3) + 1
        starts = np.sort(rng.uniform(0.0, hold_s, count))
        ends = np.minimum(starts + rng.uniform(0.02, 0.3, count), np.append(starts[1:], hold_s) - 0.01)
        self._spans = list(zip(starts, ends, rng.lognormal(1.0, 2.0, count), strict=True))

    def ohms(self, since_s: FloatArray) -> FloatArray:
        """(n,) resistance at these times since the dragging began."""
        value = np.full(since_s.shape, np.inf)
        for start, end, ohm in self._spans:
            value[(since_s >= start) & (since_s < end)] = ohm
        return value
