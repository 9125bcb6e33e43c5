"""What is usual of one circuit over many units: mean, spread, and the limits that hold most of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loomtest.diagnosis.numbers.statistics import normal_cdf, normal_quantile, student_quantile
from loomtest.harness.model import FloatArray

SHARE = 0.99  # of all units to come that a circuit's limits are to hold
FEWEST = 3  # below it a spread says next to nothing
_NODES = 48


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    """Mean and standard deviation of n values with their intervals, and the two limits that with the same
    confidence hold `share` of all values of this kind. Ohms, if the values are."""

    count: int
    mean: float
    mean_between: tuple[float, float]
    spread: float
    spread_between: tuple[float, float]
    limits: tuple[float, float]
    share: float
    confidence: float


def usual_of(values: FloatArray, confidence: float = 0.95, share: float = SHARE) -> Usual | None:
    """What is usual of the values (n,), taken as normally distributed; None for fewer than three.

    The mean's interval is Student's, that of the spread follows chi-square (NIST/SEMATECH e-Handbook of
    Statistical Methods, 7.2.2.1 and 7.2.3.1).
    """
    n = len(values)
    if n < FEWEST:
        return None
    from scipy.special import chdtri

    mean, spread = float(np.mean(values)), float(np.std(values, ddof=1))
    half = (1 - confidence) / 2
    reach = student_quantile(1 - half, n - 1) * spread / math.sqrt(n)
    narrow, wide = (spread * math.sqrt((n - 1) / float(chdtri(n - 1, p))) for p in (half, 1 - half))
    factor = tolerance_factor(n, share, confidence)
    return Usual(
        count=n,
        mean=mean,
        mean_between=(mean - reach, mean + reach),
        spread=spread,
        spread_between=(narrow, wide),
        limits=(mean - factor * spread, mean + factor * spread),
        share=share,
        confidence=confidence,
    )


def tolerance_factor(count: int, share: float, confidence: float) -> float:
    """k of the two-sided tolerance interval mean ± k·s of `count` normal values: with the confidence, it
    holds at least `share` of all. `count` of 2 or more.

    Exact: A. Wald, J. Wolfowitz, Ann. Math. Stat. 17, 1946; ISO 16269-6:2014. With a mean that is off by x
    (in standard deviations, normal of variance 1/n) the half-width r that holds the share follows from
    Φ(x + r) - Φ(x - r) = share, and s·k must reach it: P(χ² > (n - 1)·r²/k²), averaged over x.
    """
    from scipy.special import chdtrc, chdtri

    nodes, weights = np.polynomial.hermite.hermgauss(_NODES)
    reach = _half_width(nodes * math.sqrt(2.0 / count), share)
    freedom = count - 1
    near = normal_quantile((1 + share) / 2) * math.sqrt(
        freedom * (1 + 1 / count) / float(chdtri(freedom, confidence))
    )  # W. G. Howe, J. Am. Stat. Assoc. 64, 1969: within some hundredths of it

    low, high = near / 4, near * 4
    while high - low > 1e-10 * high:
        k = (low + high) / 2
        held = np.sum(weights * chdtrc(freedom, freedom * (reach / k) ** 2)) / math.sqrt(math.pi)
        low, high = (k, high) if held < confidence else (low, k)
    return (low + high) / 2


def _half_width(off: FloatArray, share: float) -> FloatArray:
    """r of Φ(x + r) - Φ(x - r) = share for every x, by bisection."""
    low, high = np.zeros_like(off), np.abs(off) + normal_quantile((1 + share) / 2) + 1.0
    for _ in range(60):
        middle = (low + high) / 2
        short = normal_cdf(off + middle) - normal_cdf(off - middle) < share
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return (low + high) / 2
