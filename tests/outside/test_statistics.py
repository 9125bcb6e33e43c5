"""Statistics against published values: JCGM 106."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from loomtest.diagnosis.numbers.statistics import pass_probability

DATA = Path(__file__).parent / "data"


def _rows(name: str) -> list[dict[str, str]]:
    lines = [line for line in (DATA / name).read_text("utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


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
