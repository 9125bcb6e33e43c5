"""The tabular CUSUM against a worked example.

Source: Montgomery and Runger, Applied Statistics and Probability for Engineers, chapter 16, Table 16-8
(target 99, K = 1, H = 10; in control), read in a secondary copy; published to one decimal.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from loomtest.diagnosis.flexing import rate_limit_per_s, tabular_cusum

TABLE = Path(__file__).parent / "data" / "cusum_montgomery.csv"


def rows() -> list[dict[str, str]]:
    lines = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def test_every_row_of_the_published_table() -> None:
    table = rows()
    assert len(table) == 20
    x = np.array([float(row["x"]) for row in table])
    upper, lower = zip(*tabular_cusum(x, target=99.0, slack=1.0), strict=True)
    assert upper == pytest.approx([float(row["sH_pub"]) for row in table], abs=1e-9)
    assert lower == pytest.approx([float(row["sL_pub"]) for row in table], abs=1e-9)
    assert max(upper) < 10.0 and max(lower) < 10.0  # H = 10: in control, as published


def test_the_rule_of_three() -> None:
    """No event in n trials: the 95 % limit is about 3/n (Hanley and Lippman-Hand 1983)."""
    assert rate_limit_per_s(0, 300.0) == pytest.approx(3.0 / 300.0, rel=2e-3)
    assert rate_limit_per_s(0, 300.0) == pytest.approx(-np.log(0.05) / 300.0, rel=1e-12)


@pytest.mark.parametrize("events", [1, 2, 5, 40])
def test_the_poisson_limit_against_its_own_sum(events: int) -> None:
    """At the upper limit, so few events or fewer happen in one test of twenty (Garwood 1936)."""
    mean = rate_limit_per_s(events, 1.0)
    terms = np.exp(-mean) * np.cumprod(np.concatenate([[1.0], mean / np.arange(1, events + 1)]))
    assert terms.sum() == pytest.approx(0.05, rel=1e-9)
