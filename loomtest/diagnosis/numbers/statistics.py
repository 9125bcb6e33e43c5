"""Statistics of small samples that do not lose digits, and the Gaussian in array form.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods 1.3.5.17 (Grubbs, generalized ESD; B. Rosner,
Technometrics 25, 1983), ISO 5725-2 (Grubbs), NIST StRD.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from loomtest.diagnosis.numbers import tails
from loomtest.harness.model import FloatArray, IntArray

MAD_TO_SIGMA = 1.4826022185056018  # 1/Φ⁻¹(3/4): makes the median deviation a standard deviation
FEWEST_FOR_GRUBBS = 3  # where its table begins
FEWEST_FOR_ESD = 25  # Rosner 1983: the approximation of the critical values holds from 25 on
# Up to so many values at once a loop is done before scipy.special is imported, and gives the same digits in
# every process, whatever else was judged in it.
_FEW_TAILS = 2000
_FEW_NORMALS = 1 << 15


def normal_cdf(x: ArrayLike) -> FloatArray:
    """Φ, the standard normal distribution function, element by element; ±inf are allowed."""
    values = np.asarray(x, dtype=np.float64)
    if values.size <= _FEW_NORMALS:
        turned = (values.ravel() * -0.7071067811865476).tolist()
        return 0.5 * np.fromiter(map(math.erfc, turned), np.float64, values.size).reshape(values.shape)
    from scipy.special import ndtr

    return np.asarray(ndtr(values), dtype=np.float64)


def normal_quantile(probability: float) -> float:
    """Φ⁻¹; probability strictly between 0 and 1."""
    return NormalDist().inv_cdf(probability)


def student_quantile(probability: float, degrees_of_freedom: float) -> float:
    """Quantile of Student's t distribution."""
    if math.isinf(degrees_of_freedom):
        return normal_quantile(probability)
    if degrees_of_freedom == int(degrees_of_freedom) <= tails.MOST_DEGREES:
        return tails.student_quantile(probability, int(degrees_of_freedom), normal_quantile(probability))
    from scipy.special import stdtrit

    return float(stdtrit(degrees_of_freedom, probability))


