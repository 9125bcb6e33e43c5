"""The robust trend of a resistance over time, and when it would pass its limit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from loomtest.harness.model import FloatArray

# Of fewer than five values every order is too likely by chance for any interval of 95 %: even when four
# rise without exception, that happens by chance in 2 of 4! = 24 orders (of five, in 2 of 120).
FEWEST_FOR_TREND = 5
# To look further ahead than so many times the span that was seen is guesswork (common practice).
FURTHEST_SPANS = 3.0
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Trend:
    """A line through (x, y): `intercept` + `slope` · x, and the interval of the slope."""

    slope: float
    low: float
    high: float
    intercept: float

    def at(self, x: float) -> float:
        """The line's height at x."""
        return self.intercept + self.slope * x


def theil_sen(x: FloatArray, y: FloatArray, confidence: float = CONFIDENCE) -> Trend | None:
    """The median of the slopes of all pairs, with Sen's distribution-free interval.

    `x`, `y`: (n,). None when there are not two different x. Source: P. K. Sen, "Estimates of the regression
    coefficient based on Kendall's tau", J. Am. Stat. Assoc. 63 (1968), 1379-1389; the intercept is
    median(y) - slope · median(x).
    """
    order = np.argsort(x, kind="stable")
    x, y = x[order], y[order]
    first, second = np.triu_indices(len(x), 1)
    run = x[second] - x[first]
    slopes = np.sort((y[second] - y[first])[run > 0] / run[run > 0])
    count = len(slopes)
    if not count:
        return None
    slope = _middle(slopes)
    n = len(x)
    ties = sum(_tie_terms(values) for values in (x, y))
    sigma = math.sqrt(max(0.0, (n * (n - 1) * (2 * n + 5) - ties) / 18.0))
    reach = NormalDist().inv_cdf(0.5 + confidence / 2) * sigma
    low = max(round((count - reach) / 2) - 1, 0)
    high = min(round((count + reach) / 2), count - 1)
    intercept = _middle(np.sort(y)) - slope * _middle(x)
    return Trend(slope, float(slopes[low]), float(slopes[high]), intercept)


def _middle(ascending: FloatArray) -> float:
    """The median of sorted values; numpy's own first imports masked arrays, which takes longer than this."""
    count = len(ascending)
    return float(ascending[(count - 1) // 2] + ascending[count // 2]) / 2.0


def _tie_terms(values: FloatArray) -> float:
    _, counts = np.unique(values, return_counts=True)
    return float((counts * (counts - 1) * (2 * counts + 5)).sum())


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the limit would be passed: x on the trend line, earliest and latest by the slope's interval."""

    about: float
    earliest: float
    latest: float


def forecast(x: FloatArray, trend: Trend, limit: float) -> Forecast | None:
    """When the trend passes `limit`; None where the interval does not support saying so.

    It does when at least FEWEST_FOR_TREND different x were seen, the whole interval of the slope rises,
    the level is still below the limit, and even the slowest rise passes it within FURTHEST_SPANS times the
    span of x.
    """
    first, middle, last = float(x.min()), _middle(np.sort(x)), float(x.max())
    if len(np.unique(x)) < FEWEST_FOR_TREND or trend.low <= 0 or trend.at(last) >= limit:
        return None
    # The lines of the interval turn about the middle of the points: there the level does not hang on the
    # slope, while at the last point an error of the one is an error of the other.
    passed = [middle + (limit - trend.at(middle)) / slope for slope in (trend.slope, trend.high, trend.low)]
    if passed[2] - last > FURTHEST_SPANS * (last - first):
        return None
    return Forecast(passed[0], max(passed[1], last), passed[2])
