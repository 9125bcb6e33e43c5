"""Statistics against published values: NIST StRD, e-Handbook, ISO 5725-2, JCGM 100 H.2, JCGM 106."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from loomtest.diagnosis.numbers.statistics import (
    esd_critical,
    generalized_esd,
    grubbs_critical,
    pass_probability,
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
def test_nist_strd_mean_and_deviation(row: dict[str, str]) -> None:
    name = row["dataset"]
    values = [float(r["y"]) for r in _rows(f"{name.lower()}.csv")]
    found = summary(values)
    tolerance = DIGITS.get(name, 1e-13)
    assert found.count == int(row["n"])
    assert found.mean == pytest.approx(float(row["mean_certified"]), rel=1e-14)
    assert found.sd == pytest.approx(float(row["sd_certified"]), rel=max(tolerance, 2e-13))


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
