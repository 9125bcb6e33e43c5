"""The normal distribution for many values at once, beside scipy's and beside that for few."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from loomtest.diagnosis.numbers.statistics import normal_cdf


def test_many_normals_are_those_of_scipy() -> None:
    x = np.concatenate([np.linspace(-37, 9, 200_001), [-np.inf, np.inf, 0.0, -0.0, np.nan, -1e300, 1e300]])
    ours, theirs = normal_cdf(x), ndtr(x)
    np.testing.assert_allclose(ours, theirs, rtol=0, atol=5e-16)
    tail = (x < 0) & (theirs > 0)
    np.testing.assert_allclose(ours[tail], theirs[tail], rtol=2e-8)
    assert normal_cdf(x.reshape(-1, 8)).shape == (x.size // 8, 8)


def test_few_and_many_agree() -> None:
    x = np.linspace(-12, 8, 3001)
    np.testing.assert_allclose(normal_cdf(x), [normal_cdf(value) for value in x], rtol=2e-8, atol=0)
