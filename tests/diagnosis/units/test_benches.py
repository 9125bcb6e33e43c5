"""Benches: the tests against scipy's, what is planted is told and where, and chance alone tells nothing."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from loomtest.diagnosis.units.benches import _apart, _wandering, bench_shifts, holm
from loomtest.harness.model import FloatArray, IntArray


def test_unequal_spreads_and_slopes_as_scipy_has_them() -> None:
    """Each question by itself: Welch's t of one bench against the others, and the slope at each bench."""
    rng = np.random.default_rng(1)
    bench = np.repeat([0, 1, 2], [9, 23, 14])
    own = rng.normal(0.4 * bench, 1.0 + bench)[:, None] * np.array([1.0, 2.0])
    own[3, 1] = np.nan
    asked = _apart(own, bench, 3)
    for number in range(3):
        for column in range(2):
            values = own[:, column]
            here, others = (values[(bench == number) == same] for same in (True, False))
            here, others = here[np.isfinite(here)], others[np.isfinite(others)]
            expected = stats.ttest_ind(here, others, equal_var=False)
            assert asked.chance[number, column] == pytest.approx(expected.pvalue, rel=1e-9)
            told = asked.told((number, column), column, 0.5, 0.95)
            interval = expected.confidence_interval(0.95)
            assert told.between == pytest.approx((interval.low, interval.high), rel=1e-9)
            assert told.units == len(here)
            if number == 0:
                slope = _wandering(own, bench, 3)
                fit = stats.linregress(np.arange(len(here)), here)
                assert slope.chance[0, column] == pytest.approx(fit.pvalue, rel=1e-9)
                rise = slope.told((0, column), column, 0.5, 0.95)
                reach = stats.t.ppf(0.975, len(here) - 2) * fit.stderr
                ends = [(len(here) - 1) * (fit.slope + sign * reach) for sign in (-1, 0, 1)]
                assert (rise.between[0], rise.ohm, rise.between[1]) == pytest.approx(ends, rel=1e-9)


def test_what_does_not_scatter_is_not_asked_about() -> None:
    bench = np.repeat([0, 1], 20)
    assert np.isnan(_apart(np.ones((40, 1)), bench, 2).chance).all()
    assert np.isnan(_wandering(np.ones((40, 1)), bench, 2).chance).all()


def test_holm_by_hand() -> None:
    """Four questions: 4 × 0.005, 3 × 0.01, 2 × 0.03, and never less than the one before."""
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert holm([]) == []


def looms(seed: int, n: int = 120, circuits: int = 12) -> tuple[FloatArray, IntArray]:
    """(n, circuits) healthy values in ohms and (n,) which of four benches; leads differ from run to run."""
    rng = np.random.default_rng(seed)
    ohm = rng.uniform(0.01, 0.06, circuits) * rng.normal(1, 0.03, (n, circuits))
    return ohm + rng.normal(0, 0.004, n)[:, None], rng.integers(0, 4, n)


def test_one_joint_at_one_bench() -> None:
    ohm, bench = looms(3)
    ohm[bench == 2, 5] += 0.004
    ohm[7, 5] = np.nan
    shifts = bench_shifts(ohm, bench)
    assert [(one.kind, one.bench, one.circuit) for one in shifts] == [("apart", 2, 5)]
    assert shifts[0].between[0] < 0.004 < shifts[0].between[1]
    assert shifts[0].units == np.sum(bench == 2) - (bench[7] == 2)


def test_leads_that_differ_are_no_joint() -> None:
    ohm, bench = looms(4)
    ohm[bench == 1] += 0.02
    shifts = bench_shifts(ohm, bench)
    assert [(one.kind, one.bench, one.circuit) for one in shifts] == [("apart", 1, None)]
    assert shifts[0].ohm == pytest.approx(0.02, abs=0.004)


def test_a_socket_that_wears_wanders() -> None:
    ohm, bench = looms(5)
    at = np.flatnonzero(bench == 3)
    ohm[at, 2] += np.linspace(-0.003, 0.003, at.size)
    found = [(one.kind, one.bench, one.circuit) for one in bench_shifts(ohm, bench)]
    assert found == [("wanders", 3, 2)]


def test_of_two_benches_the_one_that_reads_more_is_named_once() -> None:
    ohm, bench = looms(6)
    bench = bench % 2
    ohm[bench == 0, 1] -= 0.005
    assert [(one.bench, one.circuit, one.ohm > 0) for one in bench_shifts(ohm, bench)] == [(1, 1, True)]


def test_one_bench_alone_is_compared_with_nothing() -> None:
    ohm, bench = looms(7)
    assert bench_shifts(ohm, np.zeros_like(bench)) == []
    assert bench_shifts(ohm[:0], bench[:0]) == []


def test_chance_alone_is_told_in_at_most_one_of_twenty() -> None:
    """150 lots of healthy looms: at most the 95 % that was promised, within three standard errors."""
    alarms = sum(bool(bench_shifts(*looms(1000 + seed, 60, 8))) for seed in range(150))
    assert alarms <= 150 * 0.05 + 3 * (150 * 0.05 * 0.95) ** 0.5
