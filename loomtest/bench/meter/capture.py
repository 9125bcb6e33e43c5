"""Hands-free capture: a state machine that takes a reading once the meter has settled on a touch.

    open ──▶ touching ──▶ settling ──▶ taken ──▶ (lifted) open

No clock and no port: every sample comes with its time. A touch is taken when the last samples span
`window_s`, number at least `least_samples`, lie within the meter's own resolution and noise, and do
not creep. What never comes below over-range is never taken here: an open wire needs a key.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean, median
from typing import Literal

from loomtest.bench.meter.protocol import Shown
from loomtest.readings.model import Instrument

State = Literal["open", "touching", "settling", "taken"]


@dataclass(frozen=True, slots=True)
class SettleRule:
    """When a contact counts as steady. A sample stands for the interval before it.

    Above `auto_below_ohm` nothing is taken by itself: a person's fingers read 0.1 to 10 MΩ.
    """

    window_s: float = 1.0
    least_samples: int = 4
    counts: float = 2.0
    lift_s: float = 0.4
    auto_below_ohm: float = 1e5
    fingers_below_ohm: float = 1e7
    shaky_after_s: float = 5.0

    def required_s(self, interval_s: float) -> float:
        """How long a contact must hold still on a meter that shows a value every `interval_s`."""
        return max(self.window_s, self.least_samples * interval_s)

    def samples(self, interval_s: float, doubtful: bool) -> int:
        """How many values that takes; twice as many where the contact would not come to rest at first."""
        needed = self.least_samples
        if interval_s > 0.0:
            needed = max(needed, math.ceil(self.window_s / interval_s * (1.0 - 1e-9)))
        return 2 * needed if doubtful else needed


@dataclass(frozen=True, slots=True)
class StateChange:
    """A change of state. `value_ohm` is a value that the meter showed, nearest the window's mean.

    `taken`: a reading; `fingers`: steady between 0.1 and 10 MΩ, which may be the person; `shaky`: the
    contact does not settle; `touching` and `lifted` tell what the probes do.
    """

    what: Literal["touching", "taken", "fingers", "shaky", "lifted"]
    time_s: float
    value_ohm: float = math.nan
    spread_ohm: float = math.nan
    samples: int = 0


class Capture:
    """The state machine. `auto_below_ohm` may be raised for a part that is meant to have more."""

    def __init__(self, instrument: Instrument | None = None, rule: SettleRule | None = None) -> None:
        self.rule = rule or SettleRule()
        self.auto_below_ohm = self.rule.auto_below_ohm
        self._ranges = instrument.ranges if instrument is not None else ()
        self.state: State = "open"
        self._window: deque[float] = deque()
        self._gaps: deque[float] = deque(maxlen=15)
        self._interval_s = 0.0
        self._last_s = -math.inf
        self._touched_s = math.inf
        self._open_s = self._open_samples = 0.0
        self._fingers_said = self._shaky_said = False
        self._differences, self._square_sum = 0.0, 0.0

    @property
    def interval_s(self) -> float:
        """The time between the meter's values, from the last sixteen of them; 0 before the second."""
        return self._interval_s

    def noise_counts(self) -> float:
        """The standard deviation of one value, in digits, pooled over the windows taken so far.

        Before the first it is a third of a digit, which is what rounding alone gives.
        """
        weight = 8.0
        return math.sqrt((weight / 9.0 + self._square_sum) / (weight + self._differences))

    def expect(self, ohm: float | None) -> None:
        """A part of so many ohms comes next: it may be taken although a hand can have as much."""
        self.auto_below_ohm = max(self.rule.auto_below_ohm, 3.0 * ohm if ohm and math.isfinite(ohm) else 0.0)

    def feed(self, now_s: float, shown: Shown) -> list[StateChange]:
        """Take one sample (ohms only; +inf is over-range) and return what changed."""
        gap_s = now_s - self._last_s
        self._last_s = now_s
        broken = math.isfinite(gap_s) and gap_s > max(4.0 * self._interval_s, 1.0)
        if math.isfinite(gap_s) and not broken:
            self._gaps.append(gap_s)
            self._interval_s = median(self._gaps)
        if broken:
            self._forget()  # the cable was out: what lies before says nothing about now
        if shown.value >= self.auto_below_ohm:
            return self._apart(now_s, shown)
        self._open_s = self._open_samples = 0.0
        self._fingers_said = False
        if self.state == "taken":
            return []
        moves = []
        if self.state == "open":
            self.state, self._touched_s, self._shaky_said = "touching", now_s, False
            self._window.clear()
            moves.append(StateChange("touching", now_s, shown.value))
        return moves + self._settle(now_s, shown)

    def _forget(self) -> None:
        self._window.clear()
        self._open_s = self._open_samples = 0.0
        self._fingers_said = False
        if self.state != "taken":
            self.state = "open"

    def _apart(self, now_s: float, shown: Shown) -> list[StateChange]:
        """Over-range, or so high that a hand may be what conducts."""
        self._open_s += self._interval_s
        self._open_samples += 1
        moves = []
        if self.state == "taken":
            if self._open_samples >= 2 and self._open_s >= self.rule.lift_s:
                self.state = "open"
                self._window.clear()
                moves.append(StateChange("lifted", now_s))
            return moves
        if self._window and self._window[-1] < self.auto_below_ohm:
            self._window.clear()
        if self.state != "open" and self._open_samples >= 2 and self._open_s >= self.rule.lift_s:
            self.state = "open"
            moves.append(StateChange("lifted", now_s))
        if not math.isfinite(shown.value):
            self._window.clear()
            self._fingers_said = False
        elif shown.value < self.rule.fingers_below_ohm and not self._fingers_said:
            values = self._push(shown.value, needed := self.rule.samples(self._interval_s, False))
            if len(values) == needed and max(values) < 2.0 * min(values):
                self._fingers_said = True
                moves.append(StateChange("fingers", now_s, _nearest_mean(values)))
        return moves

    def _settle(self, now_s: float, shown: Shown) -> list[StateChange]:
        values = self._push(shown.value, needed := self._needed(now_s))
        spread = max(values) - min(values)
        resolution = self._resolution(shown)
        allowed = self._allowed(fmean(values), resolution)
        steady = spread <= allowed * (1.0 + 1e-9)
        self.state = "settling" if steady and len(values) > 1 else "touching"
        if steady and len(values) == needed and _creep(values) <= max(resolution, 0.35 * allowed):
            self._follow_noise(values, resolution)
            self.state = "taken"
            return [StateChange("taken", now_s, _nearest_mean(values), spread, len(values))]
        if not self._shaky_said and now_s - self._touched_s > self.rule.shaky_after_s:
            self._shaky_said = True
            return [StateChange("shaky", now_s, shown.value, spread, len(values))]
        return []

    def _push(self, value: float, needed: int) -> list[float]:
        self._window.append(value)
        while len(self._window) > needed:
            self._window.popleft()
        return list(self._window)

    def _needed(self, now_s: float) -> int:
        late_s = now_s - self._touched_s
        return self.rule.samples(self._interval_s, late_s > 2.0 * self.rule.required_s(self._interval_s))

    def _resolution(self, shown: Shown) -> float:
        """The worth of a digit: as printed, but no finer than the instrument's specification."""
        stated = next((r.resolution_ohms for r in self._ranges if abs(shown.value) <= r.up_to_ohms), 0.0)
        printed = shown.step if math.isfinite(shown.step) else 0.0
        return max(stated, printed, 1e-6)

    def _allowed(self, value_ohm: float, resolution_ohm: float) -> float:
        """The spread of a steady window: two digits or six sigma, but within the maker's limit of error."""
        digits = self.rule.counts * resolution_ohm
        wide = max(digits, 6.0 * self.noise_counts() * resolution_ohm)
        for each in self._ranges:
            if abs(value_ohm) <= each.up_to_ohms:
                limit = abs(value_ohm) * each.percent / 100.0 + each.counts * each.resolution_ohms
                return max(digits, min(wide, limit))
        return wide

    def _follow_noise(self, values: list[float], resolution_ohm: float) -> None:
        """Pool the noise from successive differences (von Neumann 1941): a slow drift hardly moves it."""
        for left, right in pairwise(values):
            self._square_sum += ((right - left) / resolution_ohm) ** 2 / 2.0
            self._differences += 1.0


def _creep(values: list[float]) -> float:
    half = len(values) // 2
    return abs(fmean(values[-half:]) - fmean(values[:half]))


def _nearest_mean(values: list[float]) -> float:
    mean = fmean(values)
    return min(values, key=lambda value: abs(value - mean))
