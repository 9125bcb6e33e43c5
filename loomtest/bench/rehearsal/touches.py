"""A hand at the probes and a meter in front of it, simulated: for rehearsal and for scoring the capture.

What a touch looks like electrically is common practice, not a published model: the contact bounces for
some tens of milliseconds, its resistance falls as the tip is pressed in, it flutters a little while it is
held, and it bounces again when it is lifted. Everything is invented and drawn from the given generator.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loomtest.bench.meter.protocol import Shown
from loomtest.harness.model import FloatArray
from loomtest.readings.model import Instrument

_FLUTTER_HZ = ((1.0, 3.0), (2.0, 6.0), (4.0, 9.0), (8.0, 13.0))  # bands of a hand's tremor


class Touch:
    """Both probes on two points that `path_ohm` joins (+inf: nothing does), for `hold_s` seconds.

    `four_wire`: the contacts are not in the reading, but they still bounce and let go. `clipped`: a clip,
    which bounces while it is put on and then stays.

    `shaky`: a hand that does not hold still; its contact wanders by ohms and lets go again and again.
    """

    def __init__(
        self,
        rng: np.random.Generator,
        path_ohm: float,
        hold_s: float,
        *,
        shaky: bool = False,
        four_wire: bool = False,
        clipped: bool = False,
    ) -> None:
        self.path_ohm, self.hold_s, self.shaky = path_ohm, hold_s, shaky
        self.contact_ohm = float(rng.uniform(0.0, 0.02))
        self._press_ohm = float(rng.lognormal(-1.0, 1.0))
        self._press_s = float(rng.uniform(0.02, 0.12))
        bounce_s = float(rng.uniform(0.02, 0.15))
        self._onset = np.cumsum(rng.exponential(bounce_s / 6.0, 12))
        self._release = hold_s - np.cumsum(rng.exponential(bounce_s / 6.0, 12))
        size = float(rng.uniform(1.0, 6.0)) if shaky else float(rng.uniform(0.0, 0.01))
        self._flutter = [
            (
                float(rng.uniform(*hz)),
                float(rng.uniform(0.0, 2 * math.pi)),
                size * float(rng.uniform(0.5, 1.0)),
            )
            for hz in _FLUTTER_HZ
        ]
        rate_hz = 2.0 if shaky else 0.05
        starts = np.cumsum(rng.exponential(1.0 / rate_hz, 0 if clipped else 40))
        if four_wire:
            self.contact_ohm = self._press_ohm = 0.0
            self._flutter = []
        self._lapses = [(float(s), float(s + rng.uniform(0.02, 0.12))) for s in starts if s < hold_s]

    @property
    def true_ohm(self) -> float:
        """What a perfect meter would show once the contact is pressed in."""
        return self.path_ohm + self.contact_ohm

    def ohms(self, since_s: FloatArray) -> FloatArray:
        """(n,) resistance at these times since the first contact; +inf where the tips are apart."""
        wander: FloatArray = np.zeros(since_s.shape)
        for hz, phase, size in self._flutter:
            wander = wander + size * (1.0 + np.sin(2 * math.pi * hz * since_s + phase)) / 2.0
        press = self._press_ohm * np.exp(-np.maximum(since_s, 0.0) / self._press_s)
        value = self.true_ohm + press + wander
        bounces = np.searchsorted(self._onset, since_s) % 2 == 1
        late = np.searchsorted(np.sort(self._release), since_s)
        bounces |= (late % 2 == 1) & (since_s > self._release.min())
        away = (since_s < 0.0) | (since_s > self.hold_s) | bounces
        for start, end in self._lapses:
            away |= (since_s > start) & (since_s < end)
        return np.asarray(np.where(away, np.inf, value), dtype=np.float64)


@dataclass
class MeterFront:
    """A meter's converter and display: averages over `integrate_s`, errs within its limits, rounds.

    The gain and offset errors are drawn once, as a maker's limit of error is common to a whole run.
    """

    instrument: Instrument
    rng: np.random.Generator
    interval_s: float = 0.25
    integrate_s: float = 0.1
    noise_counts: float = 0.3

    def __post_init__(self) -> None:
        self._gain = float(self.rng.uniform(-0.5, 0.5))
        self._offset = float(self.rng.uniform(-0.3, 0.3))

    def instants(self, time_s: float) -> FloatArray:
        """(8,) times at which the converter looks for the value that it shows at `time_s`."""
        before: FloatArray = (np.arange(8, dtype=np.float64) + 0.5) * (self.integrate_s / 8.0)
        return time_s - before

    def show(self, ohms: FloatArray) -> Shown:
        """What is shown for (8,) resistances met while integrating; open leads may pick up some hum."""
        top = self.instrument.ranges[-1]
        ceiling = 1.5 * top.up_to_ohms
        mean = float(np.minimum(ohms, ceiling).mean())
        if np.isinf(ohms).all() and top.up_to_ohms > 5e6 and self.rng.random() < 0.01:
            mean = float(self.rng.uniform(0.3, 1.0) * top.up_to_ohms)
        for each in self.instrument.ranges:
            value = mean * (1.0 + self._gain * each.percent / 100.0)
            value += each.resolution_ohms * (
                self._offset * each.counts + self.noise_counts * float(self.rng.standard_normal())
            )
            digits = round(value / each.resolution_ohms)
            if digits * each.resolution_ohms < each.up_to_ohms:
                return Shown(max(0, digits) * each.resolution_ohms, "ohm", each.resolution_ohms)
        return Shown(math.inf, "ohm")
