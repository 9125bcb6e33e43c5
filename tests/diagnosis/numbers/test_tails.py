"""The closed forms of a small loom's statistics against scipy.special."""

from __future__ import annotations

import math
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from loomtest.diagnosis.numbers import tails

degrees = st.integers(1, tails.MOST_DEGREES)


@given(degrees, st.floats(1e-6, 1500))
def test_chi_square_above(count: int, value: float) -> None:
    assert tails.chi_square_tail(value, count) == pytest.approx(special.chdtrc(count, value), 1e-10, 1e-15)


def test_chi_square_above_nothing() -> None:
    assert tails.chi_square_tail(0.0, 3) == tails.chi_square_tail(math.nan, 3) == 1.0


@given(degrees, st.floats(1e-4, 1 - 1e-4))
def test_student_quantile(count: int, probability: float) -> None:
    found = tails.student_quantile(probability, count, NormalDist().inv_cdf(probability))
    assert found == pytest.approx(special.stdtrit(count, probability), 1e-9, 1e-11)


@given(degrees, st.floats(-50, 50))
def test_student_below(count: int, t: float) -> None:
    assert tails.student_below(t, count) == pytest.approx(special.stdtr(count, t), 1e-9, 1e-14)
