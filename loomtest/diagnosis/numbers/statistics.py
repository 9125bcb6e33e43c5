"""The Gaussian and its like in array form, quantiles and medians, without heavy imports for few values."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from loomtest.diagnosis.numbers import tails
from loomtest.harness.model import FloatArray, IntArray

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


def median(values: FloatArray) -> float:
    """Median of at least one number, none of them NaN (numpy's own imports masked arrays first)."""
    middle = values.size // 2
    ordered = np.partition(values, [(values.size - 1) // 2, middle])
    return float(ordered[(values.size - 1) // 2] + ordered[middle]) / 2


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
