"""Statistics against published values: NIST StRD, e-Handbook, ISO 5725-2, JCGM 100 H.2, JCGM 106."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from loomtest.diagnosis.numbers.statistics import (
    effective_degrees_of_freedom,
    esd_critical,
    generalized_esd,
    grubbs_critical,
    mean_and_covariance,
    pass_probability,
    propagate,
    rate_upper_bound,
    summary,
)

DATA = Path(__file__).parent / "data"


def _rows(name: str) -> list[dict[str, str]]:
    lines = [line for line in (DATA / name).read_text("utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


# NIST Statistical Reference Datasets, univariate summary statistics, certified values. The digits reachable
# in double precision are set by the data: at 1e7 with a spread of 0.1 they carry eight.
DIGITS = {"NumAcc3": 1e-8, "NumAcc4": 1e-7}


@pytest.mark.parametrize("row", _rows("certified.csv"), ids=lambda row: str(row["dataset"]))
def test_nist_strd_mean_deviation_and_lag_one(row: dict[str, str]) -> None:
    name = row["dataset"]
    values = [float(r["y"]) for r in _rows(f"{name.lower()}.csv")]
    found = summary(values)
    tolerance = DIGITS.get(name, 1e-13)
    assert found.count == int(row["n"])
    assert found.mean == pytest.approx(float(row["mean_certified"]), rel=1e-14)
    assert found.sd == pytest.approx(float(row["sd_certified"]), rel=max(tolerance, 2e-13))
    assert found.lag1 == pytest.approx(float(row["lag1_certified"]), rel=max(tolerance, 2e-12))


def test_the_naive_formula_would_fail_on_numacc4() -> None:
    y = np.array([float(r["y"]) for r in _rows("numacc4.csv")])
    naive = np.sqrt(max((np.sum(y**2) - y.size * y.mean() ** 2) / (y.size - 1), 0.0))
    assert abs(naive - 0.1) > 1e-3
    assert abs(summary(y).sd - 0.1) < 1e-7


@pytest.mark.parametrize("row", _rows("grubbs_critical.csv"), ids=lambda row: f"n={row['n']}")
def test_grubbs_critical_values(row: dict[str, str]) -> None:
    """ISO 5725-2:1994 Table 5 and ASTM E178 Table 1 as printed (n = 18 one-sided differs between copies)."""
    n = int(row["n"])
    assert grubbs_critical(n, 0.05, two_sided=False) == pytest.approx(
        float(row["one_sided_5_pub"]), abs=0.0011
    )
    assert grubbs_critical(n, 0.05) == pytest.approx(float(row["two_sided_5_pub"]), abs=0.0011)
    assert grubbs_critical(n, 0.01) == pytest.approx(float(row["two_sided_1_pub"]), abs=0.0011)


def test_generalized_esd_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.17.3 (Rosner 1983): three outliers of fifty-four."""
    text = (DATA / "handbook_gesd_rosner.csv").read_text("utf-8")
    data = next(line for line in text.splitlines() if line.startswith("# data:")).removeprefix("# data:")
    values = [float(v) for v in data.split()]
    indices, steps = generalized_esd(values, 10)
    assert sorted(values[i] for i in indices) == [5.34, 5.42, 6.01]
    for step, row in zip(steps, _rows("handbook_gesd_rosner.csv"), strict=True):
        assert step.statistic == pytest.approx(float(row["R_pub"]), abs=2e-6)
        assert step.critical == pytest.approx(float(row["lambda_pub"]), abs=2e-6)
        assert values[step.index] == float(row["removed"])
    assert esd_critical(54, 1) == pytest.approx(3.158794, abs=2e-6)


def test_gum_h2_correlated_propagation() -> None:
    """JCGM 100:2008 H.2: R, X, Z from simultaneous V, I, φ; approach 1 on the unrounded data."""
    sets = np.array(
        [[float(r["V_V"]), float(r["I_mA"]) / 1e3, float(r["phi_rad"])] for r in _rows("gum_h2.csv")]
    )
    mean, cov = mean_and_covariance(sets)
    assert np.sqrt(np.diag(cov)) == pytest.approx([0.0032, 0.0095e-3, 0.00075], rel=0.01)
    corr = cov / np.sqrt(np.outer(np.diag(cov), np.diag(cov)))
    assert [corr[0, 1], corr[0, 2], corr[1, 2]] == pytest.approx([-0.36, 0.86, -0.65], abs=0.005)
    v, i, phi = mean
    z = v / i
    c, s = np.cos(phi), np.sin(phi)
    jacobian = np.array([[c / i, -z * c / i, -z * s], [s / i, -z * s / i, z * c], [1 / i, -z / i, 0.0]])
    out = propagate(jacobian, cov)
    u = np.sqrt(np.diag(out))
    assert [z * c, z * s, z] == pytest.approx([127.732, 219.847, 254.260], abs=0.001)
    assert u == pytest.approx([0.071, 0.295, 0.236], abs=0.001)
    r = out / np.outer(u, u)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=0.001)
    uncorrelated = np.sqrt(np.diag(propagate(jacobian, np.diag(np.diag(cov)))))
    assert uncorrelated == pytest.approx([0.195, 0.201, 0.204], abs=0.0006)  # Table H.5, value from memory


@pytest.mark.parametrize(
    ("limit", "y", "u", "expected"),
    [  # JCGM 106:2012 clause 7 examples, values from memory; one upper limit (lower limits by reflection)
        (-5.40, -5.47, 0.05, 0.92),
        (-490.0, -509.7, 8.6, 0.99),
    ],
)
def test_jcgm_106_conformance_probabilities(limit: float, y: float, u: float, expected: float) -> None:
    assert float(pass_probability(limit, y, u)) == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize(
    ("r", "expected"),
    [(0.0, 0.5), (0.25, 0.6915), (0.5, 0.8413), (0.83, 0.9515), (1.0, 0.97725), (1.5, 0.99865)],
)
def test_guard_bands_of_jcgm_106(r: float, expected: float) -> None:
    """A guard band w = r·U, U = 2u, gives p = Φ(2r) at the acceptance limit (ILAC-G8:09/2019)."""
    assert float(pass_probability(1.0, 1.0 - r * 2 * 0.1, 0.1)) == pytest.approx(expected, abs=5e-5)


def test_no_probability_of_passing_comes_from_an_unknown_uncertainty() -> None:
    assert pass_probability(
        [1.0, 1.0, 1.0, 1.0], [0.0, np.nan, 0.5, 2.0], [np.inf, 0.1, 0.0, 0.0]
    ).tolist() == [
        0.0,
        0.0,
        1.0,
        0.0,
    ]


@pytest.mark.parametrize(
    ("n", "exact"), [(10, 0.2589), (30, 0.0950), (100, 0.02951), (300, 0.00994), (1000, 0.00299)]
)
def test_rule_of_three(n: int, exact: float) -> None:
    assert rate_upper_bound(n) == pytest.approx(exact, abs=6e-5)
    assert rate_upper_bound(n) < 3 / n


def test_welch_satterthwaite() -> None:
    """JCGM 100:2008 G.4.1 and its H.1 (end gauge): u 25 (18), 9.7 (8), 2.9 (50), 16.6 (2) nm give 16."""
    parts, degrees = [25.0, 9.7, 2.9, 16.6], [18.0, 25.6, 50.0, 2.0]
    assert int(effective_degrees_of_freedom(parts, degrees)) == pytest.approx(16, abs=1)  # value from memory
