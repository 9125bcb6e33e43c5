"""The library as a notebook uses it, and the notebook of docs/ as it runs now."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import loomtest
from tests.notebook import NOTEBOOK, executed, said

ROOT = Path(__file__).parents[1]
LAUNCH = ROOT / "sample_runs" / "fishing_launch"


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # the kernel's own libraries
@pytest.mark.filterwarnings("ignore::ResourceWarning")
def test_the_notebook_gives_what_it_shows() -> None:
    """Mend with `PYTHONPATH=. python tests/notebook.py`."""
    kept = said(json.loads(NOTEBOOK.read_text("utf-8")))
    assert sum(bool(outputs) for _, outputs in kept) == 3
    assert said(executed()) == kept


def test_frames_of_every_answer() -> None:
    harness = loomtest.load_harness(LAUNCH)
    meter = loomtest.load_instrument(LAUNCH / "meter.toml")
    first = loomtest.load_readings(LAUNCH / "1_first.csv", harness)
    verdict = loomtest.judge(harness, first, meter)
    assert list(loomtest.frame(verdict).wire) == [wire.name for wire in harness.wires if wire.kind == "wire"]
    assert set(loomtest.frame(verdict, "findings").fault) == {"crossed", "high-resistance"}
    assert len(loomtest.frame(verdict, "nets")) == len(verdict.to_json()["nets"])
    steps = loomtest.frame(loomtest.plan(harness, "bonded"))
    assert list(steps.step) == list(range(1, len(steps) + 1))
    with pytest.raises(ValueError, match="found rows 'wire'; expected one of findings, undecided, wires"):
        loomtest.frame(verdict, "wire")


def test_a_comparison_is_made_with_the_meter_that_was_stated() -> None:
    harness = loomtest.load_harness(LAUNCH)
    meter = loomtest.load_instrument(LAUNCH / "meter.toml")
    first, second = (
        loomtest.load_readings(LAUNCH / name, harness) for name in ("1_first.csv", "2_second.csv")
    )
    stated = loomtest.frame(loomtest.compare(harness, first, second, meter))
    assumed = loomtest.frame(loomtest.compare(harness, first, second))
    known = stated.uncertainty_ohms.notna() & assumed.uncertainty_ohms.notna()
    assert known.any()
    assert (stated.uncertainty_ohms[known] != assumed.uncertainty_ohms[known]).any()
