"""Repeated readings of one pair: do they agree, does their direction matter, what spread do they show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.numbers.distinct import distinct, ranked
from loomtest.diagnosis.numbers.statistics import chi_square_above, student_quantile
from loomtest.diagnosis.seen.budget import Budget
from loomtest.harness.model import BoolArray, FloatArray, IntArray
from loomtest.readings.model import Quantity, Readings

FALSE_ALARM = 1e-3  # of one intermittent pair in the whole run, were every joint steady
DIRECTION_SIGMA = 5.0  # standard uncertainties from which a difference between directions is real
DIRECTION_OHM = 0.005  # and below which nobody cares
_FLOOR_OHM = 1e-6  # no reading is better than a microohm


@dataclass(frozen=True)
class Steadiness:
    """The readings of a budget once what repeats say is taken in; arrays are (k,) like the budget's.

    `ohm`: standing voltages taken out where both directions were read. `own`: own uncertainties, widened
    where repeats scatter more than they should (Birge ratio, with Student's t for their few degrees of
    freedom). `unsteady`: (p, 2) codes of pairs whose repeats disagree far beyond their uncertainty, with
    the lowest and highest value `unsteady_ohm` (p, 2), inf for over-range; `contradictory`: (c, 2) those of
    them read both as joined and over-range. `unsteady_surely`: (p,) those where no single touch of two leads
    makes the difference. `directed`: (d, 2) pairs whose value depends on the direction,
    with half the difference in ohms `directed_ohm`.
    """

    ohm: FloatArray
    own: FloatArray
    unsteady: IntArray
    unsteady_ohm: FloatArray
    unsteady_surely: BoolArray
    contradictory: IntArray
    directed: IntArray
    directed_ohm: FloatArray


def steadiness(
    readings: Readings, budget: Budget, material_ohm: float, short_below_ohms: float
) -> Steadiness:
    """Compare repeats of a pair by the same method; below a spread of `material_ohm` none is unsteady."""
    size = np.int64(max(1, len(readings.points)))
    a, b = readings.start[budget.index], readings.end[budget.index]
    turned = a > b
    pair = np.where(turned, b * size + a, a * size + b)
    own = np.maximum(budget.own, _FLOOR_OHM)
    ohm = budget.ohm.copy()

    lowest_group = int(budget.group.min(initial=0))
    groups = int(budget.group.max(initial=0)) - lowest_group + 1
    method = pair * groups + (budget.group - lowest_group)
    unique, places = ranked(method, int(size) ** 2 * groups)
    both = places.astype(np.int64)
    unique, count = unique // groups, len(unique)  # the pair of every method that it was read by
    half, directed = _directions(ohm, own, turned, both, count)
    ohm = ohm + np.where(directed[both], np.where(turned, half[both], -half[both]), 0.0)
    own, scattered = _scatter(ohm, own, both, count)

    lowest, highest = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(lowest, both, ohm)
    np.maximum.at(highest, both, ohm)
    unsteady = scattered & (highest - lowest > material_ohm) & (lowest < short_below_ohms)
    surely = _by_more_than_a_touch(ohm, budget.touched, both, (lowest + highest) / 2)[unsteady]
    pairs = [unique[unsteady]]
    spans = [np.column_stack([lowest[unsteady], highest[unsteady]])]

    over, over_turned = _over_range(readings, size)
    joined = ohm < short_below_ohms
    contradicted = _in_both(distinct(pair[joined]), over)
    where = np.searchsorted(contradicted, pair)
    known = joined & (where < len(contradicted))
    known[known] = contradicted[where[known]] == pair[known]
    least = np.full(len(contradicted), np.inf)
    np.minimum.at(least, where[known], ohm[known])
    steady_by_now = np.isin(pairs[0], contradicted)
    surely = np.concatenate([surely[~steady_by_now], np.ones(contradicted.size, dtype=np.bool_)])
    pairs = [pairs[0][~steady_by_now], contradicted]
    spans = [spans[0][~steady_by_now], np.column_stack([least, np.full(least.size, np.inf)])]
    one_way = [
        p
        for p in contradicted.tolist()
        if set(over_turned[over == p].tolist()).isdisjoint(turned[joined & (pair == p)].tolist())
    ]
    directed_pairs = np.concatenate([unique[directed], np.array(one_way, dtype=np.int64)])
    directed_ohm = np.concatenate([np.abs(half[directed]), np.full(len(one_way), np.inf)])
    return Steadiness(
        ohm,
        own,
        _codes(np.concatenate(pairs), size),
        np.concatenate(spans),
        surely,
        _codes(contradicted, size),
        _codes(directed_pairs, size),
        directed_ohm,
    )


def _by_more_than_a_touch(
    ohm: FloatArray, touched: BoolArray, group: IntArray, middle: FloatArray
) -> BoolArray:
    """(groups,) where two touches of two leads lie on either side of the middle, or readings are others."""
    high = ohm > middle[group]
    sides = [np.bincount(group, side, middle.size) for side in (high, ~high)]
    by_leads = np.bincount(group, touched, middle.size) > 0
    return np.asarray((np.minimum(*sides) >= 2) | ~by_leads, dtype=np.bool_)


def _in_both(few: IntArray, many: IntArray) -> IntArray:
    """The values of `few`, ascending and each once, that occur among `many`."""
    if not len(few):
        return few
    where = np.minimum(np.searchsorted(few, many), len(few) - 1)
    found = np.zeros(len(few), dtype=np.bool_)
    found[where[few[where] == many]] = True
    return few[found]


def _codes(pair: IntArray, size: np.int64) -> IntArray:
    return np.column_stack(np.divmod(pair.astype(np.int64), size)).astype(np.int64).reshape(-1, 2)


def _over_range(readings: Readings, size: np.int64) -> tuple[IntArray, BoolArray]:
    """Pairs read over-range as a resistance without clips, and whether the leads were turned round."""
    resistive = (readings.quantity == Quantity.RESISTANCE) | (readings.quantity == Quantity.RESISTANCE_4W)
    over = resistive & np.isinf(readings.value) & (readings.start != readings.end)
    over[list(readings.bonded)] = False
    a, b = readings.start[over], readings.end[over]
    return np.where(a > b, b * size + a, a * size + b), a > b


def _directions(
    ohm: FloatArray, own: FloatArray, turned: BoolArray, group: IntArray, count: int
) -> tuple[FloatArray, BoolArray]:
    """Half the difference between the two directions of every group, and where it is real (JCGM 100: mean of
    each direction by weight; the half-difference is a standing voltage over the test current)."""
    weight = 1 / own**2
    sums = [np.bincount(group, weight * way, count) for way in (~turned, turned)]
    means = [
        np.bincount(group, weight * way * ohm, count) / np.where(total > 0, total, 1.0)
        for way, total in zip((~turned, turned), sums, strict=True)
    ]
    read_both = (sums[0] > 0) & (sums[1] > 0)
    half = np.where(read_both, (means[0] - means[1]) / 2, 0.0)
    variance = sum(1 / np.where(total > 0, total, 1.0) for total in sums) / 4
    real = read_both & (np.abs(half) > np.maximum(DIRECTION_SIGMA * np.sqrt(variance), DIRECTION_OHM))
    return half, real


def _scatter(ohm: FloatArray, own: FloatArray, group: IntArray, count: int) -> tuple[FloatArray, BoolArray]:
    """Own uncertainties widened where repeats scatter too much, and which groups scatter beyond belief."""
    times = np.bincount(group, minlength=count)
    if not (times > 1).any():
        return own, np.zeros(count, dtype=np.bool_)
    weight = 1 / own**2
    mean = np.bincount(group, weight * ohm, count) / np.bincount(group, weight, count)
    square = np.bincount(group, weight * (ohm - mean[group]) ** 2, count)
    freedom = np.maximum(times - 1, 1)
    chance = np.ones(count)
    chance[times > 1] = chi_square_above(square[times > 1], freedom[times > 1])
    factor = np.ones(count)
    for degrees in distinct(freedom[chance < 0.01]):
        few = student_quantile(0.975, float(degrees)) / student_quantile(0.975, np.inf)
        rows = (chance < 0.01) & (freedom == degrees)
        factor[rows] = few * np.sqrt(square[rows] / degrees)
    return own * factor[group], chance * np.sum(times > 1) < FALSE_ALARM
