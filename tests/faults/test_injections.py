"""Each fault of `injections.py` once or twice; `python -m tests.faults.figures` does each many times."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.faults.cables import CABLES
from tests.faults.injections import INJECTIONS, Outcome


@pytest.mark.parametrize("name", INJECTIONS)
def test_a_fault_loses_nothing_and_decides_nothing(tmp_path: Path, name: str) -> None:
    assert INJECTIONS[name](tmp_path, random.Random(11)) == Outcome(injected=2 if "two" in name else 1)


@pytest.mark.parametrize("name", CABLES)
def test_a_cable_s_fault_makes_no_reading(tmp_path: Path, name: str) -> None:
    outcome = CABLES[name](tmp_path, random.Random(12))
    assert (outcome.lost, outcome.wrong, outcome.problems) == (0, 0, [])
    assert outcome.injected > 0
