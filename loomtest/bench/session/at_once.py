"""What to say about one reading at once, before anything is judged from all of them together."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from statistics import median

import numpy as np

from loomtest.bench.plan.plan import Step
from loomtest.diagnosis.faults.parts import PART_SLACK_OHM
from loomtest.harness.copper import expectation_of, part_ohms
from loomtest.harness.model import Harness, Wire
from loomtest.readings.generic import UNKNOWN_LEADS_OHM
from loomtest.readings.model import Instrument
from loomtest.words.numbers import ohms, volts
from loomtest.words.place import place_read

# What a healthy diode shows on a diode test, from Schottky to light-emitting (volts; value from memory).
DIODE_VOLTS = (0.1, 3.3)
# What a person's fingers read when they hold both tips (common practice).
FINGERS_OHM = (1e5, 1e7)


LEAST_FOLLOWED = 4  # good readings from which the leads' share is taken
FAR, FAR_OHM = 20.0, 10.0  # so many times the most that is believed, and more than this, is asked back
_MOST_TYPED = {"voltage_drop": 1.0, "capacitance": 1e-7}  # volts and farads that no piece of a loom shows
_JOINED_WHAT = ("continuity", "loops", "joints", "part")


@dataclass(frozen=True, slots=True)
class Glance:
    """`good`: as expected, or `doubtful`; `hands_off`: the person may be what conducts."""

    good: bool
    text: str
    hands_off: bool = False


class AtOnce:
    """Compares single readings with the expectation; coarse on purpose, for the verdict comes later."""

    def __init__(self, harness: Harness, instrument: Instrument) -> None:
        self._harness, self._instrument = harness, instrument
        self._expectation = expectation_of(harness)
        self.lead_ohm = instrument.lead_ohms if instrument.lead_ohms is not None else 0.0
        self.lead_known = instrument.lead_ohms is not None or instrument.method == "four-wire"
        self._lead_doubt_ohm = 2.0 * instrument.lead_uncertainty_ohms
        self._offset_known = False  # the meter's own offset is in what the leads read
        self._over_ohm: list[float] = []  # what good readings of wires have above their expectation

    def zeroed(self, lead_ohm: float, uncertainty_ohm: float) -> None:
        """The leads were read with this meter, their tips together: its offset is in that value too."""
        self.lead_ohm, self.lead_known, self._offset_known = lead_ohm, True, True
        self._lead_doubt_ohm = 2.0 * uncertainty_ohm

    def follow(self, step: Step, value_ohm: float) -> None:
        """A good reading of a wire: from `LEAST_FOLLOWED` of them on, the leads' share is known well.

        The judge does the same with all readings at the end; what is good here is then good there.
        """
        if (self.lead_known and not self._followed) or step.what not in ("continuity", "loops"):
            return
        if not math.isfinite(value_ohm):
            return
        self._over_ohm.append(value_ohm - (step.expected_ohms or 0.0))
        if self._followed:
            self.lead_ohm, self.lead_known, self._offset_known = median(self._over_ohm), True, True
            self._lead_doubt_ohm = self._digit_ohm(self.lead_ohm) / 2.0

    @property
    def _followed(self) -> bool:
        return len(self._over_ohm) >= LEAST_FOLLOWED

    def _digit_ohm(self, value_ohm: float) -> float:
        ranges = self._instrument.ranges
        return next((each.resolution_ohms for each in ranges if abs(value_ohm) <= each.up_to_ohms), 0.0)

    @cached_property
    def _index(self) -> dict[str, int]:
        return {wire.name: index for index, wire in enumerate(self._harness.wires)}

    def _wires(self, step: Step) -> list[Wire]:
        return [self._harness.wires[self._index[name]] for name in step.wires]

    def doubt_ohm(self, value_ohm: float) -> float:
        """What one reading may be off by: the maker's limit of error, the touch, and unknown leads."""
        leads = self._lead_doubt_ohm if self.lead_known else UNKNOWN_LEADS_OHM[1]
        limit = 0.0
        for each in self._instrument.ranges:
            counts = min(each.counts, 1.0) if self._offset_known else each.counts
            limit = abs(value_ohm) * each.percent / 100.0 + counts * each.resolution_ohms
            if abs(value_ohm) <= each.up_to_ohms:
                break
        return limit + 2.0 * self._instrument.touch_ohms + (0.0 if self._four_wire else leads)

    @property
    def _four_wire(self) -> bool:
        return self._instrument.method == "four-wire"

    def most_ohm(self, step: Step) -> float | None:
        """The most a part may have, which may be as much as a hand has; None for anything else."""
        return self._part_range(step)[1] if step.what == "part" and step.quantity == "resistance" else None

    def expected_text(self, step: Step) -> str:
        """The expected value in words: `0.031 Ω`, `over-range`, `2 to 5 Ω`."""
        if step.quantity == "diode":
            return "0.1 to 3.3 V on the diode test"
        if step.what == "isolation":
            return "over-range" if step.expected_ohms is not None else "what the parts between the two give"
        if step.what == "locate":
            return "joined or not: it tells where the fault is"
        if step.what == "elsewhere":
            return "over-range; a low value says that the wire's end sits there"
        if step.typed:
            return "below a volt" if step.quantity == "voltage_drop" else "tens to hundreds of picofarads"
        if step.what == "part":
            return f"{ohms(self._part_range(step)[0])} to {ohms(self._part_range(step)[1])}"
        if step.expected_ohms is None or math.isnan(step.expected_ohms):
            return f"below {ohms(self._harness.limits.continuity_ohms)}"
        return ohms(step.expected_ohms)

    def prompt_text(self, step: Step) -> str:
        """`expected_text`, and what that looks like on the meter where the leads are most of it."""
        text, ohm = self.expected_text(step), step.expected_ohms
        if not self.lead_known or step.what not in ("continuity", "loops", "joints") or not ohm:
            return text
        if not self.lead_ohm > 0.1 * ohm:  # nobody would see a difference, or nobody knows the value
            return text
        return f"{text}; with the leads the meter shows about {ohms(self.lead_ohm + ohm)}"

    def out_of_proportion(self, step: Step, value: float) -> bool:
        """A number that no wire or part there has: a unit or the decimal point was forgotten."""
        if step.quantity in _MOST_TYPED:
            return abs(value) > _MOST_TYPED[step.quantity]
        if step.quantity == "diode" or not math.isfinite(value) or step.what not in _JOINED_WHAT:
            return False
        most = self._part_range(step)[1] if step.what == "part" else self._limit(step)
        return value > max(FAR * most, FAR_OHM)

    def look(self, step: Step, value: float, amps: float | None = None) -> Glance:
        """`value` in ohms, in volts for a diode and a drop (at `amps`), in farads for a capacitance; +inf for
        over-range. Leads are taken off here."""
        if step.what == "place":
            return Glance(True, place_read(step.quantity, value, amps))
        if step.quantity == "diode":
            low, high = DIODE_VOLTS
            if low <= value <= high:
                return Glance(True, f"{volts(value)}, as a diode should")
            shown = "over-range" if math.isinf(value) else volts(value)
            return Glance(False, f"{shown} where {low} to {high} V is expected")
        if step.what == "isolation" and step.expected_ohms is None:
            return Glance(True, f"{ohms(value)}, through the parts between")
        if step.what == "isolation":
            return self._apart(value)
        if step.what in ("locate", "elsewhere"):
            return self._either(value)
        net = value if math.isinf(value) or self._four_wire else max(0.0, value - self.lead_ohm)
        shown = ohms(net) if math.isfinite(net) else "over-range"
        expected = self.expected_text(step)
        low, high = self._part_range(step) if step.what == "part" else (0.0, self._limit(step))
        doubt = self.doubt_ohm(net) if math.isfinite(net) else 0.0
        if low - doubt <= net <= high + doubt:
            return Glance(True, f"{shown}, as expected")
        if FINGERS_OHM[0] <= net <= FINGERS_OHM[1]:
            return Glance(
                False, f"{shown} where {expected} is expected: fingers off the tips, then touch again", True
            )
        return Glance(False, f"{shown} where {expected} is expected")

    def _either(self, value: float) -> Glance:
        if FINGERS_OHM[0] <= value < FINGERS_OHM[1]:
            return Glance(False, f"{ohms(value)}: fingers off the tips, then touch again", True)
        joined = value < self._harness.limits.short_below_ohms
        return Glance(True, f"{ohms(value)}: {'joined' if joined else 'not joined'}")

    def _apart(self, value: float) -> Glance:
        limits = self._harness.limits
        if value >= limits.isolation_ohms and not value < FINGERS_OHM[1]:
            shown = "over-range" if math.isinf(value) else ohms(value)
            return Glance(True, f"{shown}, apart as expected")
        if FINGERS_OHM[0] <= value < FINGERS_OHM[1]:
            good = value >= limits.isolation_ohms
            words = f"{ohms(value)} where nothing should conduct: fingers off the tips, then touch again"
            return Glance(good, words, True)
        return Glance(False, f"{ohms(value)} where nothing should conduct")

    def _part_range(self, step: Step) -> tuple[float, float]:
        ranges = [part_ohms(wire) for wire in self._wires(step)] or [(0.1, 1e4)]
        # Parts across the same two nets stand in parallel: each bound by its conductances.
        low = 1.0 / sum(1.0 / max(pair[0], 1e-6) for pair in ranges)
        high = 1.0 / sum(1.0 / max(pair[1], 1e-6) for pair in ranges)
        return low, high + PART_SLACK_OHM

    def _limit(self, step: Step) -> float:
        expected = step.expected_ohms
        if expected is None or not math.isfinite(expected):
            return self._harness.expect.unknown_wire_to_ohms * max(1, len(step.wires))
        indices = [self._index[name] for name in step.wires]
        if not indices:
            return expected + self._harness.limits.bad_joint_milliohms / 1e3
        excess = self._expectation.limit_ohm[indices] - self._expectation.expected_ohm[indices]
        spare = float(np.nansum(excess))
        return expected + max(spare, self._harness.limits.bad_joint_milliohms / 1e3)
