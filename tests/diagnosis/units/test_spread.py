"""Spread over units against published factors, an independent simulation-free route, and its own promise."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from loomtest.diagnosis.units.spread import tolerance_factor, usual_of

TABLE = {  # Berthouex and Brown, Statistics for Environmental Engineers, table 21.1 (second hand), 95 %
    5: (4.29, 5.08, 6.60),
    10: (2.86, 3.39, 4.44),
    20: (2.32, 2.76, 3.62),
    30: (2.15, 2.55, 3.35),
    60: (1.96, 2.34, 3.07),
}


@pytest.mark.parametrize("count", TABLE)
def test_factors_of_the_published_table(count: int) -> None:
    found = [tolerance_factor(count, share, 0.95) for share in (0.90, 0.95, 0.99)]
    assert found == pytest.approx(list(TABLE[count]), abs=0.0101)


def test_the_factor_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook, 7.2.6.3: 2.2173 by Howe's approximation, n = 43, 0.90 held at 0.99."""
    howe = stats.norm.ppf(0.95) * math.sqrt(42 * (1 + 1 / 43) / stats.chi2.ppf(0.01, 42))
    assert howe == pytest.approx(2.2173, abs=1e-4)
    assert tolerance_factor(43, 0.90, 0.99) == pytest.approx(2.2173, rel=4e-3)  # exact, and a little more


@pytest.mark.parametrize(
    ("count", "share", "confidence"), [(3, 0.9, 0.9), (7, 0.95, 0.99), (200, 0.99, 0.95)]
)
def test_the_factor_by_another_integral(count: int, share: float, confidence: float) -> None:
    """Over the spread outside and the mean inside, by quadrature, instead of the other way round."""
    k = tolerance_factor(count, share, confidence)
    grid = np.linspace(-6, 6, 1001) / math.sqrt(count)
    weight = stats.norm.pdf(grid * math.sqrt(count))
    weight /= weight.sum()
    spreads = np.linspace(0.001, 5, 2001)
    density = stats.chi2.pdf((count - 1) * spreads**2, count - 1) * 2 * (count - 1) * spreads
    step = spreads[1] - spreads[0]
    held = 0.0
    for spread, at in zip(spreads, density * step, strict=True):
        if at > 1e-14:
            inside = stats.norm.cdf(grid + k * spread) - stats.norm.cdf(grid - k * spread) >= share
            held += at * float(weight[inside].sum())
    assert held == pytest.approx(confidence, abs=3e-3)


def test_mean_and_spread_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook, 7.2.2.1 and 7.2.3.1, with scipy's distributions: Student's and chi-square."""
    values = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    usual = usual_of(values)
    assert usual is not None
    assert usual.mean_between == pytest.approx(stats.t.interval(0.95, 9, 50.81, stats.sem(values)), rel=1e-9)
    spread = values.std(ddof=1)
    ends = [spread * math.sqrt(9 / stats.chi2.ppf(p, 9)) for p in (0.975, 0.025)]
    assert usual.spread_between == pytest.approx(ends, rel=1e-9)
    factor = tolerance_factor(10, 0.99, 0.95)
    assert usual.limits == pytest.approx((50.81 - factor * spread, 50.81 + factor * spread))


def test_two_values_say_nothing() -> None:
    assert usual_of(np.array([1.0, 2.0])) is None


def test_limits_hold_what_they_promise() -> None:
    """Of 4,000 lots of 12, the limits hold 99 % of all in 95 of 100, within three standard errors."""
    lots = np.random.default_rng(22).normal(size=(4000, 12))
    factor = tolerance_factor(12, 0.99, 0.95)
    mean, spread = lots.mean(axis=1), lots.std(axis=1, ddof=1)
    held = stats.norm.cdf(mean + factor * spread) - stats.norm.cdf(mean - factor * spread) >= 0.99
    assert abs(held.mean() - 0.95) < 3 * math.sqrt(0.95 * 0.05 / 4000)
