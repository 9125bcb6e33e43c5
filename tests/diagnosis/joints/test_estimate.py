"""The sparse-fault posterior against brute force, its calibration at an everyday size, its decisions."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from scipy.optimize import brentq

from loomtest.diagnosis.joints import further
from loomtest.diagnosis.joints.decide import (
    Precision,
    Told,
    advice_at,
    repeats_needed,
    resolved_ohms,
    row_verdict,
)
from loomtest.diagnosis.meaning import meaning
from loomtest.diagnosis.numbers.network import effective_resistance
from loomtest.harness.copper import expectation_of
from loomtest.harness.model import FloatArray, Harness, Limits
from loomtest.words.joints import advice_text
from loomtest.words.service import resistance_text as consequence
from tests.diagnosis.joints.joint_readings import harness_of, readings_of, report_of, wire
from tests.looms.measure import FourWire, Handheld
from tests.scores.exact_joints import Prior, area_above, bad_probabilities
from tests.scores.exact_ordinary import ordinary_posterior
from tests.scores.joints import calibration, detection, ordinary


def brute_force(
    harness: Harness, pairs: list[tuple[int, int]], value: FloatArray, noise: float, tau: float = 1.0
) -> FloatArray:
    """Probability that each wire is bad: every set of none, one or two, excesses on a fine grid.

    The weight of two is that of independent joints times `tau`, the odds are raised until as many bad
    joints are expected as without it (binomial sums, root found by scipy).
    """
    expectation = expectation_of(harness)
    mean, sd = expectation.copper_ohm + 2 * expectation.joint_mean_ohm, expectation.spread_ohm
    a, b = (np.array(side) for side in zip(*pairs, strict=True))
    points = len(harness.points)
    solved = effective_resistance(points, harness.start, harness.end, mean, a, b)
    cov = noise**2 * np.eye(value.size) + (solved.sensitivity * sd**2) @ solved.sensitivity.T
    inverse = np.linalg.inv(cov)
    x = np.exp(np.linspace(math.log(0.01), math.log(100.0), 401))
    w = np.full(x.size, 1 / (x.size - 1))
    w[[0, -1]] /= 2
    m = mean.size
    odds = _odds(harness.expect.bad_joint_rate, m, tau)

    def density(excess: FloatArray) -> float:
        z = value - solved.resistance_ohm - solved.sensitivity @ excess  # a tree: exact
        return math.exp(-0.5 * float(z @ inverse @ z))

    total, bad = density(np.zeros(m)), np.zeros(m)
    for i in range(m):
        p = odds * sum(w[k] * density(np.eye(m)[i] * x[k]) for k in range(x.size))
        total, bad[i] = total + p, bad[i] + p
    coarse = slice(0, None, 8)
    for i, j in combinations(range(m), 2):
        p = 0.0
        for xi in x[coarse]:
            p += sum(density(np.eye(m)[i] * xi + np.eye(m)[j] * xj) for xj in x[coarse])
        p *= tau * (odds / (x[coarse].size - 1)) ** 2
        total, bad[i], bad[j] = total + p, bad[i] + p, bad[j] + p
    return bad / total


def _odds(rate: float, wires: int, tau: float) -> float:
    """Odds of each joint where two or more bad ones weigh `tau`, `rate` of them expected to be bad."""

    def missing(odds: float) -> float:
        k = np.arange(1, wires + 1)
        weight = np.array([math.comb(wires, int(n)) * odds**n * (tau if n > 1 else 1) for n in k])
        return float(k @ weight / (1 + weight.sum())) - wires * rate

    return float(brentq(missing, 1e-6, 10.0))


@pytest.mark.parametrize("tau", [1.0, 0.05])
@pytest.mark.parametrize("seed", range(4))
def test_small_stars_against_brute_force(seed: int, tau: float, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(further, "SEVERAL", tau)
    rng = np.random.default_rng(seed)
    limits = Limits(bad_joint_milliohms=10.0, bad_joint_written=True)
    wires = [wire(f"W{i}", "SP1", f"X1:{i}", 0.3) for i in range(1, 4)]
    harness = harness_of(wires, ["SP1"], limits)
    pairs = [(1, 2), (1, 3), (2, 3)]
    truth = np.array([0.0092, 0.0092, 0.0092 + (0.03, 0.05, 0.0, 0.04)[seed]])
    value = np.array([truth[i - 1] + truth[j - 1] for i, j in pairs]) + 0.012 * rng.normal(size=3)
    rows = [(f"X1:{i}", f"X1:{j}", float(v)) for (i, j), v in zip(pairs, value, strict=True)]
    report = report_of(harness, readings_of(harness, rows, 0.012))
    codes = [(harness.code_of[a], harness.code_of[b]) for a, b, _ in rows]
    expected = brute_force(harness, codes, value, 0.012, tau)
    for row, p in zip(report.rows, expected, strict=True):
        # the limit is 10 mΩ above the shown expectation: all of the slab is beyond it
        assert row.bad_probability == pytest.approx(float(p), abs=0.02 + 0.1 * p)


@pytest.mark.parametrize("excess", [(0.045, 0.03, 0.0, 0.0), (0.2, 0.04, 0.03, 0.0), (0.03, 0.0, 0.0, 0.0)])
def test_what_other_nets_hold_counts_as_brute_force_says(
    excess: tuple[float, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(further, "SEVERAL", 0.05)
    limits = Limits(bad_joint_milliohms=10.0, bad_joint_written=True)
    harness = harness_of([wire(f"W{i}", f"X1:{i}", f"X2:{i}", 0.3) for i in range(1, 5)], limits=limits)
    value = np.array([0.0093 + x for x in excess])
    rows = [(f"X1:{i}", f"X2:{i}", float(v)) for i, v in enumerate(value, 1)]
    report = report_of(harness, readings_of(harness, rows, 0.012))
    codes = [(harness.code_of[a], harness.code_of[b]) for a, b, _ in rows]
    expected = brute_force(harness, codes, value, 0.012, 0.05)
    for row, p in zip(report.rows, expected, strict=True):
        assert row.bad_probability == pytest.approx(float(p), abs=0.005 + 0.05 * p)


def test_one_bad_wire_that_all_readings_of_a_star_share_is_not_told_as_several() -> None:
    # sets of four were kept, and the set of one dropped, for an evidence that did not stand once their
    # members agreed
    wires = [wire("W1", "X1:1", "SP1", 1.0), wire("W2", "SP1", "SP2", 1.0), wire("W3", "SP1", "X2:1", 0.3)]
    wires += [wire("W4", "SP2", "X2:2", 6.0), wire("W5", "SP2", "X2:3", 2.0)]
    harness = harness_of(wires, ["SP1", "SP2"])
    expected = expectation_of(harness).expected_ohm
    paths = [[0, 2], [0, 1, 3], [0, 1, 4]]
    excess = [0.22, 0.215, 0.18]
    rows = [("X1:1", f"X2:{i + 1}", float(expected[paths[i]].sum()) + excess[i]) for i in range(3)]
    report = report_of(harness, readings_of(harness, rows, 0.03))
    (finding,) = report.findings
    assert finding.suspects[0].wire == "W1"
    assert sum(row.bad_probability or 0.0 for row in report.rows) < 1.5


def test_intervals_cover_and_probabilities_are_calibrated_for_a_good_meter() -> None:
    c = calibration(21, 60, FourWire(0.003, 0.0), all_pairs=True)
    assert 0.93 <= c.inside.mean() <= 0.97
    assert abs(c.given.sum() - c.bad.sum()) < 4 * math.sqrt(float(np.sum(c.given * (1 - c.given))) + 1)


def test_intervals_cover_and_probabilities_are_calibrated_for_an_ordinary_meter() -> None:
    c = calibration(22, 50, Handheld(), all_pairs=False)
    assert 0.93 <= c.inside.mean() <= 0.97
    assert abs(c.given.sum() - c.bad.sum()) < 4 * math.sqrt(float(np.sum(c.given * (1 - c.given))) + 1)


def test_detection_is_near_the_exact_posterior() -> None:
    d = detection(23, 8, 0.015, all_pairs=False, wires=10)
    assert d.ours <= 1.5 * d.exact + 0.01


def test_an_ordinary_meter_finds_three_tenths_of_an_ohm_and_raises_no_alarm() -> None:
    assert ordinary(24, 20, 0.3, Handheld(), exact=False).found >= 0.8
    assert ordinary(25, 20, 0.0, Handheld(), exact=False).alarms == 0


def test_area_above_counts_ties_half() -> None:
    assert area_above(np.array([0.1, 0.5, 0.5, 0.9]), np.array([0.0, 0.0, 1.0, 1.0])) == pytest.approx(0.125)


def test_the_exact_posterior_knows_at_most_one() -> None:
    harness = harness_of([wire("W1", "X1:1", "X2:1"), wire("W2", "X1:2", "X2:2")])
    pairs = [(0, 1), (2, 3)]
    p = bad_probabilities(harness, pairs, np.array([0.122, 0.122]), 0.005, Prior())
    assert p == pytest.approx([0.5, 0.5], abs=1e-6)


def test_the_exact_posterior_of_an_ordinary_meter() -> None:
    harness = harness_of([wire(f"W{i}", f"X1:{i}", f"X2:{i}") for i in range(1, 9)])
    pairs = [(harness.code_of[f"X1:{i}"], harness.code_of[f"X2:{i}"]) for i in range(1, 9)]
    same = ordinary_posterior(harness, pairs, np.full(8, 0.3), Handheld())
    assert same.bad == pytest.approx(np.full(8, same.bad[0]))
    assert same.suspects(0.95) == []
    high = ordinary_posterior(harness, pairs, np.where(np.arange(8) == 3, 0.6, 0.3), Handheld())
    assert high.suspects(0.95) == [3]


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        (Told(True, 0.96, True, 0.0, 1.0), "fail"),
        (Told(True, 0.94, True, 0.0, 1.0), "undecided"),
        (Told(True, 0.96, False, 0.99, 0.0), "undecided"),
        (Told(True, 0.01, True, 0.96, 0.04), "pass"),
        (Told(True, 0.01, True, 0.94, 0.04), "undecided"),
        (Told(True, 0.01, True, 0.96, 0.06), "undecided"),
        (Told(True, 0.50, True, 0.96, 0.04), "undecided"),
        (Told(False, 0.02, True, 0.99, 0.0), "untested"),
    ],
)
def test_three_answers(told: Told, expected: str) -> None:
    assert row_verdict(told, 0.95) == expected


def test_resolved_is_what_nine_wires_of_ten_exclude() -> None:
    estimate, u = np.full(10, 0.03), np.array([0.001] * 9 + [math.inf])
    assert resolved_ohms(estimate, u, np.full(10, 0.03), 0.95) == pytest.approx(0.001645, rel=1e-3)
    assert resolved_ohms(estimate, np.array([0.001] * 8 + [math.inf] * 2), estimate, 0.95) is None
    assert resolved_ohms(np.empty(0), np.empty(0), np.empty(0), 0.95) is None


def test_averaging_shrinks_only_what_is_each_readings_own() -> None:
    n = repeats_needed(0.02, Precision(0.03, 0.005), 0.95)
    assert n is not None
    for count, enough in ((n, True), (n - 1, False)):
        assert (math.sqrt(0.03**2 / count + 0.005**2) * 1.6449 <= 0.02) == enough
    assert repeats_needed(0.02, Precision(0.001, 0.0125), 0.95) is None
    assert advice_at(0.02, Precision(0.001, 0.0125), 0.95).repeats is None
    assert f"average {n}" in advice_text(advice_at(0.02, Precision(0.03, 0.005), 0.95))
    coarse = advice_text(advice_at(0.05, Precision(1.0, 1.0), 0.95))
    assert "tips together" in coarse and "at 5 A, 50 mΩ loses 0.25 V" in coarse


def test_volts_and_watts_in_a_joint() -> None:
    lost = meaning(0.05, 10.0, 12.0)
    assert (lost.volts, lost.watts, lost.share) == pytest.approx((0.5, 5.0, 0.5 / 12))
    assert "0.5 V" in consequence(0.05, 10.0, 12.0)
    assert "5 W" in consequence(0.05, 10.0, 12.0)
    assert "will not work" in consequence(10.0, 10.0, 12.0)
    assert consequence(0.05, None, 12.0) == consequence(None, 5.0, 12.0) == consequence(0.05, 0.0, 12.0) == ""
    assert "8 % of 6 V" in consequence(0.05, 10.0, 6.0)
    assert "will not work" in consequence(0.7, 10.0, 6.0)


def test_large_looms_take_joints_as_independent() -> None:
    assert further.several_weight(0.5) == further.SEVERAL
    assert further.several_weight(20.0) == pytest.approx(0.95)


def test_a_plain_second_bad_joint_is_found_beside_the_first() -> None:
    wires = [wire(f"W{i}", f"X1:{i}", f"X2:{i}") for i in range(1, 9)]
    harness = harness_of(wires)
    rows = [(f"X1:{i}", f"X2:{i}", 0.0225 + (0.2 if i in (2, 5) else 0.0)) for i in range(1, 9)]
    report = report_of(harness, readings_of(harness, rows, 0.01))
    assert sorted(f.suspects[0].wire for f in report.findings) == ["W2", "W5"]
    assert all(f.probability is not None and f.probability > 0.999 for f in report.findings)


def test_a_doubtful_joint_is_likelier_alone_than_beside_a_plain_one_and_no_less_beside_two() -> None:
    harness = harness_of([wire(f"W{i}", f"X1:{i}", f"X2:{i}") for i in range(1, 9)])

    def doubtful(plain: tuple[int, ...]) -> float:
        high = dict.fromkeys(plain, 0.2) | {7: 0.035}
        rows = [(f"X1:{i}", f"X2:{i}", 0.0225 + high.get(i, 0.0)) for i in range(1, 9)]
        return report_of(harness, readings_of(harness, rows, 0.01)).rows[6].bad_probability or 0.0

    assert doubtful((2,)) < 0.3 * doubtful(())
    assert doubtful((2, 5)) > 0.9 * doubtful(())


@pytest.mark.parametrize("excess", [0.05, 0.3, 3.0])
def test_a_plain_bad_joint_in_a_ring_makes_others_as_doubtful_as_one_in_a_tree(excess: float) -> None:
    # a ring with a surely bad wire is linearised anew, and its weight beside other nets was lost with that
    ring = [wire("A1", "X1:1", "X2:1"), wire("A2", "X2:1", "X3:1"), wire("A3", "X3:1", "X1:1")]
    wires = [*ring, *(wire(f"W{i}", f"X4:{i}", f"X5:{i}") for i in range(1, 8))]
    harness = harness_of(wires)
    a, b, c = expectation_of(harness).expected_ohm[:3].tolist()

    def doubtful(a: float) -> float:
        around = [("X1:1", "X2:1", a, b + c), ("X2:1", "X3:1", b, a + c), ("X1:1", "X3:1", c, a + b)]
        rows = [(start, end, one * other / (one + other)) for start, end, one, other in around]
        rows += [(f"X4:{i}", f"X5:{i}", 0.0225 + (0.035 if i == 7 else 0.0)) for i in range(1, 8)]
        report = report_of(harness, readings_of(harness, rows, [0.001] * 3 + [0.01] * 7))
        return report.rows[9].bad_probability or 0.0

    assert doubtful(a + excess) < 0.1 * doubtful(a)


def test_wires_not_listed_stay_at_their_own_limit() -> None:
    harness = replace(
        harness_of([wire("W1", "X1:1", "X2:1", ohms_max=0.5)]), limits=Limits(bad_joint_written=True)
    )
    report = report_of(harness, readings_of(harness, [("X1:1", "X2:1", 0.3)], 0.001))
    assert report.rows[0].limit_ohms == 0.5
    assert report.rows[0].verdict == "pass"
