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
_FEW_NORMALS = 1 << 10
_BLOCK = 1 << 13  # values that stay in the processor's cache
# J. F. Hart et al., Computer Approximations, 1968, algorithm 5666, as in G. West, Better approximations to
# cumulative normal functions, Wilmott, May 2005, pp. 70-76 (coefficients from memory; a test holds the
# function to scipy's): the tail beyond x is exp(-x²/2) times the quotient of these two polynomials.
_OVER = (0.0352624965998911, 0.700383064443688, 6.37396220353165, 33.912866078383, 112.079291497871,
         221.213596169931, 220.206867912376)  # fmt: skip
_UNDER = (0.0883883476483184, 1.75566716318264, 16.064177579207, 86.7807322029461, 296.564248779674,
          637.333633378831, 793.826512519948, 440.413735824752)  # fmt: skip
_FAR = 7.07106781186547  # from where a continued fraction is closer


def normal_cdf(x: ArrayLike) -> FloatArray:
    """Φ, the standard normal distribution function, element by element; ±inf are allowed."""
    values = np.asarray(x, dtype=np.float64)
    if values.size <= _FEW_NORMALS:
        turned = (values.ravel() * -0.7071067811865476).tolist()
        return 0.5 * np.fromiter(map(math.erfc, turned), np.float64, values.size).reshape(values.shape)
    flat, out = values.ravel(), np.empty(values.size)
    for begin in range(0, values.size, _BLOCK):
        out[begin : begin + _BLOCK] = _many_normals(flat[begin : begin + _BLOCK])
    return out.reshape(values.shape)


def _many_normals(values: FloatArray) -> FloatArray:
    """Φ of (n,) values without scipy.special, whose import takes as long as ten million of them."""
    x = np.minimum(np.abs(values), 40.0)  # beyond, nothing is left
    over, under = _OVER[0] * x, _UNDER[0] * x
    for coefficient in _OVER[1:-1]:
        over += coefficient
        over *= x
    for coefficient in _UNDER[1:-1]:
        under += coefficient
        under *= x
    tail = (over + _OVER[-1]) / (under + _UNDER[-1])
    far = x > _FAR
    if far.any():
        y = x[far]
        tail[far] = 1 / (y + 1 / (y + 2 / (y + 3 / (y + 4 / (y + 0.65))))) / math.sqrt(2 * math.pi)
    tail *= np.exp(-0.5 * x * x)
    return np.where(values > 0, 1 - tail, tail)


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
