"""How sure a scanner's reading is: the budget of its five ranges (JCGM 100), from calibration and self-test.

Noise and the converter's steps average over the samples of a reading; the converter's bend (integral
non-linearity) does not, the calibration does not. All three are taken as independent of other readings: one
calibration is common to a range, and its part is small beside the others by the procedure of build-notes.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from loomtest.bench.scanner.answers import RangeCalibration
from loomtest.bench.scanner.protocol import PinValue

SAMPLES, QUICK = 8, 4  # of each polarity in the milliohm range, of each channel in the others
OVER_RANGE_PROVES_OHM = 4e6
UNCALIBRATED_PPM = 20_000  # reference resistors and amplifier as bought, 1 % parts (common practice)
BEND_CODES = 0.18  # standard uncertainty: an amplitude of a quarter code over √2, see build-notes.md
ALIKE_CODES = 128.0  # the bend of codes nearer to each other than this is partly the same
TRANSFER_PPM = 350.0  # the bend at the known resistor's own code, some 800 codes up
STEP = 1.0 / 12.0  # variance of one conversion's rounding, in codes
UNIT_OHM = (1e-5, 1e-3, 1e-2, 1.0, 100.0)  # of the five ranges
UP_TO_OHM = (1.19, 30.0, 10e3, 100e3, 4e6)
REFERENCE_OHM = (0.0, 1000.0, 1000.0, 10e3, 100e3)
SERIES_OHM = 1105.0  # force resistors, multiplexers and the chip's output, nominal
CURRENT_CODES = 409.6  # of the shunt at 0.1 A
FULL_CODES = 1024.0


@dataclass(frozen=True)
class BoardBudget:
    """`uncertainty` of any reading of one board, in ohms (k = 1)."""

    noise_codes: float
    calibration: tuple[RangeCalibration, ...]

    def uncertainty_ohm(self, value: PinValue, averaged: int = 1) -> float:
        """Standard uncertainty of the mean of `averaged` readings; NaN for over-range."""
        if value.range is None:
            return math.nan
        kept = {c.range: c for c in self.calibration}.get(value.range)
        ppm = kept.ppm if kept is not None and kept.ppm else UNCALIBRATED_PPM
        ratio_ohm = (kept.scale if kept is not None else 0.0) * UNIT_OHM[value.range]
        across, below = self._codes(value.ohms, value.range)
        samples = 2 * SAMPLES if value.range == 0 else QUICK
        # Above what the difference is taken from: the amplifier's zero (32 samples), or the other sense line.
        against = 4 * SAMPLES if value.range < 2 else QUICK
        random = (self._mean_variance(samples) + self._mean_variance(against)) / averaged
        apart = min(1.0, abs(value.ohms) / ratio_ohm * below / ALIKE_CODES) if ratio_ohm else 1.0
        difference = math.sqrt(random + 2.0 * (BEND_CODES * apart) ** 2) * ratio_ohm / below
        bend = BEND_CODES**2 if across else 0.0
        divisor = (
            math.sqrt(self._mean_variance(SAMPLES if value.range == 0 else QUICK) / averaged + bend) / below
        )
        zero = math.sqrt(random * averaged / 8.0) * ratio_ohm / below if value.range < 2 else 0.0
        scale = math.hypot(ppm, TRANSFER_PPM) * 1e-6
        return math.hypot(difference, value.ohms * divisor, value.ohms * scale, zero)

    def _mean_variance(self, samples: float) -> float:
        """Variance of the mean of some conversions; too little noise no longer averages the steps away."""
        if self.noise_codes < 0.35:
            return STEP
        return (self.noise_codes**2 + STEP) / samples

    @staticmethod
    def _codes(ohms: float, range_: int) -> tuple[bool, float]:
        """(whether the divisor's bend counts, codes of the divisor) of a reading."""
        if range_ == 0:
            return False, CURRENT_CODES  # always the same code: calibration took its bend away
        reference = REFERENCE_OHM[range_]
        return True, FULL_CODES * reference / (reference + SERIES_OHM + max(ohms, 0.0))
