"""The wiggle test: is the contact steady while the loom is flexed? Pure functions over a stream.

Three questions, each with its own answer. *Events*: short excursions over a robust baseline, by
hysteresis. *Drift*: the baseline itself wandered (warming, a creeping contact), by a tabular CUSUM
(Page 1954; Montgomery, Introduction to Statistical Quality Control, the tabular form). *Nothing seen*:
how rare the fault must then be, by the exact Poisson limit whose everyday name is the rule of three.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from loomtest.diagnosis.verdict import plain_number
from loomtest.harness.model import BoolArray, FloatArray

Flexed = Literal["intermittent", "no event", "too short"]
MAD_TO_SIGMA = 1.4826  # of a Gaussian: 1 / Phi^-1(3/4)


@dataclass(frozen=True, slots=True)
class FlexRule:
    """What counts as an event. Thresholds are in sigmas above (or below) the baseline.

    An event begins above `enter_sigmas`, ends below `leave_sigmas`, and holds for at least `least_samples`
    (0: as many as span 0.05 s, at least one and at most five; of over-range one). One that has not ended
    after half of `baseline_s` without going over-range is a jump of the level instead.
    `least_step_ohm`: the meter's resolution (0: the smallest step in the stream); sigma is never taken as
    less than half of it.
    A test shorter than `least_s` is too short to say that nothing happens; a pause of the stream of more
    than `gap_s` is not time observed. `cusum_slack`, `cusum_limit`: k and h of the tabular CUSUM, in
    sigmas. `baseline_s`: the baseline follows the running median of this much time.
    """

    enter_sigmas: float = 8.0
    leave_sigmas: float = 4.0
    least_samples: int = 0
    least_step_ohm: float = 0.0
    least_s: float = 60.0
    gap_s: float = 2.0
    cusum_slack: float = 1.0
    cusum_limit: float = 10.0
    baseline_s: float = 20.0
    confidence: float = 0.95


@dataclass(frozen=True, slots=True)
class FlexEvent:
    """One excursion: `depth_ohm` is the farthest from the baseline (+inf where it went over-range)."""

    start_s: float
    length_s: float
    depth_ohm: float
    samples: int

    def to_json(self) -> dict[str, Any]:
        """Plain numbers; over-range is "OL"."""
        return {
            "start_s": plain_number(self.start_s),
            "length_s": plain_number(self.length_s),
            "depth_ohms": plain_number(self.depth_ohm),
            "samples": self.samples,
        }


@dataclass(frozen=True, slots=True)
class Shift:
    """The baseline moved for good: a `jump` within a few samples or a `drift`, by `size_ohm`."""

    kind: Literal["jump", "drift"]
    start_s: float
    size_ohm: float

    def to_json(self) -> dict[str, Any]:
        """Plain numbers."""
        return {
            "kind": self.kind,
            "start_s": plain_number(self.start_s),
            "size_ohms": plain_number(self.size_ohm),
        }


@dataclass(frozen=True)
class Flexing:
    """The answer. `rate_limit_per_min`: with this confidence events are rarer than that.

    `baseline_ohm`: (n,) the value without events; `sigma_ohm` its noise; `interval_s` between samples, so
    that what is shorter than `shortest_s` cannot have been seen. `observed_s` leaves out pauses.
    """

    verdict: Flexed
    events: tuple[FlexEvent, ...]
    shifts: tuple[Shift, ...]
    observed_s: float
    samples: int
    baseline: FloatArray
    baseline_ohm: float
    sigma_ohm: float
    interval_s: float
    shortest_s: float
    rate_limit_per_min: float
    confidence: float

    def to_json(self) -> dict[str, Any]:
        """The object of `loomtest wiggle --json`, without its sentence."""
        return {
            "schema": "loomtest-flex/1",
            "verdict": self.verdict,
            "events": [event.to_json() for event in self.events],
            "shifts": [shift.to_json() for shift in self.shifts],
            "observed_s": plain_number(self.observed_s),
            "samples": self.samples,
            "baseline_ohms": plain_number(self.baseline_ohm),
            "sigma_ohms": plain_number(self.sigma_ohm),
            "shortest_event_s": plain_number(self.shortest_s),
            "rate_limit_per_minute": plain_number(self.rate_limit_per_min),
            "confidence": self.confidence,
        }


def rate_limit_per_s(events: int, observed_s: float, confidence: float = 0.95) -> float:
    """Upper confidence limit of a Poisson rate, per second, after so many events in so long.

    Exact (Garwood 1936): chi-squared quantile of 2(n + 1) degrees of freedom over 2T. For no event that is
    -ln(1 - confidence)/T, which at 95 % is the rule of three, 3/T. +inf when nothing was observed.
    """
    if observed_s <= 0.0:
        return math.inf
    if events == 0:
        return -math.log1p(-confidence) / observed_s
    from scipy.special import gammaincinv

    return float(gammaincinv(events + 1, confidence)) / observed_s


def sustained(interval_s: float) -> int:
    """How many samples span 0.05 s: one on a slow meter, no more than five on a fast one."""
    return 1 if interval_s <= 0.0 else min(5, max(1, round(0.05 / interval_s)))


def tabular_cusum(x: FloatArray, target: float, slack: float) -> Iterator[tuple[float, float]]:
    """Upper and lower sum after each value: S+ = max(0, x - (target + slack) + S+), and the mirror image."""
    high = low = 0.0
    for value in x.tolist():
        high = max(0.0, high + value - target - slack)
        low = max(0.0, low + target - slack - value)
        yield high, low


def robust_sigma(values: FloatArray, least_step_ohm: float = 0.0) -> float:
    """Noise of one sample from the median of absolute successive differences, blind to drift and events.

    A coarse meter shows the same digits for minutes: never less than half a step. Without a stated step
    it is the smallest difference between values that occur.
    """
    if len(values) < 2:
        return max(least_step_ohm / 2.0, 1e-9)
    if least_step_ohm <= 0.0:
        apart = np.diff(np.unique(values))
        least_step_ohm = float(apart[apart > 1e-9].min(initial=np.inf))
        least_step_ohm = least_step_ohm if math.isfinite(least_step_ohm) else 0.0
    steps = np.abs(np.diff(values))
    sigma = MAD_TO_SIGMA * float(np.median(steps)) / math.sqrt(2.0)
    return max(sigma, least_step_ohm / 2.0, 1e-6 * abs(float(np.median(values))), 1e-9)


def running_baseline(time_s: FloatArray, value: FloatArray, baseline_s: float) -> FloatArray:
    """(n,) running median over `baseline_s`, which follows a drift, keeps an edge and ignores an excursion.

    It is taken over blocks of an eightieth of that time, and each sample goes with the nearest of its own
    and the two neighbouring blocks, so that a jump inside a block leaves nothing over. Over-range counts as
    higher than anything; where most is over-range the last level before it holds. All +inf where no level is.
    """
    from scipy.ndimage import median_filter

    if len(value) == 0:
        return np.empty(0)
    block = np.floor((time_s - time_s[0]) / (baseline_s / 80.0)).astype(np.int64)
    first = np.flatnonzero(np.diff(block, prepend=-1))
    medians = np.array([np.median(part) for part in np.split(value, first[1:])])
    level = median_filter(medians, size=min(81, 2 * (len(medians) // 2) + 1), mode="nearest")
    known = np.flatnonzero(np.isfinite(level))
    if not len(known):
        return np.full(len(value), np.inf)
    level = level[known[np.maximum(np.searchsorted(known, np.arange(len(level)), side="right") - 1, 0)]]
    place = np.repeat(np.arange(len(level)), np.diff(np.append(first, len(value))))
    near = np.stack([level[np.clip(place + step, 0, len(level) - 1)] for step in (0, -1, 1)])
    distance = np.abs(np.where(np.isfinite(value), value, 0.0) - near)
    best = np.where(np.isfinite(value), distance.argmin(axis=0), 0)
    return np.asarray(near[best, np.arange(len(value))], dtype=np.float64)


def analyse(time_s: FloatArray, value_ohm: FloatArray, rule: FlexRule | None = None) -> Flexing:
    """Judge a stream of (n,) ascending times and (n,) values in ohms, +inf for over-range.

    A stream that is never anything but over-range was never in contact: that is too short to say.
    """
    rule = rule or FlexRule()
    finite = np.isfinite(value_ohm)
    steps = np.diff(time_s)
    pauses = steps > rule.gap_s
    interval_s = float(np.median(steps)) if len(steps) else 0.0
    sigma = robust_sigma(value_ohm[finite], rule.least_step_ohm)
    baseline = running_baseline(time_s, value_ohm, rule.baseline_s)
    touched = bool(finite.any()) and bool(np.isfinite(baseline).all())
    observed_s = float(steps[~pauses].sum()) if touched else 0.0
    paused = np.concatenate([[False], pauses])
    residual = np.where(finite, value_ohm, np.inf) - (baseline if touched else 0.0)
    least = rule.least_samples or sustained(interval_s)
    events = find_events(time_s, residual, sigma, rule, paused, least) if touched else ()
    # A value stands for the time up to the next one, so that a single one is no moment without length.
    events = tuple(replace(event, length_s=event.length_s + interval_s) for event in events)
    shifts = find_shifts(time_s, value_ohm, events, sigma, rule) if touched else ()
    large = any(s.kind == "jump" and abs(s.size_ohm) > rule.enter_sigmas * sigma for s in shifts)
    verdict: Flexed = "no event"
    if events or large:
        verdict = "intermittent"
    elif observed_s < rule.least_s:
        verdict = "too short"
    return Flexing(
        verdict,
        events,
        shifts,
        observed_s,
        len(value_ohm),
        baseline,
        float(np.median(baseline)) if touched else math.inf,
        sigma,
        interval_s,
        least * interval_s,
        60.0 * rate_limit_per_s(len(events), observed_s, rule.confidence),
        rule.confidence,
    )


def find_events(
    time_s: FloatArray,
    residual_ohm: FloatArray,
    sigma_ohm: float,
    rule: FlexRule,
    paused: BoolArray,
    least_samples: int,
) -> tuple[FlexEvent, ...]:
    """Excursions by hysteresis; `paused` is True where a pause of the stream lies before the sample."""
    found: list[FlexEvent] = []
    size = np.abs(residual_ohm) / sigma_ohm
    out = size > rule.leave_sigmas
    count, index = len(size), -1
    for start in np.flatnonzero(size > rule.enter_sigmas).tolist():
        if start <= index:
            continue
        index = start
        first = index
        while first > 0 and out[first - 1] and not paused[first]:
            first -= 1
        last = index
        while last + 1 < count and out[last + 1] and not paused[last + 1]:
            last += 1
        samples = last - first + 1
        depth = float(np.abs(residual_ohm[first : last + 1]).max())
        # Over-range is no noise: where nobody set a number, one sample of it is an event.
        if samples >= least_samples or (math.isinf(depth) and not rule.least_samples):
            length_s = float(time_s[last] - time_s[first])
            found.append(FlexEvent(float(time_s[first]), length_s, depth, samples))
        index = last
    return tuple(found)


def find_shifts(
    time_s: FloatArray, value_ohm: FloatArray, events: tuple[FlexEvent, ...], sigma_ohm: float, rule: FlexRule
) -> tuple[Shift, ...]:
    """Lasting moves of the level, by a CUSUM on the samples outside the events; restarted at each alarm.

    A move that one step explains better than a straight line is a jump, another a drift. A sample counts
    for no more than four sigmas, so that one stray value is no move.
    """
    calm = np.isfinite(value_ohm)
    for event in events:
        calm &= (time_s < event.start_s) | (time_s >= event.start_s + event.length_s)
    time, value = time_s[calm], value_ohm[calm]
    shifts: list[Shift] = []
    start, count = 0, len(value)
    while count - start > _LEARN + 5:
        target = _level(value[start : start + _LEARN], sigma_ohm)
        alarm = _first_alarm(np.clip((value[start:] - target) / sigma_ohm, -4.0, 4.0), rule)
        if alarm is None:
            break
        onset, at = start + alarm[0], start + alarm[1]
        first = max(start, onset - _LEARN // 2)
        split = _step_place(value[first : at + _LEARN // 2], sigma_ohm)
        if split is None:
            size_ohm = _level(value[at : at + _LEARN], sigma_ohm) - target
            shifts.append(Shift("drift", float(time[onset]), size_ohm))
            start = at + 1
        else:
            start = first + split
            size_ohm = _level(value[start : start + _LEARN], sigma_ohm) - target
            shifts.append(Shift("jump", float(time[start]), size_ohm))
    return _joined(shifts)


_LEARN = 50  # samples that set a level


def _level(values: FloatArray, sigma_ohm: float) -> float:
    middle = float(np.median(values))
    return float(np.clip(values, middle - 4.0 * sigma_ohm, middle + 4.0 * sigma_ohm).mean())


def _step_place(values: FloatArray, sigma_ohm: float) -> int | None:
    """Where one step explains the values clearly better than a straight line does; else None.

    Least squares both; a step may stand before any sample but the first. Clearly is a log-likelihood ratio
    of six, so that noise, which may choose where the step stands, does not make a jump of a drift.
    """
    count = len(values)
    if count < 3:
        return None
    centred = values - values.mean()
    ramp = np.arange(count) - (count - 1) / 2.0
    line_gain = float(centred @ ramp) ** 2 / float(ramp @ ramp)
    before = np.arange(1, count)
    sums = np.cumsum(centred)[:-1]
    step_gain = sums**2 * (1.0 / before + 1.0 / (count - before))
    best = int(step_gain.argmax())
    return best + 1 if float(step_gain[best]) > line_gain + 12.0 * sigma_ohm**2 else None


def _first_alarm(scaled: FloatArray, rule: FlexRule) -> tuple[int, int] | None:
    """Where the CUSUM left zero for the last time before its first alarm, and the alarm."""
    left_high = left_low = 0
    for index, (high, low) in enumerate(tabular_cusum(scaled, 0.0, rule.cusum_slack)):
        if high > rule.cusum_limit or low > rule.cusum_limit:
            return (left_high if high > rule.cusum_limit else left_low), index
        if high == 0.0:
            left_high = index + 1
        if low == 0.0:
            left_low = index + 1
    return None


def _joined(shifts: list[Shift]) -> tuple[Shift, ...]:
    """A long drift alarms again and again: its parts are told as one."""
    out: list[Shift] = []
    for shift in shifts:
        same_way = bool(out) and (shift.size_ohm > 0) == (out[-1].size_ohm > 0)
        if same_way and shift.kind == out[-1].kind == "drift":
            out[-1] = Shift("drift", out[-1].start_s, out[-1].size_ohm + shift.size_ohm)
        else:
            out.append(shift)
    return tuple(out)
