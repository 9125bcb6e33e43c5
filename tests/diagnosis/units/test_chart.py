"""The control chart against the handbook's worked example."""

from __future__ import annotations

import numpy as np
import pytest

from loomtest.diagnosis.units.chart import chart_of

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, in order
FLOW = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])


def test_the_worked_example() -> None:
    chart = chart_of(FLOW, np.ones(10, dtype=np.bool_))
    assert chart is not None
    assert chart.mean == pytest.approx(50.81)
    assert chart.mean_move == pytest.approx(1.8778, abs=5e-5)
    assert (chart.upper, chart.lower) == pytest.approx((55.8041, 45.8159), abs=1e-4)
    assert chart.most_move == pytest.approx(6.1347, abs=1e-4)
    assert not chart.outside.any() and not chart.jumps.any()


def test_only_sound_units_make_the_limits() -> None:
    """A faulty unit between two sound ones stands outside, and neither it nor its jumps move a limit."""
    with_one = np.insert(FLOW, 4, 300.0)
    sound = with_one < 100
    chart = chart_of(with_one, sound)
    assert chart is not None
    assert (chart.upper, chart.lower) == pytest.approx((55.8041, 45.8159), abs=1e-4)
    assert np.flatnonzero(chart.outside).tolist() == [4] and np.flatnonzero(chart.jumps).tolist() == [3, 4]


def test_four_sound_ones_set_no_limit() -> None:
    assert chart_of(FLOW, np.arange(10) < 4) is None