def chi_square_above(value: ArrayLike, degrees_of_freedom: IntArray) -> FloatArray:
    """Probability that a chi-square variable exceeds `value`, element by element; both (n,)."""
    values = np.asarray(value, dtype=np.float64)
    few = values.size <= _FEW_TAILS and np.max(degrees_of_freedom, initial=1) <= tails.MOST_DEGREES
    if few:
        pairs = zip(values.tolist(), degrees_of_freedom.tolist(), strict=True)
        return np.array([tails.chi_square_tail(v, k) for v, k in pairs], dtype=np.float64)
    from scipy.special import chdtrc

    return np.asarray(chdtrc(degrees_of_freedom.astype(np.float64), values), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Summary:
    """Mean and standard deviation (n − 1); NaN where n is too small."""

    count: int
    mean: float
    sd: float


def summary(values: ArrayLike) -> Summary:
    """Summary of a sample, exact to the digits that the data carry (NIST StRD definitions).

    Differences from the first value are exact or nearly so (Sterbenz), their sum is compensated
    (math.fsum), and the squares are taken of deviations, never as Σy² − nȳ².
    """
    y = np.asarray(values, dtype=np.float64).ravel()
    n = y.size
    if n == 0:
        return Summary(0, math.nan, math.nan)
    from_first = y - y[0]
    shift = math.fsum(from_first.tolist()) / n
    deviation = from_first - shift
    squares = math.fsum((deviation * deviation).tolist())
    sd = math.sqrt(squares / (n - 1)) if n > 1 else math.nan
    return Summary(n, float(y[0]) + shift, sd)


def median(values: FloatArray) -> float:
    """Median of at least one number, none of them NaN (numpy's own imports masked arrays first)."""
    middle = values.size // 2
    ordered = np.partition(values, [(values.size - 1) // 2, middle])
    return float(ordered[(values.size - 1) // 2] + ordered[middle]) / 2


def median_and_mad(values: ArrayLike) -> tuple[float, float]:
    """Median and scaled median absolute deviation (an estimate of sigma); NaN for an empty sample."""
    y = np.asarray(values, dtype=np.float64)
    if y.size == 0:
        return math.nan, math.nan
    middle = median(y)
    return middle, MAD_TO_SIGMA * median(np.abs(y - middle))


def grubbs_critical(count: int, alpha: float = 0.05, two_sided: bool = True) -> float:
    """Critical value of Grubbs' statistic max|y − ȳ|/s for one outlier among `count` values.

    G = (n−1)/√n · √(t²/(n−2+t²)), t the (1 − α/(2n)) quantile (α/n one-sided) of Student's t with n−2
    degrees of freedom (ISO 5725-2:1994 Table 5; ASTM E178 Table 1).
    """
    if count < FEWEST_FOR_GRUBBS:
        return math.inf
    t = student_quantile(1 - alpha / ((2 if two_sided else 1) * count), count - 2)
    return (count - 1) / math.sqrt(count) * math.sqrt(t * t / (count - 2 + t * t))


def esd_critical(count: int, step: int, alpha: float = 0.05) -> float:
    """Critical value λ of the generalized ESD test at its `step` (1, 2, …) for `count` values at first."""
    left = count - step
    p = 1 - alpha / (2 * (left + 1))
    t = student_quantile(p, left - 1)
    return left * t / math.sqrt((left - 1 + t * t) * (left + 1))


@dataclass(frozen=True, slots=True)
class EsdStep:
    """One step of the generalized ESD test: the value set aside, its statistic, the critical value."""

    index: int
    statistic: float
    critical: float


def generalized_esd(values: ArrayLike, most: int, alpha: float = 0.05) -> tuple[list[int], list[EsdStep]]:
    """Indices of the outliers by Rosner's generalized ESD, and all steps taken (up to `most`).

    Below 25 values the critical values of several outliers are not tabulated: then no more than one is
    sought, by Grubbs' test from 3 values on, and none below that. No value is an outlier where all agree.
    """
    y = np.asarray(values, dtype=np.float64)
    n = y.size
    if n < FEWEST_FOR_GRUBBS:
        return [], []
    most = min(most, n - 2) if n >= FEWEST_FOR_ESD else min(most, 1)
    left = np.arange(n)
    steps: list[EsdStep] = []
    outliers = 0
    for step in range(1, most + 1):
        s = summary(y[left])
        if not s.sd > 0:
            break
        at = int(np.argmax(np.abs(y[left] - s.mean)))
        statistic = abs(float(y[left[at]]) - s.mean) / s.sd
        critical = esd_critical(n, step, alpha) if n >= FEWEST_FOR_ESD else grubbs_critical(n, alpha)
        steps.append(EsdStep(int(left[at]), statistic, critical))
        if statistic > critical:
            outliers = step
        left = np.delete(left, at)
    return [s.index for s in steps[:outliers]], steps


def pass_probability(limit: ArrayLike, estimate: ArrayLike, uncertainty: ArrayLike) -> FloatArray:
    """Probability Φ((T − y)/u) of being within one upper limit (JCGM 106:2012, clause 7).

    u = 0 gives 0 or 1; an infinite or NaN uncertainty gives 0, since nothing was shown.
    """
    t, y, u = np.broadcast_arrays(*(np.asarray(v, dtype=np.float64) for v in (limit, estimate, uncertainty)))
    known = np.isfinite(u) & np.isfinite(y) & ~np.isnan(t)
    positive = known & (u > 0)
    out = np.zeros(t.shape)
    out[positive] = normal_cdf((t[positive] - y[positive]) / u[positive])
    exact = known & ~positive
    out[exact] = (y[exact] <= t[exact]).astype(np.float64)
    return out
